"""Handlers of the intents `record`, `tick-check` and `lot`."""

from collections.abc import Sequence

from msgspec.structs import replace

from benchflow.base.plaintext import clean
from benchflow.procedure.model import RecordedValue
from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity, base
from benchflow.session.context import (
    Context,
    Decision,
    Entry,
    quoted_title,
    refusal_or_none,
    refuse,
    unknown_name,
)
from benchflow.session.intents import intent_types as intents
from benchflow.session.intents.check_remedy_intents import check_named
from benchflow.session.intents.reading_names import named_reading
from benchflow.session.refusal import Refusal
from benchflow.session.rules import open_values
from benchflow.session.rules.calculated_values import calculated_entries
from benchflow.session.rules.check_remedies import remedy_of_check
from benchflow.session.rules.current_operation import operation_in_progress
from benchflow.session.rules.measurements import Measurement, from_stored, last_attempts, reading_measurement
from benchflow.session.rules.missing_figures import reading_figure_missing, used_range_missing
from benchflow.session.rules.open_items import late_entry_reasons, lot_title, required_lots
from benchflow.session.rules.reading_instruments import tools_for
from benchflow.session.rules.remedy_progress import holding
from benchflow.session.rules.remedy_waits import wait_reasons
from benchflow.session.rules.stage_torques import ticked_by
from benchflow.session.rules.stop_advice import check_held_reason, stop_text
from benchflow.session.rules.typed_values import read_value
from benchflow.session.rules.verdicts import (
    acceptance_text,
    bound_in_force,
    judge_reading,
    part_is_used,
    to_stored,
)
from benchflow.session.state import events as ev
from benchflow.session.state.state import Attempt, State, check_key, lot_item, lot_subject
from benchflow.trade.decision_rules import Judgement


