"""Every reason why an operation cannot start, a move cannot be made, or the job cannot be closed."""

from benchflow.ordering.actions import MakeMove
from benchflow.procedure.expand import resolve
from benchflow.procedure.plan import Step
from benchflow.session.context import Context, title_of
from benchflow.session.refusal import Reason
from benchflow.session.rules.blocking import move_interlock_reasons, step_interlock_reasons
from benchflow.session.rules.open_items import limit_reasons, too_early_reasons
from benchflow.session.state.state import State


def start_reasons(state: State, step_id: str, context: Context) -> tuple[Reason, ...]:
    """Every reason why an operation cannot start now."""
    step = state.plan.steps[step_id]
    if step_id in state.done:
        return (Reason("already-done", f"{step.title} is already done", operation=step_id),)
    reasons: list[Reason] = []
    if state.in_progress is not None:
        title = title_of(state, state.in_progress)
        same = state.in_progress == step_id
        message = f"{title} is already in progress" if same else f"Finish or pause {title} first"
        reasons.append(Reason("operation-in-progress", message, operation=state.in_progress))
    if state.rework is not None:
        reasons.append(_rework_in_progress(state))
    reasons += step_interlock_reasons(state, step_id)
    reasons += too_early_reasons(state, step, context.now)
    return tuple(reasons)


def _rework_in_progress(state: State) -> Reason:
    plan = state.rework
    assert plan is not None
    return Reason(
        "not-allowed",
        f"Finish the rework of {title_of(state, plan.operation)} first: {plan.left} of {len(plan.steps)} steps left",
        operation=plan.operation,
    )


def move_reasons(state: State, move_id: str) -> tuple[Reason, ...]:
    """Every reason why a move cannot be made now."""
    reasons: list[Reason] = []
    if state.in_progress is not None:
        message = f"Finish or pause {title_of(state, state.in_progress)} first: a move is made between operations"
        reasons.append(Reason("operation-in-progress", message, operation=state.in_progress))
    if state.rework is not None and state.rework.next != MakeMove(move_id):
        reasons.append(_rework_in_progress(state))
    return (*reasons, *move_interlock_reasons(state, move_id))


def close_reasons(state: State, unfinished: bool) -> tuple[Reason, ...]:
    """Every reason why the job cannot be closed now.

    With a reason (``unfinished``) it can be closed with operations not done; a job without any work needs no reason.
    A temporary setting or a value out of its limit always blocks.
    """
    reasons: list[Reason] = []
    left: list[Reason] = []
    if state.in_progress is not None:
        message = f"Finish or pause {title_of(state, state.in_progress)} first"
        reasons.append(Reason("operation-in-progress", message, operation=state.in_progress))
    if state.rework is not None:
        reasons.append(_rework_in_progress(state))
    begun = bool(state.done or state.works)
    for name, step in state.plan.steps.items():
        temporary = _temporary_left(state, step)
        if temporary is not None:
            reasons.append(temporary)
        if name in state.done:
            reasons += limit_reasons(state, step)
        elif begun and not unfinished:
            message = f"{step.title} is not done. Finish it, or give a reason to close the job unfinished"
            left.append(Reason("after-missing", message, operation=name))
    return (*reasons, *left)


def _temporary_left(state: State, step: Step) -> Reason | None:
    """The reason for a temporary setting that was not restored since. A restoring operation that is not part of this
    build counts as done."""
    restored = step.operation.restored_by
    if restored is None or step.id not in state.done:
        return None
    made = state.done[step.id].seq
    for name in resolve(state.plan, restored.name, step.place, step.operation.each):
        if name not in state.done or state.done[name].seq < made:
            message = f"{step.title} is temporary. Do {title_of(state, name)} before the job is closed"
            if name in state.done:
                message = f"{step.title} is temporary and came after {title_of(state, name)}. Redo the latter"
            return Reason("temporary-left", message, operation=step.id)
    return None
