"""Operations that were taken apart again as planned (`takes-apart`): a trial, whose one-time parts are thrown away."""

from benchflow.procedure.expand import resolve
from benchflow.procedure.plan import Step
from benchflow.session.state.state import State


def steps_taken_apart(state: State, step: Step) -> tuple[str, ...]:
    """The steps that ``step`` takes apart."""
    return tuple(name for ref in step.operation.takes_apart for name in resolve(state.plan, ref.name, step))


def used_once_items(state: State, step_id: str) -> tuple[str, ...]:
    """The kit items to discard when a step is taken apart: those in its ``undo``, and those for one use only."""
    if step_id not in state.plan.steps:
        return ()  # a remedy calls for it for the first time
    operation, kit = state.plan.steps[step_id].operation, state.plan.procedure.kit_by_id
    named = () if operation.undo is None else operation.undo.discard
    used_once = (ref for ref in operation.uses if ref.name in kit and kit[ref.name].discard)
    return tuple(dict.fromkeys(ref.name for ref in (*named, *used_once)))


def parts_thrown_away(state: State, step: Step) -> tuple[str, ...]:
    """The kit items that are thrown away when ``step`` is done, because it takes apart what they were used in."""
    return tuple(
        dict.fromkeys(item for name in steps_taken_apart(state, step) for item in used_once_items(state, name))
    )


def trials(state: State) -> dict[str, str]:
    """Each step that was taken apart again, with the done step that took it apart."""
    return {name: done for done in state.done for name in steps_taken_apart(state, state.plan.steps[done])}
