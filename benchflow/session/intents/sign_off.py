"""Handlers of the intents `sign` and `deviate`."""

from typing import TYPE_CHECKING

from benchflow.base.plaintext import clean
from benchflow.procedure.plan import Step
from benchflow.session.context import Context, Decision, Entry, refuse, unknown
from benchflow.session.intents import intent_types as it
from benchflow.session.refusal import Refusal
from benchflow.session.rules.open_items import limits_open
from benchflow.session.state import events as ev
from benchflow.session.state.state import State

if TYPE_CHECKING:
    pass
from benchflow.session.rules.signatures import allowed, waivable


def sign(state: State, intent: it.Sign, context: Context, by: str) -> Decision:
    step = state.plan.steps.get(intent.operation)
    if step is None:
        return unknown("operation", intent.operation, state.plan.steps)
    if step.operation.hold is None:
        return refuse("not-allowed", f"{step.title} has no hold to sign", operation=step.id)
    if step.id in state.done:
        return refuse("already-done", f"{step.title} is done already", operation=step.id)
    work = state.work(step.id)
    if state.in_progress != step.id and not work.touched:
        return refuse("not-started", f"{step.title} is not started. There is nothing to sign", operation=step.id)
    if intent.by is None or not clean(by).strip():
        return refuse("value-missing", "Enter who signs (by)", operation=step.id)
    signer = clean(by).strip()
    stopped = allowed(context.shop, signer, step.operation.hold.by, intent.pin)
    if stopped is not None:
        return stopped
    own = signer in work.people or (not work.people and signer == state.by)
    return (Entry(signer, ev.Signed(step.id, step.operation.hold.by, own)),)


def deviate(state: State, intent: it.Deviate, context: Context, by: str) -> Decision:
    """A deviation may waive a limit, a hold or a time window; never an interference rule."""
    step = state.plan.steps.get(intent.operation)
    if step is None:
        return unknown("operation", intent.operation, state.plan.steps)
    if not intent.reason.strip():
        return refuse("value-missing", "Give the reason of the deviation", operation=step.id)
    about = waivable(state, step, intent.about.strip())
    if isinstance(about, Refusal):
        return about
    if step.id in state.done and not _still_out(state, step, about):
        return refuse("already-done", f"{step.title} is done already", operation=step.id)
    signer = clean(by).strip()
    stopped = allowed(context.shop, signer, None, intent.pin, ask_pin=True)
    if stopped is not None:
        return stopped
    return (Entry(signer, ev.Deviated(step.id, about, clean(intent.reason).strip())),)


def _still_out(state: State, step: Step, about: str) -> bool:
    return any(reason.name == about for reason in limits_open(state, step))
