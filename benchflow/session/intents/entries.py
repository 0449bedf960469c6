"""Handlers of the intents `record`, `tick-check` and `lot`."""

from collections.abc import Iterable

from msgspec.structs import replace

from benchflow.base.plaintext import clean
from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import AboveReading, CheckPoint, RecordedValue
from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity
from benchflow.session.context import (
    Context,
    Decision,
    Entry,
    operation_in_progress,
    refusal_or_none,
    refuse,
    unknown_name,
)
from benchflow.session.intents import intent_types as intents
from benchflow.session.refusal import Refusal
from benchflow.session.rules.calculated_values import calculated_entries
from benchflow.session.rules.instrument_fitness import choose_tool
from benchflow.session.rules.measurements import Measurement, reading_measurement
from benchflow.session.rules.open_items import late_entry_reasons
from benchflow.session.rules.typed_values import read_quantity, whole_number
from benchflow.session.rules.verdicts import (
    acceptance_text,
    bound_in_force,
    judge_reading,
    last_attempts,
    stated_uncertainty,
    to_stored,
)
from benchflow.session.state import events as ev
from benchflow.session.state.state import State
from benchflow.trade.decision_rules import Judgement


def name_in_step(step: Step, name: str, names: Iterable[str]) -> str | None:
    """Find ``name`` in ``names``, or else ``name`` with the place of ``step``. Returns the name found or ``None``."""
    for candidate in (name, str(ValueRef(name, step.place))):
        if candidate in names:
            return candidate
    return None


def record_reading(state: State, intent: intents.RecordReading, context: Context, by: str) -> Decision:
    step = operation_in_progress(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    named = _named_reading(step, intent)
    if isinstance(named, Refusal):
        return named
    record, named_slot = named
    slot = _next_slot(state, step, record) if named_slot is None else named_slot
    if isinstance(slot, Refusal):
        return slot
    late = refusal_or_none(late_entry_reasons(state, step, record.name, context.now))
    if late is not None:
        return late
    quantity = read_quantity(intent.value, record.unit, record.dimension, record.name)
    if isinstance(quantity, Refusal):
        return quantity
    tool = choose_tool(state, context, record.instrument, intent.instrument, quantity)
    if isinstance(tool, Refusal):
        return tool
    used = intent.used if intent.used is not None else record.name in state.work(step.id).used
    u = tool.uncertainty(quantity) or stated_uncertainty(state, record, quantity)
    measured = reading_measurement(quantity, u, tool.serial or tool.need or "")
    event = _recorded_event(state, step, record, slot, measured, u, used)
    event = replace(event, instrument=tool.need, serial=tool.serial)
    entries = (*tool.entries(by), Entry(by, event))
    return (*entries, *calculated_entries(state, step, entries, context, by))


def _named_reading(step: Step, intent: intents.RecordReading) -> tuple[RecordedValue, str | None] | Refusal:
    """Return the value that the intent names, and the slot of the reading if it names one.

    ``place`` of the intent is either the place of the reading or the place of the operation. A name such as
    ``bore[front]`` names both the value and the place.
    """
    records = {record.name: record for record in step.operation.record}
    name = name_in_step(step, intent.name, records)
    slot = None if intent.reading is None else str(intent.reading)
    place = None if intent.place is None else str(intent.place)
    if name is None:
        ref = ValueRef.parse(intent.name)
        name = name_in_step(step, ref.name, records)
        if name is None or not records[name].by_place or ref.place not in records[name].slots:
            return unknown_name("value in this operation", intent.name, records)
        place = ref.place if place is None else place
    record = records[name]
    if place is not None and place in record.slots and (record.by_place or step.place is None):
        slot = place
    elif place is not None and place != step.place:
        return unknown_name(f"place of {record.name}", place, record.slots if step.place is None else [step.place])
    if slot is not None and slot not in record.slots:
        return unknown_name(f"reading of {record.name}", slot, record.slots)
    return record, slot


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


def _recorded_event(
    state: State, step: Step, record: RecordedValue, slot: str, measured: Measurement, u: Quantity | None, used: bool
) -> ev.ReadingRecorded:
    bound = bound_in_force(record, used)
    judged = judge_reading(state, record, measured, used)
    relative = isinstance(bound, AboveReading)
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
        acceptance="" if judged is None else acceptance_text(judged, record, relative),
    )


def _conformity_text(verdict: Judgement | None) -> str | None:
    """Return the probability of conformity with four decimals, for the log. It is not used in calculations."""
    return None if verdict is None or verdict.conformity is None else f"{verdict.conformity:.4f}"


def tick_check(state: State, intent: intents.TickCheck, context: Context, by: str) -> Decision:
    step = operation_in_progress(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    checks = step.operation.check
    number = _check_number(checks, intent.check)
    if number is None:
        return unknown_name("check in this operation", str(intent.check), [point.text for point in checks])
    text = checks[number - 1].text
    ticked = number in state.work(step.id).checks
    if intent.undo:
        if not ticked:
            return refuse("check-open", f"Check {number} ({text}) is not ticked. There is no tick to clear")
        return (Entry(by, ev.CheckUnticked(step.id, number, text)),)
    if ticked:
        return refuse("already-done", f"Check {number} ({text}) is already ticked")
    late = refusal_or_none(late_entry_reasons(state, step, checks[number - 1].id, context.now))
    return late or (Entry(by, ev.CheckTicked(step.id, number, text)),)


def _check_number(checks: tuple[CheckPoint, ...], given: int | str) -> int | None:
    """Return the number of a check, from 1, given by its number, id or text; ``None`` if there is none."""
    for place, point in enumerate(checks, 1):
        if isinstance(given, str) and given and given in (point.id, point.text):
            return place
    number = whole_number(given)
    return number if number is not None and 1 <= number <= len(checks) else None


def enter_lot(state: State, intent: intents.EnterLot, context: Context, by: str) -> Decision:
    step = operation_in_progress(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    used = {ref.name for ref in step.operation.uses}
    items = {item.id: item for item in state.plan.procedure.kit if item.id in used}
    if intent.consumable not in items:
        return unknown_name("part or consumable in this operation", intent.consumable, items)
    lot = lot_number(intent.lot)
    if not lot:
        title = items[intent.consumable].title or intent.consumable
        return refuse("value-missing", f"The lot number of {title} is empty. Enter it", name=intent.consumable)
    return (Entry(by, ev.LotEntered(step.id, intent.consumable, lot)),)


def lot_number(text: str) -> str:
    """Return a typed or scanned lot number on one line, without unsafe characters. Spaces inside it are kept."""
    return clean(text).replace("\n", " ").strip()
