"""The ordering's reasons as refusals: the same facts, with the codes and fields that the log's users see."""

from benchflow.ordering import interlock
from benchflow.procedure.plan import Step
from benchflow.session.refusal import Reason
from benchflow.session.state.state import State


def as_refusal_reason(state: State, reason: interlock.Blocked) -> Reason:
    plan = state.plan
    message = interlock.reason_text(plan, reason)
    match reason:
        case interlock.AfterMissing(operation):
            return Reason("after-missing", message, operation=operation)
        case interlock.StateNotMet(variable):
            return Reason("state-not-met", message, state=variable)
        case interlock.Interference():
            lifts = [interlock.lift_text(plan, lift) for lift in reason.lifts]
            return Reason("interference", ". ".join([message, *lifts]), rule=reason.rule)
        case interlock.AlreadyDone(operation):
            return Reason("already-done", message, operation=operation)
        case interlock.NotInThisBuild(name):
            return Reason("unknown-name", message, name=name)


def step_interlock_reasons(state: State, step_id: str) -> tuple[Reason, ...]:
    """Why the order, the states or the interlock block the start of an operation."""
    reasons = interlock.step_reasons(state.plan, state.configuration(), step_id)
    return tuple(as_refusal_reason(state, reason) for reason in reasons)


def move_interlock_reasons(state: State, move_id: str) -> tuple[Reason, ...]:
    """Why the states or the interlock stop a move."""
    reasons = interlock.move_reasons(state.plan, state.configuration(), move_id)
    return tuple(as_refusal_reason(state, reason) for reason in reasons)


def finish_interlock_reasons(state: State, step: Step) -> tuple[Reason, ...]:
    """What changed since the start: a state that was found to be another."""
    reasons = interlock.step_reasons(state.plan, state.configuration(), step.id)
    return tuple(
        as_refusal_reason(state, reason)
        for reason in reasons
        if isinstance(reason, interlock.Interference | interlock.StateNotMet)
    )
