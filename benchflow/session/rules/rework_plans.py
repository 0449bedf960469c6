"""The rework plan for an operation."""

from msgspec.structs import replace

from benchflow.ordering import rework
from benchflow.ordering.actions import UndoOperation
from benchflow.session.context import quoted_title, refuse, unknown_operation
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.rules.check_remedies import check_remedies
from benchflow.session.rules.done_work import discarded_items, done_work, steps_with_discarded_parts
from benchflow.session.rules.remedy_progress import remedy_progress
from benchflow.session.state.state import State


def rework_plan(state: State, step_id: str) -> rework.ReworkPlan | Refusal:
    """The plan to undo the work down to ``step_id``; a refusal with every reason if that is not possible."""
    if step_id not in state.plan.steps:
        return unknown_operation(state, step_id)
    if state.in_progress not in (None, step_id):
        ways = "Finish" if state.step(state.in_progress).during else "Finish, pause"
        message = f"{quoted_title(state, state.in_progress)} is in progress. {ways} or rework it first"
        return refuse("operation-in-progress", message, operation=state.in_progress)
    if state.rework is not None:
        message = f"A rework down to {quoted_title(state, state.rework.operation)} is in progress. Finish it first"
        return refuse("not-allowed", message, operation=state.rework.operation)
    if step_id not in (*state.done, *state.paused, state.in_progress):
        message = f"{quoted_title(state, step_id)} is not done. There is nothing to rework"
        return refuse("not-started", message, operation=step_id)
    found = _plan_with_parts(state, step_id)
    if isinstance(found, rework.NoRework):
        return Refusal(
            tuple(
                Reason("not-allowed", rework.obstacle_text(state.plan, reason), operation=rework.named_step(reason))
                for reason in found.reasons
            )
        )
    if state.in_progress is not None and found.steps != (UndoOperation(step_id),):
        title = quoted_title(state, step_id)
        ways = "Finish" if state.step(step_id).during else "Finish or pause"
        message = f"{title} is in progress, and its rework needs a move or another operation. {ways} it first"
        return refuse("operation-in-progress", message, operation=step_id)
    return found


def undo_is_written(state: State, step_id: str) -> bool:
    """True if the procedure says how to undo ``step_id``, which is done, and everything that depends on it.

    The plan itself is not made, since messages ask for this often.
    """
    history = undo_history(state)
    undone = rework.with_dependents(state.plan, history, (step_id,))
    return all(name in history.only_written or state.step(name).operation.undo is not None for name in undone)


def _plan_with_parts(state: State, step_id: str) -> rework.ReworkPlan | rework.NoRework:
    """The plan to undo ``step_id``, and to do again every operation that a discarded part was entered in.

    Such an operation is undone with its dependents. If that is not possible, it is only reopened: its entries are void.
    """
    history = undo_history(state)
    found = rework.plan_rework(state.plan, history, step_id)
    also: list[str] = []
    reopened: list[str] = []
    while isinstance(found, rework.ReworkPlan):
        undone = [action.operation for action in found.steps if isinstance(action, UndoOperation)]
        discard = tuple(dict.fromkeys(item for name in (*undone, *reopened) for item in discarded_items(state, name)))
        more = [name for name in steps_with_discarded_parts(state, (*undone, *reopened)) if name not in reopened]
        if not more:
            redo = tuple(name for name in state.plan.steps if name in undone or name in reopened)
            return replace(found, discard=discard, redo=redo, reopened=tuple(reopened))
        wider = rework.plan_rework(state.plan, history, step_id, also=(*also, more[0]))
        if isinstance(wider, rework.ReworkPlan):
            also.append(more[0])
            found = wider
        else:
            reopened.append(more[0])
    return found


def undo_history(state: State) -> rework.DoneWork:
    """The work that is done, and which of it needs no `undo`."""
    history = done_work(state)
    unfinished = [name for name in history.finished if name not in state.done]
    return replace(history, only_written=frozenset(name for name in unfinished if _is_only_written(state, name)))


def _is_only_written(state: State, step_id: str) -> bool:
    """True if nothing was done to the engine yet in an unfinished step, and no remedy is next for one of its entries.

    There is no tick, turn, lot or setting. A rework must not be a way around a remedy; past the last one it is a way.
    """
    step, work = state.step(step_id), state.work(step_id)
    worked = work.ticks or work.cleared_high or work.turns or work.seated or work.lots or work.fitted
    if worked or step.sets or step.during or step.operation.takes_apart:
        return False
    return all(each.final for each in (*remedy_progress(state, step), *check_remedies(state, step)))
