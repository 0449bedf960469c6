"""Weak points of signatures: who signed, for whose work, with which role, and how it was proven."""

from collections.abc import Iterator
from datetime import date
from functools import partial
from typing import TYPE_CHECKING

from msgspec import Struct

from benchflow.base.plaintext import folded, with_article
from benchflow.ordering.wording import step_title
from benchflow.procedure.plan import Step
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.formatting import count, local_day
from benchflow.review.log.facts import DeviationFact, SignatureFact
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.session.rules.deviation_subjects import subject_text
from benchflow.session.state.event_basics import PersonRecord
from benchflow.session.state.events import DeviationSigned, event_of
from benchflow.session.state.state import HOLD

if TYPE_CHECKING:
    from benchflow.session.shop.register import Shop


class KnownPerson(Struct, frozen=True):
    """A person in a register: the roles, and the first day without work here (``""``: still here)."""

    roles: tuple[str, ...]
    retired: str


def signature_points(log: LoadedLog, step: Step, shop: "Shop | None") -> Iterator[WeakPoint]:
    """The weak points of the signatures and deviations of a step.

    People are checked in the register of the job as it was then. If the job had none, the register of today is used.
    """
    for signed in log.facts.signatures:
        if signed.operation == step.id and signed.in_force:
            if signed.self_signed:
                words = f"the hold point for the {signed.role} was signed by {signed.by}, who did the work"
                yield WeakPoint("self-signed", words, signed.seq, HOLD)
            yield from _signer_points(log, signed, f"the hold point for the {signed.role}", signed.role, shop)
            if not _people_at(log, signed.seq, shop)[0]:
                words = f"{signed.by} signed by name alone: the job has no register of people"
                yield WeakPoint("no-register", words, signed.seq, HOLD)
    for deviation in log.facts.deviations:
        if deviation.operation == step.id and deviation.in_force:
            yield from _deviation_points(log, step, deviation, shop)
    yield from _wrong_pin_points(log, step.id)


def _deviation_points(log: LoadedLog, step: Step, fact: DeviationFact, shop: "Shop | None") -> Iterator[WeakPoint]:
    subject = subject_text(fact.about, partial(step_title, log.plan))
    words = f"{fact.by} signed a deviation from {subject}: {fact.reason}"
    yield WeakPoint("deviation", words, fact.seq, fact.about)
    hold = step.operation.hold
    role = hold.by if fact.about == HOLD and hold is not None else ""
    event = event_of(log.lines[fact.seq - 1])
    if fact.about == HOLD:
        yield WeakPoint("hold-waived", f"the hold point was waived by {fact.by}; nobody signed it", fact.seq, HOLD)
    if isinstance(event, DeviationSigned) and event.self_signed and fact.about == HOLD:
        yield WeakPoint("self-signed", f"the hold point was waived by {fact.by}, who did the work", fact.seq, HOLD)
    yield from _signer_points(log, fact, f"the deviation from {subject}", role, shop)


def _signer_points(
    log: LoadedLog, fact: SignatureFact | DeviationFact, what: str, role: str, shop: "Shop | None"
) -> Iterator[WeakPoint]:
    """What is wrong with the person who signed, by the register. Nothing if there is no register at all."""
    people, when = _people_at(log, fact.seq, shop)
    if not people:
        return
    known = people.get(folded(fact.by))
    if known is None:
        words = f"{what} was signed by {fact.by}, who is not in the register{when}"
        yield WeakPoint("unknown-signer", words, fact.seq, what)
    elif known.retired and local_day(fact.at) >= known.retired:
        words = f"{what} was signed by {fact.by}, who has not worked here since {known.retired}"
        yield WeakPoint("unknown-signer", words, fact.seq, what)
    elif role and role not in known.roles:
        words = f"{what} was signed by {fact.by}, who is not {with_article(role)} in the register{when}"
        yield WeakPoint("waived-without-role", words, fact.seq, what)
    elif role and any(role not in one.roles for one in _at_start(log) if folded(one.name) == folded(fact.by)):
        words = f"{what} was signed by {fact.by}, who became {with_article(role)} in the register during the job"
        yield WeakPoint("role-added", words, fact.seq, what)


def _at_start(log: LoadedLog) -> tuple[PersonRecord, ...]:
    """The people of the register when the job was opened."""
    return log.people_history.people_at(1)


def _people_at(log: LoadedLog, seq: int, shop: "Shop | None") -> tuple[dict[str, KnownPerson], str]:
    """The people of the register by folded name at event ``seq``, and where they are from, for a sentence."""
    then = log.people_history.people_at(seq)
    if then:
        return {folded(one.name): KnownPerson(one.roles, one.retired) for one in then}, " of the job"
    now = () if shop is None else shop.people
    return {folded(one.name): KnownPerson(one.roles, _day(one.retired)) for one in now}, " of today"


def _day(retired: date | None) -> str:
    return "" if retired is None else retired.isoformat()


def _wrong_pin_points(log: LoadedLog, operation: str) -> Iterator[WeakPoint]:
    """Wrong PINs that were entered for ``operation``; with "", those for no operation of the plan."""
    for (person, named), seqs in log.people_history.wrong_pins.items():
        if (named if named in log.plan.steps else "") == operation:
            words = f"a wrong PIN was entered for {person} {count(len(seqs), 'time')}"
            yield WeakPoint("pin-wrong", words, seqs[0], person, len(seqs))


def job_people_points(log: LoadedLog) -> Iterator[WeakPoint]:
    """The weak points of the register that belong to no step: another register, and wrong PINs."""
    for resumed in log.people_history.other_registers:
        words = f"the job was continued with another register or with none, reason: {resumed.reason}"
        yield WeakPoint("other-register", words, resumed.seq, "register")
    yield from _wrong_pin_points(log, "")
