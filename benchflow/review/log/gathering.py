"""What is gathered while a log is gone through once: mutable on purpose, and gone when the facts are made."""

from typing import Any, Literal

from msgspec import Struct

from benchflow.review.log.facts import (
    ChoiceFact,
    DeviationFact,
    Facts,
    InstrumentFact,
    LotFact,
    Moment,
    NoteFact,
    OperationFact,
    ReadingFact,
    SessionFact,
    SignatureFact,
    StageFact,
    UndoneFact,
)
from benchflow.session.log.line_format import Line
from benchflow.session.log.timestamps import parse


class NotASession(Exception):
    """The lines are whole, but no build: what is missing or not as its kind says, in words."""


def seconds_between(earlier: Moment, later: Moment) -> float:
    """By the monotonic clock where both come from one run of the program, else by the clock on the wall,
    which may have been set in between: never below zero."""
    if earlier.run and earlier.run == later.run:
        return max(0.0, (later.ms - earlier.ms) / 1000)
    return max(0.0, (parse(later.at) - parse(earlier.at)).total_seconds())


class Ticks(Struct):
    """Ticks of one stage, instrument, person and day, while they are counted."""

    seq: int
    instrument: str
    first: Moment
    last: Moment
    fasteners: set[int]
    bad: set[int]
    unticked: int = 0
    gap: float = 0.0
    gap_seq: int = 0
    measured: int = 0


StageKey = tuple[int, str, str, str, bool]
"""Stage, serial, by, day, and whether it is a reading of stretch."""


class Work(Struct):
    """One operation since it was last begun afresh. The numbers are places in the session's lists."""

    people: list[str] = []
    by: str = ""
    begun: Moment | None = None
    last: Moment | None = None
    finished: Moment | None = None
    active: float = 0.0
    pause: float = 0.0
    entries: int = 0
    checks: int = 0
    paused: int = 0
    redone: int = 0
    joint: str = ""
    stages: dict[StageKey, Ticks] = {}
    last_tick: dict[int, Moment] = {}
    readings: dict[tuple[str, str], list[int]] = {}  # name, slot: every attempt
    lots: dict[str, int] = {}
    choices: dict[str, int] = {}
    signature: int | None = None
    deviations: dict[str, int] = {}

    def wait_until(self, now: Moment) -> None:
        """The longest stretch without an event is kept."""
        if self.last is not None:
            self.pause = max(self.pause, seconds_between(self.last, now))
        self.last = now


