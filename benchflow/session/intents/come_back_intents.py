"""Handlers of the intents `complaint`, `found` and `withdraw`. All are accepted after the end of the job."""

import re
from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal
from typing import cast, get_args

from benchflow.base.plaintext import clean
from benchflow.quantity import QuantityError
from benchflow.session.context import Context, Decision, Entry, refusal_or_none, refuse, unknown_name, unknown_operation
from benchflow.session.intents import intent_types as intents
from benchflow.session.intents.picture_intents import withdraw_picture
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.rules.hours_or_distance import hours_or_distance
from benchflow.session.rules.signatures import may_not_sign, signature_proof
from benchflow.session.state import events as ev
from benchflow.session.state.come_back_events import FirstAnswers, Outcome, WhenNoticed, YesNo
from benchflow.session.state.state import State

OUTCOMES = get_args(Outcome)
_HOURS = re.compile(r"(\d{1,5}(?:\.\d{1,2})?) ?(?:h|hours?)?", re.ASCII)


def first_answers(intent: intents.ReportComplaint) -> FirstAnswers | Refusal:
    """The answers to the first questions; a refusal with every answer that cannot be read."""
    refusal = refusal_or_none(_answer_reasons(intent))
    if refusal is not None:
        return refusal
    return FirstAnswers(
        running=cast("YesNo", intent.running), since=intent.since, when=cast("WhenNoticed", intent.when),
        touched=intent.touched, retorque=cast("YesNo", intent.retorque), changed=intent.changed,
    )  # fmt: skip


def _answer_reasons(intent: intents.ReportComplaint) -> Iterator[Reason]:
    for name, given, allowed in (
        ("running", intent.running, get_args(YesNo)),
        ("when", intent.when, get_args(WhenNoticed)),
        ("retorque", intent.retorque, get_args(YesNo)),
    ):
        if given not in allowed:
            choices = " or ".join(each for each in allowed if each)
            yield Reason("unknown-name", f"“{given[:80]}” is not an answer to {name}. Give {choices}", name=name)
    if intent.since:
        try:
            hours_or_distance(intent.since)
        except QuantityError as error:
            yield Reason("bad-quantity", str(error), name="since")


def report_complaint(state: State, intent: intents.ReportComplaint, context: Context, by: str) -> Decision:
    text = clean(intent.text).strip()
    if not text:
        return refuse("value-missing", "The complaint is empty. Enter it in the customer's words", name="text")
    answers = first_answers(intent)
    return answers if isinstance(answers, Refusal) else (Entry(by, ev.ComplaintReported(text, answers)),)


def record_finding(state: State, intent: intents.RecordFinding, context: Context, by: str) -> Decision:
    refusal = refusal_or_none(_finding_reasons(state, intent, context))
    if refusal is None and intent.operation and intent.operation not in state.plan.steps:
        refusal = unknown_operation(state, intent.operation)
    if refusal is None and intent.outcome not in OUTCOMES:
        refusal = unknown_name("outcome", intent.outcome, OUTCOMES)
    refusal = refusal or may_not_sign(state, context, by, None, intent.pin)
    if refusal is not None:
        return refusal
    hours = _HOURS.fullmatch(intent.hours)
    found = ev.FindingRecorded(
        complaint=intent.complaint,
        finding=intent.finding,
        outcome=cast("Outcome", intent.outcome),
        date=intent.date or context.now.at[:10],
        operation=intent.operation or "",
        hours="" if hours is None else f"{Decimal(hours[1]).normalize():f}",
        replaces=intent.replaces,
        proven=signature_proof(context, by, intent.pin),
    )
    return (Entry(by, found),)


def _finding_reasons(state: State, intent: intents.RecordFinding, context: Context) -> Iterator[Reason]:
    for name, text, what in (
        ("complaint", intent.complaint, "Enter the complaint, in the customer's words"),
        ("finding", intent.finding, "Enter what was found"),
    ):
        if not text:
            yield Reason("value-missing", what, name=name)
    if intent.date:
        yield from _date_reasons(state, intent.date, context)
    if intent.hours and _HOURS.fullmatch(intent.hours) is None:
        yield Reason("bad-quantity", f"“{intent.hours[:80]}” is not a number of hours. Write 6 or 2.5", name="hours")
    if intent.replaces is not None and intent.replaces not in state.causes:
        yield _no_such_finding(state, intent.replaces, "replaces")


def _date_reasons(state: State, text: str, context: Context) -> Iterator[Reason]:
    """Why ``text`` is not the day of a finding. One day is left for the time zones of bench and office."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        yield Reason("bad-intent", f"“{text[:80]}” is not a date. Write it like 2026-03-01", name="date")
        return
    begun, today = (date.fromisoformat(at[:10]) for at in (state.opened_at, context.now.at))
    if day > today + timedelta(days=1):
        yield Reason("bad-intent", f"{day} is in the future. Enter the day on which it was found", name="date")
    elif day < begun - timedelta(days=1):
        yield Reason("bad-intent", f"{day} is before the build, which began on {begun}. Enter a later day", name="date")


def withdraw_finding(state: State, intent: intents.WithdrawFinding, context: Context, by: str) -> Decision:
    """Withdraw a finding, or a picture."""
    if intent.event in state.pictures:
        return withdraw_picture(state, intent, by)
    reasons = []
    if intent.event not in state.causes:
        reasons.append(_nothing_to_withdraw(state, intent.event))
    reason = clean(intent.reason).strip()
    if not reason:
        reasons.append(Reason("value-missing", "Enter the reason why the finding is withdrawn", name="reason"))
    refusal = refusal_or_none(reasons) or may_not_sign(state, context, by, None, intent.pin)
    if refusal is not None:
        return refusal
    return (Entry(by, ev.FindingWithdrawn(intent.event, reason, signature_proof(context, by, intent.pin))),)


def _nothing_to_withdraw(state: State, seq: int) -> Reason:
    if not state.pictures:
        return _no_such_finding(state, seq, "event")
    known = ", ".join(map(str, sorted((*state.causes, *state.pictures))))
    text = f"Log line {seq} is not a finding or a picture in force. Those of this job are the log lines {known}"
    return Reason("unknown-name", text, name="event")


def _no_such_finding(state: State, seq: int, name: str) -> Reason:
    known = ", ".join(str(each) for each in state.causes)
    hint = f"The findings of this job are the log lines {known}" if known else "This job has no finding"
    return Reason("unknown-name", f"Event {seq} is not a finding in force. {hint}", name=name)
