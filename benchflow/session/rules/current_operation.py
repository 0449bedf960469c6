"""The operation that an entry is for, and its joint."""

from benchflow.procedure.plan import Step
from benchflow.session.context import finish_first, quoted_title, refuse, unknown_name, unknown_operation
from benchflow.session.refusal import Refusal
from benchflow.session.rules.failed_fasteners import stopped_reason
from benchflow.session.rules.joint_progress import JointProgress, joint_progress
from benchflow.session.rules.missing_figures import joint_figure_missing
from benchflow.session.rules.reopened_operations import reopened_operations
from benchflow.session.state.state import State


def operation_in_progress(state: State, named: str | None) -> Step | Refusal:
    """The operation in progress; a refusal if there is none, or if ``named`` is another operation."""
    if named is not None and named not in state.plan.steps:
        return unknown_operation(state, named)
    if state.in_progress is None:
        if named is None:
            return refuse("not-started", "No operation is in progress. Start one first")
        if named in state.done and named not in reopened_operations(state):
            return refuse(
                "already-done", f"{quoted_title(state, named)} is already done. Start a rework first", operation=named
            )
        return refuse(
            "not-started", f"{quoted_title(state, named)} is not in progress. Start it first", operation=named
        )
    if state.rework is not None:
        message = f"{quoted_title(state, state.in_progress)} is being reworked. Finish the rework first"
        return refuse("not-allowed", message, operation=state.in_progress)
    if named is not None and named != state.in_progress:
        message = f"{quoted_title(state, named)} is not in progress. {finish_first(state)}"
        return refuse("not-started", message, operation=named)
    return state.plan.steps[state.in_progress]


def joint_in_progress(state: State, operation: str | None, joint: str) -> tuple[Step, JointProgress] | Refusal:
    """The operation in progress and the progress of its joint; a refusal if it does not tighten ``joint``."""
    step = operation_in_progress(state, operation)
    if isinstance(step, Refusal):
        return step
    progress = joint_progress(state, step)
    if progress is None or progress.joint.id != joint:
        return unknown_name("joint in this operation", joint, [] if progress is None else [progress.joint.id])
    return step, progress


def joint_to_tighten(state: State, operation: str | None, joint: str) -> tuple[Step, JointProgress] | Refusal:
    """The operation in progress and the progress of its joint.

    A refusal if a failed fastener stops the joint, or if a figure of the joint is still to be filled in.
    """
    found = joint_in_progress(state, operation, joint)
    if isinstance(found, Refusal):
        return found
    step, progress = found
    if progress.failed:
        return Refusal((stopped_reason(state, step, progress),))
    missing = joint_figure_missing(state, step, progress.joint)
    return found if missing is None else Refusal((missing,))
