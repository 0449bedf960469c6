"""The session controller: the only way to write a log. It parses an intent, decides, appends, folds and answers.

``send`` writes the events to disk before it reports them. If the append fails, the state is unchanged.
"""

import threading
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

import msgspec
from msgspec import Struct

from benchflow import __version__
from benchflow.base.errors import BenchflowError
from benchflow.procedure.compiled_cache import Loaded
from benchflow.procedure.model import Procedure
from benchflow.quantity.types import printable
from benchflow.session.context import Context, Decision, Entry, refuse
from benchflow.session.intents import intent_types as intents
from benchflow.session.intents.dispatch import decide
from benchflow.session.intents.open_and_close import open_job
from benchflow.session.intents.parsing import read_intent
from benchflow.session.log.journal import Journal, NotSaved
from benchflow.session.log.line_format import Draft, Line
from benchflow.session.log.line_format import read as read_lines
from benchflow.session.log.timestamps import format_timestamp, parse_timestamp
from benchflow.session.procedure_loading import ProcedureReader
from benchflow.session.queries import answer_query
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.shop.live_register import Register
from benchflow.session.state import events as ev
from benchflow.session.state.clock import Now
from benchflow.session.state.fold import begin, fold, replay
from benchflow.session.state.state import State

if TYPE_CHECKING:
    from benchflow.session.view.bench_view import BenchView

QUERIES = ("status", "why", "route", "rework-plan")
"""Queries. In a simulated session they need no time of their own: the time of the last event applies."""


class Accepted(Struct, frozen=True):
    """The answer to an accepted intent.

    ``lines`` are the new log lines; they are on disk. ``answer`` is the answer of a query, under its name.
    """

    lines: tuple[Line, ...]
    answer: dict[str, Any] = {}


Answer = Accepted | Refusal


