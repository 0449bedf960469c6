"""Refusals that every remedy with `redo` shares, whatever it is for."""

from benchflow.procedure.plan import Step
from benchflow.session.context import quoted_title, refuse
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.rules.check_remedies import check_remedies
from benchflow.session.rules.deviation_subjects import fastener_subject
from benchflow.session.rules.open_values import stop_text, value_title
from benchflow.session.rules.remedy_progress import remedy_progress
from benchflow.session.rules.stage_remedies import FastenerRemedy, fastener_remedies
from benchflow.session.state.state import State


def no_undo_reason(state: State, step: Step, name: str, other: str) -> Reason:
    """The reason against a remedy that takes back the operation ``other``, which has no ``undo``."""
    message = (
        f"The remedy for {value_title(step, name)} takes back {quoted_title(state, other)}, and the procedure does not "
        "say how to undo that. Correct the entry if it was misread, or have a deviation signed"
    )
    return Reason("not-allowed", message, operation=other, name=name)


def stop_that_would_be_cleared(state: State, step: Step) -> Refusal | None:
    """A refusal if the work stops at something in ``step``, so that its entries cannot be made void."""
    for value in remedy_progress(state, step):
        if value.final:
            message = f"{value_title(step, value.result.name)} is out of its limit. {stop_text(value)}"
            return refuse("not-allowed", message, operation=step.id, name=value.result.name)
    tighten = step.operation.tighten
    for held in () if tighten is None else fastener_remedies(state, step):
        if held.final and tighten is not None:
            return stopped_fastener(step, tighten.joint, held)
    for check in check_remedies(state, step):
        if check.final:
            message = f"{check.title} was answered no. {stop_text(check)}"
            return refuse("not-allowed", message, operation=step.id, name=str(check.number))
    return None


def stopped_fastener(step: Step, joint: str, held: FastenerRemedy) -> Refusal:
    """The refusal of a remedy of a fastener at which the work stops."""
    message = f"{fastener_subject(joint, held.tick.fastener)} is out of its limit. {stop_text(held)}"
    return refuse("not-allowed", message, operation=step.id, name=joint)