def record_reading(state: State, intent: intents.RecordReading, context: Context, by: str) -> Decision:
    step = operation_in_progress(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    named = named_reading(state, step, intent.name, intent.reading, intent.place)
    if isinstance(named, Refusal):
        return named
    record, slot = step.record(named[0]), named[1]
    if record is None:
        return unknown_name("value in this operation", intent.name, [each.name for each in step.operation.record])
    if slot is None:
        next_slot = _next_slot(state, step, record)
        if isinstance(next_slot, Refusal):
            return next_slot
        slot = next_slot
    record = record.at(slot)
    late = refusal_or_none(late_entry_reasons(state, step, record.name, context.now))
    if late is not None:
        return late
    early = refusal_or_none(wait_reasons(state, step, record.name, slot, context.now))
    if early is not None:
        return early
    unknown = _figure_missing(state, step, record, slot, intent.used)
    if unknown is not None:
        return unknown
    quantity = read_value(state.plan, record, intent.value)
    if isinstance(quantity, Refusal):
        return quantity
    used = _stated_used(state, step, record, slot, intent.used)
    if isinstance(used, Refusal):
        return used
    last = last_attempts(state, step.id, record.name).get(slot)
    if last is not None and intent.used is not None and base(from_stored(last.quantity)) == base(quantity):
        return _state_used(state, step, record, slot, last, used, context, by)
    held = _held_reading(state, step, record, slot) or _tightened_by(state, step, record, last)
    if held is not None:
        return held
    taken = tools_for(state, context, record, intent.instrument, quantity)
    if isinstance(taken, Refusal):
        return taken
    first = taken.tools[0]
    measured = reading_measurement(record, quantity, taken.u, first.serial or first.need or "", shares=taken.shares)
    event = recorded_event(state, step, record, slot, measured, taken.u, used)
    event = replace(event, instrument=first.need, serial=first.serial, tools=taken.shares)
    entries = (*taken.entries(by), Entry(by, event))
    return (*entries, *calculated_entries(state, step, entries, context, by))


def _figure_missing(state: State, step: Step, record: RecordedValue, slot: str, given: bool | None) -> Refusal | None:
    """A refusal if a figure that the reading needs is still to be filled in; ``None`` if it has all of them."""
    used = _stated_used(state, step, record, slot, given)
    if isinstance(used, Refusal):
        return None  # reported when the reading is read
    missing = reading_figure_missing(state, step, record, used=used)
    return None if missing is None else Refusal((missing,))


def _stated_used(state: State, step: Step, record: RecordedValue, slot: str, given: bool | None) -> bool | Refusal:
    """Return true if the limit for used parts applies to a reading.

    A refusal if ``given`` contradicts the option that says it, or if the value has no limit for used parts.
    """
    if record.used_by_option is None and record.used is None and given:
        message = f"{open_values.value_title(step, record.name)} has no limit for used parts. Leave out `used`"
        return refuse("not-allowed", message, operation=step.id, name=record.name)
    if record.used_by_option is None:
        return given if given is not None else part_is_used(state, step.id, record, slot)
    if given is not None and given != record.used_by_option:
        option = " and ".join(f"{name} is {state.plan.options[name]}" for name in record.used_when)
        limit = "the limit for used parts applies" if record.used_by_option else "it has no limit for used parts"
        message = f"{open_values.value_title(step, record.name)}: {option}, so {limit}. Leave out `used`"
        return refuse("not-allowed", message, operation=step.id, name=record.name)
    return record.used_by_option


def _state_used(
    state: State, step: Step, record: RecordedValue, slot: str, last: Attempt, used: bool, context: Context, by: str
) -> Decision:
    """State for the reading that is entered whether the part is used. It is not another reading."""
    u = None if last.uncertainty is None else from_stored(last.uncertainty)
    measured = reading_measurement(record, from_stored(last.quantity), u, last.instrument, shares=last.tools)
    event = recorded_event(state, step, record, slot, measured, u, used)
    entries = (Entry(by, replace(event, claims=last.seq)),)
    return (*entries, *calculated_entries(state, step, entries, context, by))


def _held_reading(state: State, step: Step, record: RecordedValue, slot: str) -> Refusal | None:
    """A refusal if the reading counts again only after a remedy, or if the work stops; ``None`` if it is free."""
    held = holding(state, step, record.name, slot)
    if held is None:
        return None
    title = open_values.result_title(step, held.result)
    if held.final:
        message = f"{title} is out of its limit. {stop_text(state, step, held, held.result.subject)}"
        return refuse("out-of-limit", message, operation=step.id, name=held.result.name)
    return Refusal((open_values.remedy_first(step, title, (held,)),))


def _tightened_by(state: State, step: Step, record: RecordedValue, last: Attempt | None) -> Refusal | None:
    """A refusal if a stage that has ticks has its torque from the reading ``last``, so that it cannot be read again."""
    found = None if last is None else ticked_by(state, record.name)
    if found is None or last is None:
        return None
    operation, stage = found
    message = (
        f"The torque of stage {stage} of {quoted_title(state, operation)} follows from {record.ask or record.name}, "
        f"and fasteners are tightened to it. If it was misread, correct log line {last.seq}; otherwise clear the ticks"
    )
    return refuse("not-allowed", message, operation=operation, name=record.name)


def _next_slot(state: State, step: Step, record: RecordedValue) -> str | Refusal:
    """Return the slot of a reading that the intent does not name: the only one, or the next open one."""
    if len(record.slots) == 1:
        return record.slots[0]
    given = last_attempts(state, step.id, record.name)
    open_slots = [slot for slot in record.slots if slot not in given]
    if open_slots:
        return open_slots[0]
    message = f"All {len(record.slots)} readings of {record.name} are recorded. Name the reading to replace"
    return refuse("value-missing", message, name=record.name)


def recorded_event(
    state: State, step: Step, record: RecordedValue, slot: str, measured: Measurement, u: Quantity | None, used: bool
) -> ev.ReadingRecorded:
    """The event of a reading, with its verdict. The instrument is not filled in."""
    bound = bound_in_force(record, used)
    judged = judge_reading(state, record, measured, used)
    return ev.ReadingRecorded(
        operation=step.id,
        name=record.name,
        reading=slot,
        quantity=to_stored(measured.shown),
        verdict="none" if judged is None else judged.verdict,
        limit="" if bound is None else bound.text,
        decision=record.decision,
        uncertainty=None if u is None else to_stored(u),
        conformity=_conformity_text(judged),
        used=used,
        acceptance="" if judged is None else acceptance_text(judged, record, bound),
    )


def _conformity_text(verdict: Judgement | None) -> str | None:
    """Return the probability of conformity with four decimals, for the log. It is not used in calculations."""
    return None if verdict is None or verdict.conformity is None else f"{verdict.conformity:.4f}"


def tick_check(state: State, intent: intents.TickCheck, context: Context, by: str) -> Decision:
    step = operation_in_progress(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    checks = step.operation.check
    number = check_named(step, intent.check)
    if number is None:
        return unknown_name("check in this operation", str(intent.check), [point.text for point in checks])
    text, work = checks[number - 1].text, state.work(step.id)
    remedy = remedy_of_check(state, step, number)
    held = () if remedy is None else (check_held_reason(state, step, remedy),)
    if intent.undo:
        if number not in work.checks and number not in work.failed:
            return refuse("check-open", f"Check {number} ({text}) is not ticked. There is no tick to clear")
        return refusal_or_none(held) or (Entry(by, ev.CheckUnticked(step.id, number, text)),)
    early = refusal_or_none(wait_reasons(state, step, check_key(number), "", context.now))
    if early is not None:
        return early
    missing = used_range_missing(state, step)
    if missing is not None:
        return Refusal((missing,))
    if intent.answer == "no":
        if number in work.failed:
            return refuse("already-done", f"Check {number} ({text}) is already answered no")
        return (Entry(by, ev.CheckTicked(step.id, number, text, "no")),)
    if intent.answer != "yes":
        return unknown_name("answer", intent.answer, ("yes", "no"))
    if number in work.checks:
        return refuse("already-done", f"Check {number} ({text}) is already ticked")
    if held:
        return Refusal(held)
    late = refusal_or_none(late_entry_reasons(state, step, checks[number - 1].id, context.now))
    return late or (Entry(by, ev.CheckTicked(step.id, number, text)),)


def enter_lot(state: State, intent: intents.EnterLot, context: Context, by: str) -> Decision:
    step = operation_in_progress(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    kit = state.plan.procedure.kit_by_id
    fitted = state.work(step.id).fitted
    own = [ref.name for ref in step.operation.uses if ref.name in kit]
    key = _part_named(state, step, own, intent.consumable)
    if key is None:
        return unknown_name("part or consumable in this operation", intent.consumable, (*own, *fitted))
    lot = lot_number(intent.lot)
    if not lot:
        message = f"The lot number of {lot_title(state, key)} is empty. Enter it"
        return refuse("value-missing", message, name=intent.consumable)
    return (Entry(by, ev.LotEntered(step.id, lot_item(key), lot, lot_subject(key))),)


def _part_named(state: State, step: Step, own: Sequence[str], given: str) -> str | None:
    """The part that the intent `lot` names (:func:`lot_key`); ``None`` if there is none.

    The id of a part means the one whose lot is still open, or else the last one that was fitted.
    """
    work = state.work(step.id)
    keys = [key for key in dict.fromkeys((*own, *work.fitted)) if given in (key, lot_item(key))]
    still_open = (key for key in required_lots(state, step) if key in keys and key not in work.lots)
    return next(still_open, keys[-1] if keys else None)


def lot_number(text: str) -> str:
    """Return a typed or scanned lot number on one line, without unsafe characters. Spaces inside it are kept."""
    return clean(text).replace("\n", " ").strip()
