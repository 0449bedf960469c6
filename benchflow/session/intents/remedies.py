"""Handler of the intent `remedy`."""

from msgspec.structs import replace

from benchflow.ordering.remedy_scope import steps_called
from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import Remedy
from benchflow.procedure.plan import Step
from benchflow.session.context import Context, Decision, Entry, refuse, unknown_name
from benchflow.session.intents import intent_types as intents
from benchflow.session.intents.check_remedy_intents import carry_out_check_remedy, check_named
from benchflow.session.intents.reading_names import named_reading
from benchflow.session.intents.remedy_steps import (
    lot_before_remedy,
    no_undo_reason,
    parts_and_wait,
    stop_that_would_be_cleared,
)
from benchflow.session.intents.stage_remedy_intents import carry_out_stage_remedy
from benchflow.session.refusal import Refusal
from benchflow.session.rules.current_operation import operation_in_progress
from benchflow.session.rules.deferred_undos import undos_that_wait
from benchflow.session.rules.done_work import discarded_items
from benchflow.session.rules.open_values import (
    limit_base_missing,
    remedy_first,
    result_title,
    value_title,
)
from benchflow.session.rules.put_right_advice import limit_advice
from benchflow.session.rules.remedy_progress import (
    RemedyProgress,
    readings_made_void,
    remedy_progress,
    served_together,
    steps_to_redo,
    steps_without_undo,
)
from benchflow.session.rules.remedy_waits import readings_waited_for
from benchflow.session.rules.stop_advice import stop_text
from benchflow.session.rules.value_results import (
    WHOLE,
    ReadingRef,
    inputs_missing,
    named_value,
    reading_subject,
    recorded_results,
    results_of,
)
from benchflow.session.state import events as ev
from benchflow.session.state.state import State


