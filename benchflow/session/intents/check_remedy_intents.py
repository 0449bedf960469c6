"""The intent `remedy` for a check that was answered no."""

from benchflow.ordering.remedy_scope import steps_called
from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import CheckPoint
from benchflow.procedure.plan import Step
from benchflow.session.context import Decision, Entry, refuse
from benchflow.session.intents import intent_types as intents
from benchflow.session.intents.remedy_steps import (
    lot_before_remedy,
    no_undo_reason,
    parts_and_wait,
    stop_that_would_be_cleared,
)
from benchflow.session.refusal import Refusal
from benchflow.session.rules.check_remedies import answer_is_waived, remedy_of_check
from benchflow.session.rules.deferred_undos import undos_that_wait
from benchflow.session.rules.done_work import discarded_items
from benchflow.session.rules.remedy_progress import steps_to_redo, steps_without_undo
from benchflow.session.rules.stop_advice import stop_text
from benchflow.session.rules.typed_values import whole_number
from benchflow.session.state import events as ev
from benchflow.session.state.state import State, check_key


def check_named(step: Step, given: int | str) -> int | None:
    """The number of the check, from 1, that is given by its number, id or text; ``None`` if there is none."""
    checks = step.operation.check
    for number, point in enumerate(checks, 1):
        if isinstance(given, str) and given and given in _names(step, point, number):
            return number
    found = whole_number(given)
    return found if found is not None and 1 <= found <= len(checks) else None


def _names(step: Step, point: CheckPoint, number: int) -> tuple[str, ...]:
    """The names of a check. In a repeated operation, its id can have the place."""
    of_place = (str(ValueRef(point.id, step.place)),) if point.id else ()
    return (*filter(None, (point.id,)), point.text, check_key(number), *of_place)


def carry_out_check_remedy(state: State, step: Step, number: int, intent: intents.CarryOutRemedy, by: str) -> Decision:
    """Log the remedy in turn of a check that was answered no."""
    name, point = str(number), step.operation.check[number - 1]
    if intent.fastener is not None or intent.reading is not None or intent.place not in (None, step.place):
        message = f"Check {name} has no reading and no fastener. Name only the check"
        return refuse("not-allowed", message, operation=step.id, name=name)
    held = remedy_of_check(state, step, number)
    if held is None:
        message = f"Check {name} ({point.text}) needs no remedy. It has not been answered no"
        if answer_is_waived(state, step, number):
            message = f"Check {name} ({point.text}) needs no remedy. A deviation is signed for it"
        elif number in state.work(step.id).failed:
            message = (
                f"Check {name} ({point.text}) was answered no, and the procedure has no remedy for it. Correct the "
                "fault and answer yes, or sign a deviation"
            )
        return refuse("not-allowed", message, operation=step.id, name=name)
    remedy = held.remedy
    if remedy is None or remedy.stop:
        message = f"{held.title} was answered no. {stop_text(state, step, held, check_key(held.number))}"
        return refuse("not-allowed", message, operation=step.id, name=name)
    open_lot = lot_before_remedy(state, step, remedy)
    if open_lot is not None:
        return open_lot
    redo, called = steps_to_redo(state, step, remedy), steps_called(state.plan, step, remedy)
    without = steps_without_undo(state, step, remedy)
    if without:
        return Refusal(tuple(no_undo_reason(state, step, check_key(number), other) for other in without))
    stopped = stop_that_would_be_cleared(state, step) if step.id in redo else None
    if stopped is not None:
        return stopped
    event = ev.RemedyCarriedOut(
        operation=step.id,
        name=check_key(number),
        verdict="no",
        do=remedy.do,
        redo=redo,
        fresh=remedy.fresh,
        undo_later=undos_that_wait(state, [other for other in redo if other not in (step.id, *called)]),
        discard=tuple(dict.fromkeys(item for other in redo for item in discarded_items(state, other))),
        check=number,
        called=called,
        **parts_and_wait(state, remedy, check_key(number), {step.id: {check_key(number): ("",)}}),
    )
    return (Entry(by, event),)
