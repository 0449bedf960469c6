"""Handlers of the intents `sign` and `deviate`."""

from benchflow.base.plaintext import clean
from benchflow.ordering.wording import all_of
from benchflow.procedure.plan import Step
from benchflow.session.context import Context, Decision, Entry, quoted_title, refuse, unknown_operation
from benchflow.session.intents import intent_types as intents
from benchflow.session.refusal import Refusal
from benchflow.session.rules.deviation_targets import deviation_targets
from benchflow.session.rules.signatures import deviation_subject, may_not_sign, signature_proof
from benchflow.session.rules.waivers import (
    about_a_window,
    clocks_waived,
    not_waivable,
    roles_to_waive,
    second_person_refusal,
    window_subjects,
    worked_on,
)
from benchflow.session.state import events as ev
from benchflow.session.state.state import HOLD, State


def sign_hold(state: State, intent: intents.SignHold, context: Context, by: str) -> Decision:
    step = state.plan.steps.get(intent.operation)
    if step is None:
        return unknown_operation(state, intent.operation)
    hold, title = step.operation.hold, quoted_title(state, step.id)
    if hold is None:
        return refuse("not-allowed", f"{title} has no hold. There is nothing to sign", operation=step.id)
    if step.id in state.done and step.id not in state.reopened_holds:
        return refuse("already-done", f"{title} is already done, and its hold is signed", operation=step.id)
    work = state.work(step.id)
    if state.in_progress != step.id and not work.touched:
        return refuse("not-started", f"{title} is not started. There is nothing to sign", operation=step.id)
    signer = clean(by).strip()
    if intent.by is None or not signer:
        return refuse("value-missing", "Enter who signs (by)", operation=step.id)
    refusal = may_not_sign(state, context, signer, hold.by, intent.pin)
    if refusal is not None:
        return refusal
    second = second_person_refusal(state, step, signer, context.shop)
    if second is not None:
        return second
    self_signed = worked_on(state, step, signer, context.shop)
    proven = signature_proof(context, signer, intent.pin)
    return (Entry(signer, ev.HoldSigned(step.id, hold.by, self_signed, proven)),)


def sign_deviation(state: State, intent: intents.SignDeviation, context: Context, by: str) -> Decision:
    """Sign a deviation. It can waive a limit, a hold or a time window, but never an interference rule."""
    step = state.plan.steps.get(intent.operation)
    if step is None:
        return unknown_operation(state, intent.operation)
    reason = clean(intent.reason).strip()
    if not reason:
        return refuse("value-missing", "Give the reason for the deviation", operation=step.id)
    about = deviation_subject(state, step, intent.about.strip())
    if isinstance(about, Refusal):
        return about
    targets = deviation_targets(state, step, about)
    if isinstance(targets, Refusal):
        return targets
    # After the operation is done, a deviation is possible only for what a later correction broke: a limit or the hold.
    broken = all(target.entries and target.open for target in targets)
    broken = broken or (about == HOLD and step.id in state.reopened_holds)
    if step.id in state.done and not broken:
        message = f"{quoted_title(state, step.id)} is already done, so there is nothing to deviate from"
        return refuse("already-done", message, operation=step.id)
    signer = clean(by).strip()
    refusal = not_waivable(state, step, about)
    roles = roles_to_waive(state, step, about)
    for role in roles or (None,):
        refusal = refusal or may_not_sign(state, context, signer, role, intent.pin, ask_pin=True)
    if about == HOLD:
        refusal = refusal or second_person_refusal(state, step, signer, context.shop)
    clocks = clocks_waived(state, step, about)
    if refusal is None and about_a_window(about) and not clocks:
        refusal = _window_not_running(state, step, about)
    if refusal is not None:
        return refusal
    self_signed = about == HOLD and worked_on(state, step, signer, context.shop)
    return tuple(
        Entry(
            signer,
            ev.DeviationSigned(
                step.id,
                target.subject,
                reason,
                tuple(sorted(target.entries)),
                self_signed,
                clocks=clocks,
                role=", ".join(roles),
                proven=signature_proof(context, signer, intent.pin),
                change=intent.change,
            ),
        )
        for target in targets
    )


def _window_not_running(state: State, step: Step, about: str) -> Refusal:
    """The refusal of a deviation from a time window that does not count yet."""
    from_ = [window.operation for window in step.time if about in window_subjects(window)]
    titles = all_of([quoted_title(state, name) for name in from_])
    message = (
        f"The time after {titles} does not run yet, so there is nothing to deviate from. A deviation is about the time "
        f"that runs when it is signed. Do {titles} first"
    )
    return refuse("value-missing", message, operation=step.id, name=about)
