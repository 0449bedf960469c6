"""Questions about many sessions, and the facts that answer them.

A source (log files or the archive) delivers facts that may answer a question. :func:`narrow` removes the others.
"""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import Literal, NamedTuple, Protocol

from msgspec import Struct
from msgspec.structs import replace

from benchflow.base.errors import BenchflowError
from benchflow.review.log.facts import (
    DeviationFact,
    Facts,
    InstrumentFact,
    LotFact,
    OperationFact,
    ReadingFact,
    SessionFact,
    SignatureFact,
    StageFact,
)
from benchflow.session.log.timestamps import BadTimestamp, format_timestamp, parse_timestamp
from benchflow.session.teardown.teardown_record import TeardownRecord


class InstrumentSubject(Struct, frozen=True, tag="instrument"):
    """An instrument by its serial; where no serial was logged, by the procedure's name for it.

    ``others`` are further serials that the same name means.
    """

    serial: str
    others: tuple[str, ...] = ()

    @property
    def serials(self) -> tuple[str, ...]:
        """Every serial that counts."""
        return (self.serial, *self.others)


class LotSubject(Struct, frozen=True, tag="lot"):
    """A lot of any consumable."""

    lot: str


class PersonSubject(Struct, frozen=True, tag="person"):
    """A person who worked, entered or signed something."""

    name: str


class OperationSubject(Struct, frozen=True, tag="operation"):
    """An operation. ``seat`` includes every ``seat[1]``, ``seat[2]``."""

    operation: str


class ReadingSubject(Struct, frozen=True, tag="reading"):
    """A value by its name. ``journal`` includes every ``journal[2]``."""

    name: str


Subject = InstrumentSubject | LotSubject | PersonSubject | OperationSubject | ReadingSubject


SubjectKind = Literal["instrument", "lot", "person", "operation", "reading"]


class Question(Struct, frozen=True):
    """A subject and a time span.

    ``since`` and ``until`` are timestamps in the log's form, inclusive. ``""`` leaves that end open.
    """

    subject: Subject
    since: str = ""
    until: str = ""

    def covers(self, first: str, last: str = "") -> bool:
        """True if the time from ``first`` to ``last`` overlaps the span."""
        return (not self.until or first <= self.until) and (not self.since or (last or first) >= self.since)


class SessionMatch(Struct, frozen=True):
    """The facts of one session that answer a question. ``path`` is its log, ``bench`` the machine that has it."""

    session: SessionFact
    bench: str
    path: str
    operations: tuple[OperationFact, ...] = ()
    readings: tuple[ReadingFact, ...] = ()
    stages: tuple[StageFact, ...] = ()
    lots: tuple[LotFact, ...] = ()
    signatures: tuple[SignatureFact, ...] = ()
    deviations: tuple[DeviationFact, ...] = ()
    instruments: tuple[InstrumentFact, ...] = ()

    @property
    def has_facts(self) -> bool:
        """True if any fact answers the question. What the register said about an instrument is not an answer."""
        return bool(self.operations or self.readings or self.stages or self.lots or self.signatures or self.deviations)


class FoundTeardown(Struct, frozen=True):
    """One teardown: its log as a session, the machine and the path of the log, and its record."""

    session: SessionFact
    bench: str
    path: str
    record: TeardownRecord


class LeftOut(Struct, frozen=True):
    """A file that could not be searched, and why."""

    bench: str
    path: str
    why: str


class InstrumentName(NamedTuple):
    """The names of an instrument in a log: its serial, its title, and the procedure's name for it."""

    serial: str
    title: str
    need: str


class SessionSource(Protocol):
    """A source of answers. Sessions are sorted by the time of opening, then by hash."""

    def ask(self, question: Question) -> Sequence[SessionMatch]:
        """Every session with facts that answer the question."""
        ...

    def sessions(self) -> Sequence[SessionMatch]:
        """All sessions, without their facts."""
        ...

    def count(self) -> int:
        """The number of sessions."""
        ...

    def teardowns(self) -> Sequence[FoundTeardown]:
        """All teardowns. The other methods are about jobs only."""
        ...

    def log_bytes(self, found: SessionMatch) -> bytes | None:
        """The bytes of the log of a session; ``None`` if it cannot be read. Verify them before use."""
        ...

    def left_out(self) -> Sequence[LeftOut]:
        """The files that could not be searched."""
        ...

    def names(self, kind: SubjectKind) -> Sequence[str]:
        """Every name of this kind in any job, sorted."""
        ...

    def instruments(self) -> Sequence[InstrumentName]:
        """The names of every instrument that the register described in a job, sorted."""
        ...


class BadDate(BenchflowError):
    """A date that cannot be read."""


