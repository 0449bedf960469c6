"""Refusals that every remedy with `redo` shares, whatever it is for."""

from typing import TypedDict

from benchflow.procedure.model import Remedy
from benchflow.procedure.plan import Step
from benchflow.session.context import quoted_title, refuse
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.rules.check_remedies import check_remedies
from benchflow.session.rules.deviation_subjects import fastener_subject
from benchflow.session.rules.open_items import lot_title
from benchflow.session.rules.open_values import result_title, value_title
from benchflow.session.rules.remedy_progress import remedy_progress
from benchflow.session.rules.remedy_waits import WaitedFor, stored_wait
from benchflow.session.rules.stage_remedies import FastenerRemedy, fastener_remedies
from benchflow.session.rules.stop_advice import stop_text
from benchflow.session.state.events import StoredQuantity
from benchflow.session.state.state import State, check_key, lot_item


class PartsAndWait(TypedDict):
    """Fields of :class:`benchflow.session.state.events.RemedyCarriedOut`."""

    subject: str
    uses: tuple[str, ...]
    restarts: tuple[str, ...]
    wait: StoredQuantity | None
    wait_for: WaitedFor


def no_undo_reason(state: State, step: Step, name: str, other: str) -> Reason:
    """The reason against a remedy that takes back the operation ``other``, which has no ``undo``."""
    message = (
        f"The remedy for {value_title(step, name)} also undoes {quoted_title(state, other)}, but the procedure does "
        "not say how. Correct the entry if it is wrong, or have a deviation signed"
    )
    return Reason("not-allowed", message, operation=other, name=name)


def lot_before_remedy(state: State, step: Step, remedy: Remedy) -> Refusal | None:
    """A refusal if the lot of a part that the remedy fits is still open from the remedy before."""
    work = state.work(step.id)
    items = {ref.name for ref in remedy.uses}
    for key in work.fitted:
        if lot_item(key) in items and key not in work.lots:
            message = f"Enter the lot of {lot_title(state, key)} first. The previous remedy fitted it"
            return refuse("value-missing", message, operation=step.id, name=lot_item(key))
    return None


def parts_and_wait(state: State, remedy: Remedy, subject: str, wait_for: WaitedFor) -> PartsAndWait:
    """The fields of the event of a remedy about the parts that it fits, the clocks that it restarts and its wait."""
    uses = tuple(ref.name for ref in remedy.uses)
    wait = stored_wait(remedy)
    return {
        "subject": subject if uses else "",
        "uses": uses,
        "restarts": tuple(ref.name for ref in remedy.restarts if ref.name in state.done),
        "wait": wait,
        "wait_for": {} if wait is None else wait_for,
    }


def stop_that_would_be_cleared(state: State, step: Step) -> Refusal | None:
    """A refusal if the work stops at something in ``step``, so that its entries cannot be made void."""
    for value in remedy_progress(state, step):
        if value.final:
            stop = stop_text(state, step, value, value.result.subject)
            message = f"{result_title(step, value.result)} is out of its limit. {stop}"
            return refuse("not-allowed", message, operation=step.id, name=value.result.name)
    tighten = step.operation.tighten
    for held in () if tighten is None else fastener_remedies(state, step):
        if held.final and tighten is not None:
            return stopped_fastener(state, step, tighten.joint, held)
    for check in check_remedies(state, step):
        if check.final:
            message = f"{check.title} was answered no. {stop_text(state, step, check, check_key(check.number))}"
            return refuse("not-allowed", message, operation=step.id, name=str(check.number))
    return None


def stopped_fastener(state: State, step: Step, joint: str, held: FastenerRemedy) -> Refusal:
    """The refusal of a remedy of a fastener at which the work stops."""
    subject = fastener_subject(joint, held.tick.fastener)
    message = f"{subject} is out of its limit. {stop_text(state, step, held, subject)}"
    return refuse("not-allowed", message, operation=step.id, name=joint)