def carry_out_remedy(state: State, intent: intents.CarryOutRemedy, context: Context, by: str) -> Decision:
    step = operation_in_progress(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    joint = None if step.operation.tighten is None else step.operation.tighten.joint
    if joint is not None and joint in (intent.name, ValueRef.parse(intent.name).name):
        return carry_out_stage_remedy(state, step, intent, by)
    check = None if named_value(state, step, intent.name) is not None else check_named(step, intent.name)
    if check is not None:
        return carry_out_check_remedy(state, step, check, intent, by)
    if intent.fastener is not None:
        return unknown_name("joint in this operation", intent.name, [] if joint is None else [joint])
    named = named_reading(state, step, intent.name, intent.reading, intent.place)
    if isinstance(named, Refusal):
        return named
    name, slot = named
    chosen = _remedy_in_turn(state, step, name, slot)
    if isinstance(chosen, Refusal):
        return chosen
    remedy, title = chosen.remedy, result_title(step, chosen.result)
    if remedy is None or remedy.stop:
        message = f"{title} is out of its limit. {stop_text(state, step, chosen, chosen.result.subject)}"
        return refuse("not-allowed", message, operation=step.id, name=name)
    open_lot = lot_before_remedy(state, step, remedy)
    if open_lot is not None:
        return open_lot
    missing = inputs_missing(state, step, name) if remedy.redo else ()
    if missing:
        message = f"{title}: enter every reading before the remedy, because all are taken again after it. "
        return refuse("value-missing", message + _missing_text(step, missing), operation=step.id, name=name)
    served = served_together(chosen, remedy_progress(state, step, name))
    void = readings_made_void(state, step, remedy, served)
    slots = _slots_out(state, step, served)
    redo = steps_to_redo(state, step, remedy, slots)
    without = steps_without_undo(state, step, remedy)
    if without:
        return Refusal(tuple(no_undo_reason(state, step, name, other) for other in without))
    conflict = _remedy_of_another_value(state, step, served, void, cleared=step.id in redo)
    if conflict is not None:
        return conflict
    stopped = stop_that_would_be_cleared(state, step) if step.id in redo else None
    if stopped is not None:
        return stopped
    return (Entry(by, _event(state, step, remedy, served, void, redo)),)


def _event(
    state: State,
    step: Step,
    remedy: Remedy,
    served: tuple[RemedyProgress, ...],
    void: dict[str, tuple[str, ...]],
    redo: tuple[str, ...],
) -> ev.RemedyCarriedOut:
    called = steps_called(state.plan, step, remedy, _slots_out(state, step, served))
    name = served[0].result.name
    slots = tuple(p.result.slot for p in served if p.result.slot != WHOLE)
    subject = served[0].result.subject if len(served) == 1 else reading_subject(name, ", ".join(slots))
    redone = (ref for p in served for ref in p.result.readings if ref.step in redo and ref.step != step.id)
    return ev.RemedyCarriedOut(
        operation=step.id,
        name=name,
        verdict=served[0].verdict,
        do=remedy.do,
        redo=redo,
        readings=slots,
        void=void,
        fresh=remedy.fresh,
        limit=served[0].result.limit,
        undo_later=undos_that_wait(state, [name for name in redo if name not in (step.id, *called)]),
        discard=tuple(dict.fromkeys(item for name in redo for item in discarded_items(state, name))),
        called=called,
        **parts_and_wait(state, remedy, subject, readings_waited_for(step, name, void, redone)),
    )


def _slots_out(state: State, step: Step, served: tuple[RemedyProgress, ...]) -> tuple[str, ...] | None:
    """The readings that were out; ``None`` if a figure of all readings was, such as their mean.

    Where the smallest or largest is judged, they are the readings that are beyond the limit themselves.
    """
    if all(p.result.slot != WHOLE for p in served):
        return tuple(p.result.slot for p in served)
    record = step.record(served[0].result.name)
    if record is None or record.judge not in ("smallest", "largest"):
        return None
    alone = recorded_results(state, step, replace(record, judge="all"))
    return tuple(result.slot for result in alone if result.verdict.verdict == served[0].verdict) or None


def _remedy_in_turn(state: State, step: Step, name: str, slot: str | None) -> RemedyProgress | Refusal:
    """The result whose remedy the intent means: the named reading, or the only one that is out.

    Of several limits on a value, it is the first one with a remedy that is out.
    """
    title = value_title(step, name)
    results = [result for result in results_of(state, step, name) if slot is None or result.slot in (slot, WHOLE)]
    found = [p for p in remedy_progress(state, step, name) if slot is None or p.result.slot in (slot, WHOLE)]
    if not found and any(result.out for result in results):
        advice = limit_advice(state, step, name, "Measure again")
        message = f"{title} is out of its limit. The procedure gives no remedy. {advice}"
        return refuse("not-allowed", message, operation=step.id, name=name)
    if not found:
        missing = [ref for ref in inputs_missing(state, step, name) if slot is None or ref.slot == slot]
        if missing:
            message = f"{title} is not known to be out of its limit. {_missing_text(step, tuple(missing))}"
            return refuse("value-missing", message, operation=step.id, name=name)
        base = limit_base_missing(state, step, name)
        if base is not None:
            return Refusal((base,))
        waived = any(result.waived is not None for result in results)
        why = "A deviation is signed for it" if waived else "It is not out of its limit"
        return refuse("not-allowed", f"{title} needs no remedy. {why}", operation=step.id, name=name)
    found = [progress for progress in found if progress.result.limit == found[0].result.limit]
    live = [progress for progress in found if not progress.final] or found[:1]
    if len(served_together(live[0], tuple(live))) == len(live):
        return live[0]
    subjects = " or ".join(progress.result.subject for progress in live)
    message = f"Several readings of {title} are out of their limit. Name the one that was remedied: {subjects}"
    return refuse("value-missing", message, operation=step.id, name=name)


def _missing_text(step: Step, missing: tuple[ReadingRef, ...]) -> str:
    names = dict.fromkeys(_reading_title(step, ref) for ref in missing)
    return f"Not entered yet: {', '.join(names)}"


def _reading_title(step: Step, ref: ReadingRef) -> str:
    record = step.record(ref.name) if ref.step == step.id else None
    if record is None:
        return ref.name
    title = value_title(step, ref.name)
    return title if len(record.slots) == 1 else f"{title} (reading {ref.slot})"


def _remedy_of_another_value(
    state: State,
    step: Step,
    served: tuple[RemedyProgress, ...],
    void: dict[str, tuple[str, ...]],
    *,
    cleared: bool,
) -> Refusal | None:
    """A refusal if the remedy would make readings void that another result holds; ``None`` if it may be carried out.

    A stop stays in force. A reading with a remedy of its own is remedied before the values calculated from it. With
    ``cleared``, all entries of the operation become void.
    """
    first = served[0].result
    for other in remedy_progress(state, step):
        held = other.result.held if other.final else other.result.readings
        own = [reading for reading in held if reading.step == step.id]
        if other in served or not (cleared or any(r.slot in void.get(r.name, ()) for r in own)):
            continue
        title = result_title(step, other.result)
        if other.final:
            message = f"{title} is out of its limit. {stop_text(state, step, other, other.result.subject)}"
            return refuse("not-allowed", message, operation=step.id, name=other.result.name)
        reading_first = step.record(other.result.name) is not None and step.work_out(first.name) is not None
        if reading_first and not cleared:
            return Refusal((remedy_first(step, title, (other,)),))
    return None