def timestamp_of(text: str, zone: tzinfo | None = None, *, end_of_day: bool = False) -> str:
    """A date (``2026-03-01``) or an RFC 3339 timestamp, in the log's form (UTC); ``""`` for an empty text.

    A date is the first millisecond of that local day, with ``end_of_day`` its last. ``zone`` replaces the time zone of
    the machine.

    Raises:
        BadDate: the text is neither a date nor a timestamp.
    """
    if not text:
        return ""
    try:
        if "T" in text.upper():
            return format_timestamp(parse_timestamp(text))
        day = date.fromisoformat(text)
        if not end_of_day:
            return format_timestamp(_local_midnight(day, zone))
        return format_timestamp(_local_midnight(day + timedelta(days=1), zone) - timedelta(milliseconds=1))
    except (BadTimestamp, ValueError, OverflowError, OSError) as error:
        raise BadDate(
            f"{text!r} is neither a date such as 2026-03-01 nor a time such as 2026-03-01T18:30:00Z."
        ) from error


def time_span(since: str, until: str) -> tuple[str, str]:
    """The first and the last timestamp from ``since`` to ``until``, as :func:`timestamp_of` reads them.

    Raises:
        BadDate: one of the texts cannot be read, or the span ends before it begins.
    """
    first, last = timestamp_of(since), timestamp_of(until, end_of_day=True)
    if first and last and first > last:
        raise BadDate(f"The time ends before it begins: --from {since} is after --to {until}. Exchange the two.")
    return first, last


def _local_midnight(day: date, zone: tzinfo | None) -> datetime:
    midnight = datetime(day.year, day.month, day.day, tzinfo=zone)
    return midnight.astimezone(UTC)  # a time without a zone is in that of the machine


def same_name(asked: str, name: str) -> bool:
    """True if ``name`` is ``asked`` or one of its places."""
    return name == asked or (name.startswith(asked) and name[len(asked) : len(asked) + 1] == "[")


def _used_instrument(subject: InstrumentSubject, serial: str, instrument: str) -> bool:
    return serial in subject.serials or (not serial and instrument == subject.serial)


def narrow(found: SessionMatch, question: Question) -> SessionMatch:
    """``found`` with only the facts that answer the question."""
    subject, covers = question.subject, question.covers
    bare = SessionMatch(found.session, found.bench, found.path)
    match subject:
        case InstrumentSubject():
            return replace(
                bare,
                readings=tuple(r for r in found.readings
                               if covers(r.at) and any(_used_instrument(subject, *tool) for tool in r.tools)),
                stages=tuple(s for s in found.stages
                             if _used_instrument(subject, s.serial, s.instrument) and covers(s.first_at, s.last_at)),
                instruments=tuple(i for i in found.instruments if _used_instrument(subject, i.serial, i.need)),
            )  # fmt: skip
        case LotSubject():
            return replace(bare, lots=tuple(x for x in found.lots if x.lot == subject.lot and covers(x.at)))
        case PersonSubject():
            who = subject.name
            return replace(
                bare,
                operations=tuple(o for o in found.operations if who in o.people and covers(*_work_times(o))),
                readings=tuple(r for r in found.readings if r.by == who and covers(r.at)),
                stages=tuple(s for s in found.stages if s.by == who and covers(s.first_at, s.last_at)),
                lots=tuple(x for x in found.lots if x.by == who and covers(x.at)),
                signatures=tuple(s for s in found.signatures if s.by == who and covers(s.at)),
                deviations=tuple(d for d in found.deviations if d.by == who and covers(d.at)),
            )
        case OperationSubject():
            asked = subject.operation
            return replace(
                bare,
                operations=tuple(
                    o for o in found.operations if same_name(asked, o.operation) and covers(*_work_times(o))
                ),
                readings=tuple(r for r in found.readings
                               if same_name(asked, r.operation) and covers(r.at)),
                stages=tuple(s for s in found.stages
                             if same_name(asked, s.operation) and covers(s.first_at, s.last_at)),
                lots=tuple(x for x in found.lots if same_name(asked, x.operation) and covers(x.at)),
                signatures=tuple(s for s in found.signatures
                                 if same_name(asked, s.operation) and covers(s.at)),
                deviations=tuple(d for d in found.deviations
                                 if same_name(asked, d.operation) and covers(d.at)),
            )  # fmt: skip
        case ReadingSubject():
            return replace(
                bare,
                readings=tuple(r for r in found.readings
                               if same_name(subject.name, r.name) and covers(r.at)),
            )  # fmt: skip


def _work_times(operation: OperationFact) -> tuple[str, str]:
    """Start and end of the valid work; both ``""`` if the operation was reworked and not done again."""
    started, finished = operation.started, operation.finished
    first = started.at if started is not None else finished.at if finished is not None else ""
    return first, finished.at if finished is not None else first


def from_facts(facts: Facts, bench: str, path: str) -> SessionMatch:
    """All facts of a session."""
    return SessionMatch(
        facts.session, bench, path, facts.operations, facts.readings, facts.stages, facts.lots,
        facts.signatures, facts.deviations, facts.instruments,
    )  # fmt: skip


def in_order(found: Sequence[SessionMatch]) -> list[SessionMatch]:
    """The matches by the time of opening, then by hash, as every source returns them."""
    return sorted(found, key=lambda one: (one.session.opened_at, one.session.session))