class Gathered:
    """Everything told so far. Facts whose standing is settled only at the end wait as dicts."""

    def __init__(self) -> None:
        self.opened: Line | None = None
        self.last: Line | None = None
        self.closed: Line | None = None
        self.opened_at = self.last_at = ""
        self.closed_at: str | None = None
        self.works: dict[str, Work] = {}
        self.in_progress: str | None = None
        self.since = Moment("")  # when what is in hand was taken up
        self.readings: list[dict[str, Any]] = []
        self.lots: list[dict[str, Any]] = []
        self.choices: list[dict[str, Any]] = []
        self.signatures: list[dict[str, Any]] = []
        self.deviations: list[dict[str, Any]] = []
        self.instruments: list[InstrumentFact] = []
        self.undone_steps: list[UndoneFact] = []
        self.notes: list[NoteFact] = []
        self.stages: list[StageFact] = []
        self.of_line: dict[int, tuple[str, str, str]] = {}  # seq: operation, name, slot ("" for a lot)
        self.of_tick: dict[int, tuple[str, int, int]] = {}  # seq of one that was read: operation, stage, fastener
        self.clock_back = 0
        self.unknown = 0
        self.reopening = ""  # why work is being taken back

    def of(self, operation: str) -> Work:
        work = self.works.get(operation)
        if work is None:
            work = self.works[operation] = Work()
        return work

    def touch(self, operation: str, now: Moment) -> Work:
        """An entry: a signature given before it no longer covers what stands there."""
        work = self.of(operation)
        work.wait_until(now)
        work.signature = None
        work.entries += 1
        return work

    def lay_down(self, operation: str, now: Moment) -> Work:
        """Finished or set aside: it is in hand no longer."""
        work = self.of(operation)
        work.wait_until(now)
        if self.in_progress == operation:
            work.active += seconds_between(self.since, now)
            self.in_progress = None
        return work

    def undo(self, line: Line, now: Moment, operation: str, cause: Literal["rework", "remedy"], reason: str) -> None:
        """What was done for ``operation`` stands no longer; it begins afresh."""
        work = self.of(operation)
        self._close_stages(operation, work, standing=False)
        self.undone_steps.append(UndoneFact(line.seq, now.at, line.by, operation, cause, reason))
        self.works[operation] = Work(redone=work.redone + 1, people=work.people, by=work.by, paused=work.paused)

    def _close_stages(self, operation: str, work: Work, *, standing: bool) -> None:
        for (stage, serial, by, day, stretch), ticks in work.stages.items():
            fact = StageFact(
                ticks.seq, operation, work.joint, stage, work.redone, ticks.instrument, serial, by, day,
                ticks.first.at, ticks.last.at, len(ticks.fasteners), ticks.unticked, ticks.gap, ticks.gap_seq,
                seconds_between(ticks.first, ticks.last), len(ticks.bad), ticks.measured, stretch, standing,
            )  # fmt: skip
            self.stages.append(fact)

    # --- what comes out ---

    def facts(self) -> Facts:
        """Everything told so far, with what stands marked.

        Raises:
            NotASession: nothing was told, or the first event lacks what it has to have.
        """
        if self.opened is None or self.last is None:
            raise NotASession("it is empty: a session begins with 'opened'")
        readings: set[int] = set()
        lots: set[int] = set()
        choices: set[int] = set()
        signatures: set[int] = set()
        deviations: set[int] = set()
        for operation, work in self.works.items():
            self._close_stages(operation, work, standing=True)
            readings.update(attempts[-1] for attempts in work.readings.values())
            lots.update(work.lots.values())
            choices.update(work.choices.values())
            deviations.update(work.deviations.values())
            if work.signature is not None:
                signatures.add(work.signature)
        return Facts(
            session=self._session(self.opened, self.last),
            operations=tuple(_operation(name, work) for name, work in self.works.items()),
            readings=tuple(ReadingFact(**r, standing=i in readings) for i, r in enumerate(self.readings)),
            stages=tuple(self.stages),
            lots=tuple(LotFact(**x, standing=i in lots) for i, x in enumerate(self.lots)),
            choices=tuple(ChoiceFact(**c, standing=i in choices) for i, c in enumerate(self.choices)),
            signatures=tuple(SignatureFact(**s, standing=i in signatures) for i, s in enumerate(self.signatures)),
            deviations=tuple(DeviationFact(**d, standing=i in deviations) for i, d in enumerate(self.deviations)),
            instruments=tuple(self.instruments),
            undone_steps=tuple(self.undone_steps),
            notes=tuple(self.notes),
        )

    def _session(self, opened: Line, last: Line) -> SessionFact:
        data = opened.data
        closing = self.closed.data if self.closed is not None else {}
        try:
            return SessionFact(
                session=opened.hash, unit=data["unit"], by=opened.by, opened_at=self.opened_at,
                closed_at=self.closed_at, last_at=self.last_at, events=last.seq, head=last.hash,
                file=data["file"], procedure=data["procedure_sha256"], options=data["options"],
                start=data["start"], version=data["version"], simulated=data.get("simulated", False),
                shop=data.get("shop"), clock_back=self.clock_back,
                left_open=tuple(closing.get("open_operations", ())), why_open=closing.get("reason", ""),
                unknown=self.unknown,
            )  # fmt: skip
        except KeyError as missing:
            raise NotASession(f"line 1 (opened) lacks {missing}") from missing


def _operation(name: str, work: Work) -> OperationFact:
    span = 0.0
    if work.begun is not None and work.finished is not None:
        span = seconds_between(work.begun, work.finished)
    return OperationFact(
        operation=name, by=work.by, people=tuple(work.people), begun=work.begun, finished=work.finished,
        active=work.active, span=span, pause=work.pause, entries=work.entries, checks=work.checks,
        paused=work.paused, redone=work.redone,
    )  # fmt: skip
