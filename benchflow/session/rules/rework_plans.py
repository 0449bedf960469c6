"""The rework plan for an operation, and the parts to throw away."""

from collections.abc import Mapping

from msgspec.structs import replace

from benchflow.ordering import rework
from benchflow.ordering.actions import UndoOperation
from benchflow.session.context import refuse, title_of, unknown_name
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.state.state import State


def rework_plan(state: State, step_id: str) -> rework.ReworkPlan | Refusal:
    """How the work down to ``step_id`` comes apart, or every reason why it cannot."""
    if step_id not in state.plan.steps:
        return unknown_name("operation", step_id, state.plan.steps)
    if state.in_progress not in (None, step_id):
        message = f"{title_of(state, state.in_progress)} is in progress. Finish, pause or rework it first"
        return refuse("operation-in-progress", message, operation=state.in_progress)
    if state.rework is not None:
        message = f"Rework is already in progress, down to {title_of(state, state.rework.operation)}"
        return refuse("not-allowed", message, operation=state.rework.operation)
    if step_id not in (*state.done, *state.paused, state.in_progress):
        message = f"{title_of(state, step_id)} is not done. There is nothing to rework"
        return refuse("not-started", message, operation=step_id)
    found = rework.plan_rework(state.plan, done_work(state), step_id)
    if isinstance(found, rework.NoRework):
        return Refusal(
            tuple(
                Reason("not-allowed", rework.obstacle_text(state.plan, reason), operation=rework.named_step(reason))
                for reason in found.reasons
            )
        )
    if state.in_progress is not None and found.steps != (UndoOperation(step_id),):
        message = f"{title_of(state, step_id)} is in progress, and no move is possible meanwhile. Finish it first"
        return refuse("operation-in-progress", message, operation=step_id)
    gone = [
        name
        for each in found.steps
        if isinstance(each, UndoOperation)
        for name in discarded_items(state, each.operation)
    ]
    return replace(found, discard=tuple(dict.fromkeys(gone)))


def discarded_items(state: State, step_id: str) -> tuple[str, ...]:
    """The kit items that cannot be used again once a step is taken back: those its `undo` names, and those it uses that
    the kit says are thrown away."""
    operation = state.plan.steps[step_id].operation
    used_once = {item.id for item in state.plan.procedure.kit if item.discard}
    named = () if operation.undo is None else operation.undo.discard
    return tuple(
        dict.fromkeys([*(ref.name for ref in named), *(r.name for r in operation.uses if r.name in used_once)])
    )


def done_work(state: State) -> rework.DoneWork:
    """What the planner needs: what was finished, in that order (half-done work counts), and who wrote what."""
    writes: Mapping[str, tuple[rework.StateWrite, ...]] = {
        name: tuple(rework.StateWrite(write.step, write.value) for write in past) for name, past in state.writes.items()
    }
    held = () if state.in_progress is None else (state.in_progress,)
    return rework.DoneWork(finished=(*state.done, *state.paused, *held), writes=dict(writes))
