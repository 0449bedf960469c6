"""Reasons of the interlock, as reasons of a refusal with their codes and fields."""

from benchflow.ordering import interlock
from benchflow.procedure.plan import Step
from benchflow.session.refusal import Reason
from benchflow.session.state.state import State


def as_refusal_reason(state: State, reason: interlock.Blocked) -> Reason:
    """A reason of the interlock as a reason of a refusal."""
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
    """Every reason of the interlock against starting an operation: order, states, interference rules."""
    reasons = interlock.step_reasons(state.plan, state.configuration(), step_id)
    return tuple(as_refusal_reason(state, reason) for reason in reasons)


def move_interlock_reasons(state: State, move_id: str) -> tuple[Reason, ...]:
    """Every reason of the interlock against a move: states, interference rules."""
    reasons = interlock.move_reasons(state.plan, state.configuration(), move_id)
    return tuple(as_refusal_reason(state, reason) for reason in reasons)


def finish_interlock_reasons(state: State, step: Step, unproven: tuple[str, ...]) -> tuple[Reason, ...]:
    """Reasons against finishing ``step``: a state was found to be different after the start, or its proof was waived.

    ``unproven`` are the variables that are not known when the step is done. They match every rule that names them.
    """
    plan, configuration = state.plan, state.configuration()
    reasons = [
        reason
        for reason in interlock.step_reasons(plan, configuration, step.id)
        if isinstance(reason, interlock.Interference | interlock.StateNotMet)
    ]
    known = {reason.rule for reason in reasons if isinstance(reason, interlock.Interference)}
    if unproven:
        settings = {**step.sets, **dict.fromkeys(unproven)}
        found = interlock.interferences(plan, configuration, (("done", settings),))
        reasons += [reason for reason in found if reason.rule not in known]
    return tuple(as_refusal_reason(state, reason) for reason in reasons)
