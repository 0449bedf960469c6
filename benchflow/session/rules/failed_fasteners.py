"""A failed fastener: it stripped, broke or turns without getting tighter, and stops its joint until it is repaired."""

from typing import Final

from benchflow.ordering.wording import all_of
from benchflow.procedure.plan import Step
from benchflow.quantity import show
from benchflow.session.refusal import Reason
from benchflow.session.rules.deviation_subjects import fastener_subject
from benchflow.session.rules.joint_progress import JointProgress
from benchflow.session.rules.measurements import from_stored
from benchflow.session.rules.planned_disassembly import used_once_items
from benchflow.session.rules.rework_plans import undo_is_written
from benchflow.session.rules.waivers import deviation_advice
from benchflow.session.state.events import FastenerFailure
from benchflow.session.state.state import FailedFastener, State

FAILURES: Final[dict[str, FastenerFailure]] = {"stripped": "stripped", "broken": "broken", "turning": "turning"}
"""What can happen to a fastener, by its name in an intent."""

FAILURE_TEXT: Final[dict[FastenerFailure, str]] = {
    "stripped": "stripped",
    "broken": "broken",
    "turning": "turns without getting tighter",
}
"""What happened to a fastener, for people."""


def stopped_reason(state: State, step: Step, progress: JointProgress) -> Reason:
    """The reason that the joint is stopped, with the ways on. At least one of its fasteners has failed."""
    joint, failed = progress.joint, progress.failed[0]
    message = f"{joint.title or joint.id}: {failed_text(progress, failed)}. The joint is stopped. "
    fitted = fitting_step(state, step, failed)
    if fitted is not None:
        message += f"{renewal_text(state, step, fitted)}, then repair fastener {failed.fastener} and enter the repair"
    else:
        message += f"Repair fastener {failed.fastener} and enter the repair, then begin the joint again"
        discarded = used_once_items(state, step.id)
        if discarded:
            message += f" with new parts ({parts_text(state, discarded)})"
    subject = fastener_subject(joint.id, failed.fastener)
    sign = deviation_advice(state, step, subject)
    message += f". Or {sign} about {subject} and go on without it" if sign else ""
    return Reason("fastener-failed", message, operation=step.id, name=str(failed.fastener), rework=fitted)


def fitting_step(state: State, step: Step, failed: FailedFastener) -> str | None:
    """The finished step that fitted a part for one use under this joint, and has to be reworked before the repair.

    ``None`` if there is none, if it was reworked since the fastener failed, or if nothing was tightened.
    """
    if not state.work(step.id).ticks or step.during:
        return None
    items = used_once_items(state, step.id)
    for name in reversed(tuple(state.done)):
        fits = any(ref.name in items for ref in state.plan.steps[name].operation.uses)
        if fits and state.done[name].seq < failed.seq and undo_is_written(state, name):
            return name
    return None


def renewal_text(state: State, step: Step, fitted: str) -> str:
    """What to do about the parts for one use: ``Pause step 41 and rework step 35 with new parts (Head gasket)``."""
    items = used_once_items(state, step.id)
    renewed = tuple(ref.name for ref in state.plan.steps[fitted].operation.uses if ref.name in items)
    numbers = f"Pause step {state.plan.number(step.id)} and rework step {state.plan.number(fitted)}"
    return f"{numbers} with new parts ({parts_text(state, renewed)})"


def failed_text(progress: JointProgress, failed: FailedFastener) -> str:
    """What happened to a fastener, and where: ``fastener 3 is stripped (stage 2: 60 N·m, at 45 N·m)``."""
    stages = progress.tighten.stages
    where = f"stage {failed.stage}: {stages[failed.stage - 1].text}" if failed.stage else "before stage 1"
    reached = "" if failed.quantity is None else f", at {show(from_stored(failed.quantity))}"
    return f"fastener {failed.fastener} {failure_clause(failed.what)} ({where}{reached})"


def failure_clause(what: FastenerFailure) -> str:
    """What happened to a fastener, as the rest of a sentence about it: ``is stripped``."""
    return FAILURE_TEXT[what] if what == "turning" else f"is {FAILURE_TEXT[what]}"


def parts_text(state: State, items: tuple[str, ...]) -> str:
    """The titles of kit items inside a sentence."""
    kit = state.plan.procedure.kit_by_id
    return all_of(kit[item].title or item for item in items)
