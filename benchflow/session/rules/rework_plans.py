"""The rework plan for an operation, and the parts to discard."""

from collections.abc import Iterable, Mapping

from msgspec.structs import replace

from benchflow.ordering import rework
from benchflow.ordering.actions import UndoOperation
from benchflow.session.context import quoted_title, refuse, unknown_operation
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.rules.planned_disassembly import parts_thrown_away, used_once_items
from benchflow.session.state.state import State, lot_item


def rework_plan(state: State, step_id: str) -> rework.ReworkPlan | Refusal:
    """The plan to undo the work down to ``step_id``; a refusal with every reason if that is not possible."""
    if step_id not in state.plan.steps:
        return unknown_operation(state, step_id)
    if state.in_progress not in (None, step_id):
        message = f"{quoted_title(state, state.in_progress)} is in progress. Finish, pause or rework it first"
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
        message = f"{title} is in progress, and its rework needs a move or another operation. Finish it first"
        return refuse("operation-in-progress", message, operation=step_id)
    return found


def _plan_with_parts(state: State, step_id: str) -> rework.ReworkPlan | rework.NoRework:
    """The plan to undo ``step_id``, and to do again every operation that a discarded part was entered in.

    Such an operation is undone with its dependents. If that is not possible, it is only reopened: its entries are void.
    """
    history = done_work(state)
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


def steps_with_discarded_parts(state: State, undone: Iterable[str]) -> list[str]:
    """The other steps in which the lot of a part was entered that is thrown away when the steps ``undone`` are undone.

    A part whose lot was entered in the undone step itself is that one. Otherwise it is the one of a step that the
    undone step comes after; of the same place, if both are repeated.
    """
    undone = tuple(undone)
    found: dict[str, None] = {}
    for name in undone:
        for item in discarded_items(state, name):
            if any(lot_item(key) == item for key in state.work(name).lots):
                continue
            entered = [other for other, work in state.works.items() if any(lot_item(key) == item for key in work.lots)]
            before = steps_before(state, name)
            place = state.plan.steps[name].place
            for narrower in (
                [other for other in entered if other in before],
                [other for other in entered if place is not None and state.plan.steps[other].place == place],
            ):
                entered = narrower or entered
            found.update(dict.fromkeys(other for other in entered if other not in undone))
    return list(found)


def steps_before(state: State, step_id: str) -> set[str]:
    """The steps that ``step_id`` comes after, directly or indirectly."""
    found, todo = set[str](), [step_id]
    while todo:
        for other in state.plan.steps[todo.pop()].after:
            if other not in found:
                found.add(other)
                todo.append(other)
    return found


def discarded_items(state: State, step_id: str) -> tuple[str, ...]:
    """The kit items that cannot be used again when a step is undone.

    Those that were thrown away when it took something apart as planned are among them.
    """
    step = state.plan.steps.get(step_id)
    thrown = () if step is None or step_id not in state.done else parts_thrown_away(state, step)
    return tuple(dict.fromkeys((*used_once_items(state, step_id), *thrown)))


def done_work(state: State) -> rework.DoneWork:
    """The input of the rework planner: the operations done, in order, and the values written to state variables.

    Operations that are paused or in progress count as done.
    """
    writes: Mapping[str, tuple[rework.StateWrite, ...]] = {
        name: tuple(rework.StateWrite(write.step, write.value) for write in past) for name, past in state.writes.items()
    }
    current = () if state.in_progress is None else (state.in_progress,)
    return rework.DoneWork(finished=(*state.done, *state.paused, *current), writes=dict(writes))