class Clock:
    """The wall clock, and the monotonic time since this clock was made. Tests pass their own functions."""

    def __init__(
        self,
        wall: Callable[[], datetime] = lambda: datetime.now(UTC),
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._wall, self._monotonic, self._start = wall, monotonic, monotonic()

    def now(self, run: int) -> Now:
        """The present time. ``run`` is the number of this run of the program, from 1."""
        return Now(format_timestamp(self._wall()), run, round((self._monotonic() - self._start) * 1000))


class SessionController:
    """The controller of one session. Safe to call from worker threads, one call at a time."""

    def __init__(
        self, journal: Journal, procedure: Procedure, read: ProcedureReader, clock: Clock, register: Register | None
    ) -> None:
        self.journal, self.procedure, self.clock, self.register = journal, procedure, clock, register
        self._read = read
        self._lock = threading.RLock()
        self._source: Loaded | None = None
        self._file = ""
        self.simulated = False
        self.state: State | None = replay(journal.lines, read)
        if self.state is not None:
            self.simulated = self.state.opened.simulated
        self.run = 1 + max((line.data.get("clock", {}).get("run", 0) for line in journal.lines), default=0)

    @classmethod
    def begin(
        cls,
        path: Path,
        source: Loaded,
        *,
        file: str,
        read: ProcedureReader,
        clock: Clock | None = None,
        register: Register | None = None,
        simulated: bool = False,
    ) -> Self:
        """Make a new log at ``path`` for the procedure in ``source``. It is empty until the intent `open` is accepted.

        Raises:
            BenchflowError: the procedure has errors, or the log cannot be made.
        """
        if source.procedure is None:
            raise BenchflowError(f"{file} has errors. List them with: benchflow check {file}")
        # An empty log was made but never opened: use it again.
        journal = Journal.open(path) if path.exists() and not path.stat().st_size else Journal.create(path)
        controller = cls(journal, source.procedure, read, clock or Clock(), register)
        controller._source, controller._file, controller.simulated = source, file, simulated
        return controller

    @classmethod
    def resume(
        cls,
        path: Path,
        *,
        read: ProcedureReader,
        clock: Clock | None = None,
        register: Register | None = None,
        read_only: bool = False,
    ) -> Self:
        """Open an existing log, verify it and replay it.

        The log is opened read-only if it is damaged or if another program has it open.

        Raises:
            BenchflowError: the log does not exist, is empty, has another format, or has an event that this version
                cannot read.
        """
        _refuse_other_format(path)
        journal = Journal.open(path, read_only=read_only)
        if not journal.lines:
            journal.close()
            raise BenchflowError(f"{path} has no complete event. No job was started in it; start a new one.")
        unknown = next((line for line in journal.lines if line.kind not in ev.EVENT_TYPES), None)
        if unknown is not None:
            journal.close()
            raise BenchflowError(
                f"{path}: line {unknown.seq} has an unknown kind of event ({printable(unknown.kind)}). "
                "A newer version wrote it. The log can be viewed, not continued."
            )
        try:
            procedure = read(journal.lines[0].data["procedure"])
            return cls(journal, procedure, read, clock or Clock(), register)
        except (KeyError, TypeError, msgspec.ValidationError) as error:
            journal.close()
            raise BenchflowError(
                f"{path}: an event has wrong data: {error}. The log can be viewed, not continued."
            ) from error

    @property
    def saved(self) -> int:
        """The number of events on disk."""
        return len(self.journal.lines)

    @property
    def read_only(self) -> str:
        """The reason why the log cannot be written, as a clause; "" if it can."""
        return self.journal.read_only

    def send(self, message: dict[str, Any]) -> Answer:
        """Carry out one intent, given as JSON data. In a simulated session it must have the field ``at``."""
        with self._lock:
            message = dict(message)
            now = self._time_of(message)
            if isinstance(now, Refusal):
                return now
            intent = read_intent(message)
            return intent if isinstance(intent, Refusal) else self._carry_out(intent, now)

    def _time_of(self, message: dict[str, Any]) -> Now | Refusal:
        if not self.simulated:
            if "at" in message:
                return refuse(
                    "not-allowed",
                    "The field at is for simulated sessions only (drive --simulated). Leave it out.",
                    name="at",
                )
            return self.clock.now(self.run)
        at = message.pop("at", None)
        if at is None:
            if message.get("intent") in QUERIES:
                return Now("" if self.state is None else self.state.last.at)
            return refuse(
                "value-missing",
                "Give the time of this intent in the field at (RFC 3339), because the session is simulated.",
                name="at",
            )
        try:
            return Now(format_timestamp(parse_timestamp(str(at))))
        except BenchflowError as error:
            return refuse("bad-intent", str(error), name="at")

    def _carry_out(self, intent: intents.Intent, now: Now) -> Answer:
        try:
            context = Context(now, None if self.register is None else self.register.shop())
        except BenchflowError as error:
            return refuse("not-allowed", str(error))
        if isinstance(intent, intents.Query):
            if self.state is None:
                return refuse("not-open", "The job is not started. Send the intent open first.")
            answer = answer_query(self.state, intent, context)
            return answer if isinstance(answer, Refusal) else Accepted((), answer)
        decision = self._decide(intent, context)
        if isinstance(decision, Refusal):
            return decision
        return self._write(decision, now)

    def _decide(self, intent: intents.Intent, context: Context) -> Decision:
        if self.read_only:
            return refuse("not-saved", f"View only: {self.read_only}.")
        if self.state is not None:
            return decide(self.state, intent, context)
        if not isinstance(intent, intents.OpenJob):
            return refuse("not-open", "The job is not started. Send the intent open first.")
        assert self._source is not None  # a controller without a state was made by `begin`
        unfilled = ev.JobOpened(
            procedure=self._source.text,
            procedure_sha256=self._source.sha256,
            file=self._file,
            options={},
            start={},
            unit="",
            version=__version__,
            simulated=self.simulated,
            format=ev.FORMAT,
            shop=None if context.shop is None else context.shop.sha256,
        )
        return open_job(self.procedure, intent, context, unfilled)

    def _write(self, entries: tuple[Entry, ...], now: Now) -> Answer:
        drafts = [self._draft(entry, now) for entry in (*self._clock_went_back(entries, now), *entries)]
        try:
            lines = self.journal.append(drafts)
        except NotSaved as error:
            return Refusal((Reason("not-saved", str(error)),))
        for line in lines:
            self.state = begin(line, self.procedure) if self.state is None else fold(self.state, line)
        if lines[-1].kind == "closed":
            self._count_uses()
        return Accepted(lines)

    def _count_uses(self) -> None:
        """Count the uses of instruments in the register, when the job is closed or the program is left.

        If this fails (the register cannot be changed, the program was killed), the next call counts these uses too.
        """
        if (
            self.register is not None and not self.read_only and not self.simulated
        ):  # a simulation uses no real instrument
            with suppress(BenchflowError):
                self.register.count_uses(self.journal.lines)

    def _clock_went_back(self, entries: tuple[Entry, ...], now: Now) -> tuple[Entry, ...]:
        """An event for the log if the wall clock has gone back since the last event."""
        if self.state is None or parse_timestamp(now.at) >= parse_timestamp(self.state.last.at):
            return ()
        return (Entry(entries[0].by, ev.ClockWentBack(self.state.last.at, now.at)),)

    def _draft(self, entry: Entry, now: Now) -> Draft:
        data = msgspec.to_builtins(entry.event)
        kind = data.pop("kind")
        if now.run:
            data["clock"] = {"run": now.run, "ms": now.ms}
        return Draft(now.at, entry.by, kind, data)

    def now(self) -> Now:
        """The present time of the session."""
        if self.simulated and self.state is not None:
            return Now(self.state.last.at)
        return self.clock.now(self.run)

    def context(self) -> Context:
        """The context of a view. It has only the time: a view checks no people and no instruments."""
        return Context(self.now())

    def view(self) -> "BenchView":
        """The present view of the bench. The session must be open."""
        from benchflow.session.view.build import bench_view

        with self._lock:
            assert self.state is not None
            return bench_view(self.state, self.context(), saved=self.saved, read_only=self.read_only)

    def reread(self) -> bool:
        """Read the events that another program has added to a log opened read-only. Returns true if there were any."""
        with self._lock:
            lines = self.journal.reread()
            for line in lines:
                self.state = begin(line, self.procedure) if self.state is None else fold(self.state, line)
            return bool(lines)

    def move_to(self, folder: Path) -> None:
        """Continue the log in another folder, for example after a full disk or a removed memory stick."""
        with self._lock:
            self.journal = self.journal.move_to(folder)

    def close(self) -> None:
        """Count the uses of instruments and release the log."""
        self._count_uses()
        self.journal.close()


def _refuse_other_format(path: Path) -> None:
    """Refuse a log of another format before it is opened for writing, so that it stays unchanged.

    Raises:
        BenchflowError: the log has another format.
    """
    try:
        with path.open("rb") as file:
            first = read_lines(file.readline()).lines
    except OSError:
        return  # the journal reports the error
    if not first or first[0].kind != "opened" or first[0].data.get("format", 1) == ev.FORMAT:
        return
    version = printable(str(first[0].data.get("version", "")))
    raise BenchflowError(
        f"{path} was written by benchflow {version}. It can be viewed, not continued. "
        f"View it with: benchflow log '{path}'"
    )
