"""Reasons of the interlock, as reasons of a refusal with their codes and fields."""

from collections.abc import Iterator

from benchflow.ordering import interlock
from benchflow.ordering.configuration import Configuration
from benchflow.ordering.wording import state_text
from benchflow.procedure.plan import Step
from benchflow.session.context import quoted_title
from benchflow.session.refusal import Reason
from benchflow.session.rules.rework_plans import undo_is_written
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
    """Every reason of the interlock against starting an operation: order, states, interference rules.

    A finished operation is judged as if it were not done, because a correction may have reopened it. Its own settings
    do not block it.
    """
    configuration = Configuration(frozenset(state.done) - {step_id}, state.valuation)
    reasons = _without_own_settings(state, step_id, interlock.step_reasons(state.plan, configuration, step_id))
    return (*(as_refusal_reason(state, reason) for reason in reasons), *_changed_since(state, step_id))


def _without_own_settings(
    state: State, step_id: str, reasons: tuple[interlock.Blocked, ...]
) -> Iterator[interlock.Blocked]:
    """The reasons without the needs of states that the operation itself has changed since it met them."""
    for reason in reasons:
        past = state.writes.get(reason.variable, ()) if isinstance(reason, interlock.StateNotMet) else ()
        if not past or past[-1].step != step_id:
            yield reason


def _changed_since(state: State, step_id: str) -> Iterator[Reason]:
    """A reason for each state that a later operation has changed since: the operation would set it back."""
    step = state.plan.steps[step_id]
    for name in step.sets:
        writers = [write.step for write in state.writes.get(name, ())]
        later = [writer for writer in writers[writers.index(step_id) + 1 :] if writer] if step_id in writers else []
        if later:
            now = state_text(state.plan.procedure, name, state.valuation.get(name))
            message = f"{quoted_title(state, later[-1])} has changed the state since. {now}"
            rework = step_id if undo_is_written(state, step_id) else None
            if rework is not None:
                message += f". Rework step {state.plan.number(step_id)} instead"
            yield Reason("state-not-met", message, state=name, rework=rework)


def move_interlock_reasons(state: State, move_id: str) -> tuple[Reason, ...]:
    """Every reason of the interlock against a move: states, interference rules."""
    reasons = interlock.move_reasons(state.plan, state.configuration(), move_id)
    return tuple(as_refusal_reason(state, reason) for reason in reasons)


def finish_interlock_reasons(state: State, step: Step, unproven: tuple[str, ...]) -> tuple[Reason, ...]:
    """Reasons against finishing ``step``: a state was found to be different after the start, or its proof was waived.

    ``unproven`` are the variables that are not known when the step is done. They match every rule that names them.
    """
    plan, configuration = state.plan, state.configuration()
    blocked = interlock.step_reasons(plan, configuration, step.id)
    reasons = [
        reason
        for reason in _without_own_settings(state, step.id, blocked)
        if isinstance(reason, interlock.Interference | interlock.StateNotMet)
    ]
    known = {reason.rule for reason in reasons if isinstance(reason, interlock.Interference)}
    if unproven:
        settings = {**step.sets, **dict.fromkeys(unproven)}
        found = interlock.interferences(plan, configuration, (("done", settings),))
        reasons += [reason for reason in found if reason.rule not in known]
    return tuple(as_refusal_reason(state, reason) for reason in reasons)
