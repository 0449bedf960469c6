"""Handlers of the intents `rework` and `rework-step`."""

from benchflow.base.plaintext import clean
from benchflow.ordering import rework
from benchflow.ordering.actions import MakeMove, ReworkStep, rework_step_record
from benchflow.session.context import Context, Decision, Entry, refuse
from benchflow.session.intents import intent_types as intents
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.rules.blocking import move_interlock_reasons
from benchflow.session.rules.rework_plans import rework_plan, undo_history
from benchflow.session.state import events as ev
from benchflow.session.state.state import State


def start_rework(state: State, intent: intents.StartRework, context: Context, by: str) -> Decision:
    reason = clean(intent.reason).strip()
    if not reason:
        return refuse("value-missing", "Give the reason for the rework", operation=intent.operation)
    plan = rework_plan(state, intent.operation)
    if isinstance(plan, Refusal):
        return plan
    records = tuple(rework_step_record(step) for step in plan.steps)
    started = ev.ReworkStarted(
        intent.operation, reason, records, plan.discard, walked=intent.walk, reopened=plan.reopened
    )
    entries = [Entry(by, started)]
    if not intent.walk:
        entries += [Entry(by, _event_of_step(step)) for step in plan.steps]
    return tuple(entries)


def _event_of_step(step: ReworkStep) -> ev.Event:
    return ev.MoveMade(step.move) if isinstance(step, MakeMove) else ev.OperationUndone(step.operation)


def do_rework_step(state: State, intent: intents.DoReworkStep, context: Context, by: str) -> Decision:
    """Log the next step of the rework plan.

    The interlock is checked again, because a state can be found to differ after the plan was made.
    """
    if state.rework is None:
        return refuse("not-started", "No rework is in progress. Start one first")
    step = state.rework.next
    if isinstance(step, MakeMove):
        reasons = move_interlock_reasons(state, step.move)
    else:
        reasons = _undo_reasons(state, step.operation)
    return Refusal(reasons) if reasons else (Entry(by, _event_of_step(step)),)


def _undo_reasons(state: State, step_id: str) -> tuple[Reason, ...]:
    return tuple(
        Reason("state-not-met", rework.obstacle_text(state.plan, obstacle), operation=step_id)
        for obstacle in rework.undo_reasons(state.plan, undo_history(state), step_id)
    )
