"""Handlers of the intents `rework` and `rework-step`."""

from benchflow.base.plaintext import clean
from benchflow.ordering import rework
from benchflow.ordering.actions import MakeMove, ReworkStep, rework_step_record
from benchflow.session.context import Context, Decision, Entry, refuse
from benchflow.session.intents import intent_types as it
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.rules.blocking import move_blocked
from benchflow.session.rules.rework_plans import history, plan_of
from benchflow.session.state import events as ev
from benchflow.session.state.state import State


def start_rework(state: State, intent: it.Rework, context: Context, by: str) -> Decision:
    if not intent.reason.strip():
        return refuse("value-missing", "Give the reason for the rework", operation=intent.operation)
    plan = plan_of(state, intent.operation)
    if isinstance(plan, Refusal):
        return plan
    reason = clean(intent.reason).strip()
    records = tuple(rework_step_record(step) for step in plan.steps)
    opened = ev.ReworkStarted(intent.operation, reason, records, plan.discard, walked=intent.walk)
    entries = [Entry(by, opened)]
    if not intent.walk:
        entries += [Entry(by, _done(step)) for step in plan.steps]
    return tuple(entries)


def _done(step: ReworkStep) -> ev.Event:
    return ev.Moved(step.move) if isinstance(step, MakeMove) else ev.Undone(step.operation)


def rework_step(state: State, intent: it.NextReworkStep, context: Context, by: str) -> Decision:
    """The next step of the plan was done. The state at the agreement may since have been found to be
    otherwise, so the interlock is asked again."""
    plan = state.rework
    if plan is None:
        return refuse("not-started", "No rework is in progress")
    step = plan.next
    stopped = move_blocked(state, step.move) if isinstance(step, MakeMove) else _stopped(state, step.operation)
    return Refusal(stopped) if stopped else (Entry(by, _done(step)),)


def _stopped(state: State, step_id: str) -> tuple[Reason, ...]:
    return tuple(
        Reason("state-not-met", rework.obstacle_text(state.plan, reason), operation=step_id)
        for reason in rework.undo_reasons(state.plan, history(state), step_id)
    )
