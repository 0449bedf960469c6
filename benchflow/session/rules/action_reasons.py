"""Every reason why an operation cannot start, a move cannot be made, or the job cannot be closed."""

from collections.abc import Iterator, Mapping

from msgspec.structs import replace

from benchflow.ordering.actions import MakeMove
from benchflow.ordering.wording import condition_text
from benchflow.procedure.expand import resolve
from benchflow.procedure.plan import Step
from benchflow.session.context import Context, finish_first, quoted_title
from benchflow.session.refusal import Reason
from benchflow.session.rules.blocking import move_interlock_reasons, step_interlock_reasons
from benchflow.session.rules.deferred_undos import waiting_undo_reasons
from benchflow.session.rules.done_work import steps_before
from benchflow.session.rules.missing_figures import time_figure_reasons
from benchflow.session.rules.open_items import hold_reasons, limit_reasons, too_early_reasons, too_late_reasons
from benchflow.session.rules.reopened_operations import reopened_operations
from benchflow.session.state.state import State

Reopened = Mapping[str, tuple[Reason, ...]]
"""The finished operations that are reopened, with the reasons (:func:`reopened_operations`)."""


def start_reasons(state: State, step_id: str, context: Context, reopened: Reopened | None = None) -> tuple[Reason, ...]:
    """Every reason why an operation cannot start now. One that is reopened can be started again.

    ``reopened`` are the reopened operations, if the caller knows them. Otherwise they are computed.
    """
    step = state.plan.steps[step_id]
    reopened = reopened_operations(state) if reopened is None else reopened
    if step_id in state.done and step_id not in reopened:
        message = f"{quoted_title(state, step_id)} is already done. Start a rework to do it again"
        return (Reason("already-done", message, operation=step_id),)
    reasons: list[Reason] = []
    if state.in_progress is not None:
        title = quoted_title(state, state.in_progress)
        same = state.in_progress == step_id
        message = f"{title} is already in progress" if same else finish_first(state)
        reasons.append(Reason("operation-in-progress", message, operation=state.in_progress))
    if state.rework is not None:
        reasons.append(_rework_in_progress(state))
    reasons += waiting_undo_reasons(state, step_id)
    reasons += _with_condition(state, step, step_interlock_reasons(state, step_id))
    reasons += _reopened_before(state, step_id, reopened)
    reasons += time_figure_reasons(state, step)
    reasons += too_early_reasons(state, step, context.now)
    reasons += too_late_reasons(state, step, context.now)
    return tuple(reasons)


def _with_condition(state: State, step: Step, reasons: tuple[Reason, ...]) -> Iterator[Reason]:
    """The reasons, with what has to be found so that the operation is done at all."""
    condition = condition_text(state.plan, step) if step.awaits else ""
    for reason in reasons:
        if condition and reason.code == "after-missing":
            reason = replace(reason, message=f"{condition[:1].upper()}{condition[1:]}. {reason.message}")
            condition = ""
        yield reason


def _reopened_before(state: State, step_id: str, reopened: Reopened) -> Iterator[Reason]:
    """The reasons of each finished operation before ``step_id`` that is reopened, or whose hold is open again."""
    if state.reopened_holds or reopened:
        before = steps_before(state, step_id)
        for name in state.plan.steps:
            if name in before and name in reopened:
                yield from reopened[name]
            if name in before and name in state.reopened_holds:
                yield from hold_reasons(state, state.plan.steps[name])


def _rework_in_progress(state: State) -> Reason:
    """The reason that blocks every other action while a rework is in progress."""
    plan = state.rework
    assert plan is not None
    return Reason(
        "not-allowed",
        f"Finish the rework of {quoted_title(state, plan.operation)} first. "
        f"{plan.left} {'step is' if plan.left == 1 else 'steps are'} left",
        operation=plan.operation,
    )


def move_reasons(state: State, move_id: str) -> tuple[Reason, ...]:
    """Every reason why a move cannot be made now."""
    reasons: list[Reason] = []
    if state.in_progress is not None:
        message = f"A move is only possible between operations. {finish_first(state)}"
        reasons.append(Reason("operation-in-progress", message, operation=state.in_progress))
    if state.rework is not None and state.rework.next != MakeMove(move_id):
        reasons.append(_rework_in_progress(state))
    return (*reasons, *move_interlock_reasons(state, move_id))


def close_reasons(state: State, unfinished: bool) -> tuple[Reason, ...]:
    """Every reason why the job cannot be closed now.

    Operations that are not done block it, unless there is a reason (``unfinished``) or no work was done at all.
    A temporary setting, a value out of its limit and a hold that is open again always block it.
    """
    reasons: list[Reason] = []
    not_done: list[Reason] = []
    if state.in_progress is not None:
        reasons.append(Reason("operation-in-progress", finish_first(state), operation=state.in_progress))
    if state.rework is not None:
        reasons.append(_rework_in_progress(state))
    any_work = bool(state.done or state.works)
    for name, step in state.plan.steps.items():
        temporary = _temporary_left(state, step)
        if temporary is not None:
            reasons.append(temporary)
        if name in state.done:
            reasons += limit_reasons(state, step)
            reasons += hold_reasons(state, step) if name in state.reopened_holds else ()
        elif any_work and not unfinished:
            message = (
                f"{quoted_title(state, name)} is not done. Finish it, or give a reason to close the job unfinished"
            )
            not_done.append(Reason("after-missing", message, operation=name))
    return (*reasons, *not_done)


def _temporary_left(state: State, step: Step) -> Reason | None:
    """The reason for a temporary setting of ``step`` that was not restored; ``None`` if there is none.

    A restoring operation that is not part of this build counts as done. A paused operation may have made its setting.
    """
    restored = step.operation.restored_by
    if restored is None or (step.id not in state.done and step.id not in state.paused):
        return None
    restoring_steps = resolve(state.plan, restored.name, step)
    if restoring_steps and step.id in state.paused:
        message = f"The setting of {quoted_title(state, step.id)} is temporary, and the operation is paused. Finish it"
        undo = "" if step.operation.undo is None else ", or take it back by a rework"
        return Reason("temporary-left", f"{message} and restore its setting{undo}", operation=step.id)
    if not restoring_steps:
        return None
    done_seq = state.done[step.id].seq
    for name in restoring_steps:
        if name == step.id or name not in state.done or state.done[name].seq < done_seq:
            temporary, restoring = quoted_title(state, step.id), quoted_title(state, name)
            message = f"The setting of {temporary} is temporary. Do {restoring} before you close the job"
            if name == step.id:
                message = f"The setting of {temporary} is temporary, but no operation restores it. Rework it"
            elif name in state.done:
                message = f"The setting of {temporary} is temporary and is newer than {restoring}. Redo {restoring}"
            return Reason("temporary-left", message, operation=step.id)
    return None
