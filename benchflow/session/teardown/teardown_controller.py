"""The controller of a teardown: the only way to write its log. It parses an intent, decides, appends, folds, answers.

``send`` writes the event to disk before it reports it. If the append fails, the state is unchanged.
"""

import threading
from pathlib import Path
from typing import Any, Self, cast

import msgspec
from msgspec.structs import replace

from benchflow import __version__
from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean, clean_line
from benchflow.session.context import refuse
from benchflow.session.head_memory import HeadMemory
from benchflow.session.intents.parsing import intent_record, read_intent_of
from benchflow.session.log.journal import Journal, NotSaved
from benchflow.session.log_opening import first_line_of
from benchflow.session.log_writer import Accepted, Answer, line_of_event, time_of_intent
from benchflow.session.machine_clock import Clock
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.state.clock import Now, event_time, set_back_from
from benchflow.session.state.event_basics import Event
from benchflow.session.teardown import teardown_events as ev
from benchflow.session.teardown import teardown_intents as intents
from benchflow.session.teardown.decide_teardown import TeardownDecision, attach_picture, decide_teardown, open_teardown
from benchflow.session.teardown.entry_line import Understood, understand_entry
from benchflow.session.teardown.fold_teardown import (
    NoTeardown,
    TeardownState,
    fold_teardown,
    replay_teardown,
)
from benchflow.session.teardown.teardown_record import TeardownRecord

LINES_KEPT = ("text", "reason")
"""Fields whose line breaks are kept."""


class TeardownController:
    """The controller of one teardown. Safe to call from worker threads, one call at a time."""

    def __init__(self, journal: Journal, clock: Clock, *, simulated: bool) -> None:
        self.journal, self.clock, self.simulated = journal, clock, simulated
        self.state: TeardownState | None = None
        self.memory: HeadMemory | None = None  # remembers the head of the log when it is closed
        self.continued = ""  # where the lines come from, if they were taken from a damaged log just now
        self._lock = threading.RLock()
        self._unlogged_start = False

    @classmethod
    def open(cls, path: Path, *, simulated: bool = False, clock: Clock | None = None, read_only: bool = False) -> Self:
        """Open the teardown in the log at ``path``, or make a new, empty log there.

        It is read-only if the log is damaged, or if another program has it open.

        Raises:
            NoTeardown: the file is another log.
            LogUnusable: the log cannot be made or read.
            BenchflowError: the log is of another format, or ``simulated`` does not match it.
        """
        if not path.exists():
            return cls(Journal.create(path), clock or Clock(), simulated=simulated)
        _refuse_other_log(path)
        journal = Journal.open(path, read_only=read_only)
        try:
            controller = cls(journal, clock or Clock(), simulated=simulated)
            controller._load()
        except BenchflowError:
            journal.close()
            raise
        return controller

    @classmethod
    def continue_from(cls, old: Path, new: Path, by: str = "", clock: Clock | None = None) -> Self:
        """Continue a damaged teardown in a new log at ``new``, with the whole lines of the log ``old``.

        The file ``old`` is not changed. A note in the new log says where it comes from.

        Raises:
            NoTeardown: ``old`` is another log, or has no whole line.
            LogUnusable: one of the logs cannot be read or made.
            BenchflowError: ``old`` is not damaged.
        """
        from benchflow.session.pictures.stored_pictures import copy_stored_pictures
        from benchflow.session.teardown.continued_teardown import drafts_of_whole_lines

        _refuse_other_log(old)
        clock = clock or Clock()
        with Journal.open(old, read_only=True) as journal:
            damage = journal.damage
            if damage is None:
                raise BenchflowError(f"{old} is not damaged. Open it with: benchflow teardown '{old}'")
            drafts = drafts_of_whole_lines(journal, damage, clock)
            lost = len(journal.untrusted)
        controller = cls(Journal.create_from(new, drafts), clock, simulated=False)
        controller._load()
        if controller.state is not None and _has_pictures(controller.state.record):
            copy_stored_pictures(old, new)
        more = f", {lost} readable but not trusted" if lost else ""
        text = f"Continued from {old.name}: line {damage.line} {damage.what}. {controller.saved} events kept{more}"
        controller.continued = f"{text}."
        controller.send({"intent": "note", "text": text, **({"by": by} if by else {})})
        return controller

    def _load(self) -> None:
        journal = self.journal
        if not journal.lines:
            if journal.damage is None:
                return
            raise NoTeardown(
                f"{journal.path} is not a log of benchflow: line 1 {journal.damage.what}. It was not changed"
            )
        self.state = replay_teardown(journal.lines, journal.path)
        if self.state.record.simulated != self.simulated and not journal.read_only:
            kind, flag = ("a simulated", "with") if self.state.record.simulated else ("a real", "without")
            raise BenchflowError(f"{journal.path} is the log of {kind} teardown. Drive it {flag} --simulated.")
        self.simulated = self.state.record.simulated
        self._unlogged_start = True

    @property
    def record(self) -> TeardownRecord | None:
        """The record; ``None`` before the teardown is open."""
        return None if self.state is None else self.state.record

    @property
    def saved(self) -> int:
        """The number of events on disk."""
        return len(self.journal.lines)

    @property
    def read_only(self) -> str:
        """The reason why the log cannot be written, as a clause; "" if it can."""
        if self.journal.damage is None or not self.journal.read_only:
            return self.journal.read_only
        goes_on = f"benchflow teardown --continue-from '{self.journal.path}'"
        return f"{self.journal.read_only}. Continue with the whole lines in a new log: {goes_on}"

    def send(self, message: dict[str, Any]) -> Answer:
        """Carry out one intent, given as JSON data. In a simulated teardown it must have the field ``at``."""
        with self._lock:
            message = {key: _cleaned(key, value) for key, value in message.items()}
            last_at = "" if self.state is None else self.state.last.at
            queries = intents.TEARDOWN_QUERIES
            now = time_of_intent(message, self.clock, simulated=self.simulated, queries=queries, last_at=last_at)
            if isinstance(now, Refusal):
                return now
            intent = read_intent_of(message, intents.TEARDOWN_INTENT_TYPES)
            if isinstance(intent, Refusal):
                return intent
            return self._carry_out(cast("intents.TeardownIntent", intent), now)

    def _carry_out(self, intent: intents.TeardownIntent, now: Now) -> Answer:
        if isinstance(intent, intents.AskUnderstood):
            return Accepted((), {"understood": understood_as_json(understand_entry(intent.text))})
        if isinstance(intent, intents.AskTeardown):
            if self.state is None:
                return refuse("not-open", "The teardown is not started. Send the intent open first")
            return Accepted((), {"status": msgspec.to_builtins(self.state.record)})
        if self.read_only:
            return refuse("not-saved", f"View only: {self.read_only}")
        if self.state is not None and isinstance(intent, intents.AttachTeardownPicture):
            decision, intent = self._attach(self.state.record, intent)
        elif self.state is not None:
            decision = decide_teardown(self.state, intent)
        elif isinstance(intent, intents.OpenTeardown):
            boot = "" if self.simulated else self.clock.boot_id
            unfilled = ev.TeardownOpened("", "", __version__, ev.TEARDOWN_FORMAT, self.simulated, boot)
            decision = open_teardown(intent, unfilled)
        else:
            return refuse("not-open", "The teardown is not started. Send the intent open first")
        if isinstance(decision, Refusal):
            return decision
        by = intent.by or (self.state.record.by if self.state is not None else "")
        return self._write(decision, by, now, intent)

    def _attach(
        self, record: TeardownRecord, intent: intents.AttachTeardownPicture
    ) -> tuple[TeardownDecision, intents.AttachTeardownPicture]:
        """Keep the file of a picture beside the log, and return its event. The file is on disk before the event.

        The intent then has the name of the file instead of its path: the log does not show the folders of a person.
        """
        from benchflow.session.pictures.picture_file import read_picture
        from benchflow.session.pictures.stored_pictures import store_picture  # imported late: few entries need them

        try:
            picture = read_picture(Path(intent.file))
            decision = attach_picture(record, intent, picture.facts)
            if not isinstance(decision, Refusal):
                store_picture(self.journal.path, picture)
        except BenchflowError as error:
            return refuse("not-allowed", str(error), name="file"), intent
        return decision, replace(intent, file=picture.facts.name)

    def _write(self, event: Event, by: str, now: Now, intent: intents.TeardownIntent) -> Answer:
        """Write one event, after those that happened without an intent."""
        leading = self._leading(now)
        number = 1 + (0 if self.state is None else self.state.intents)
        groups = [leading, [event]] if leading else [[event]]
        drafts = [
            line_of_event(each, by, now, {"intent": number + count, "of": len(group)})
            for count, group in enumerate(groups)
            for each in group
        ]
        drafts[-1].data["sent"] = intent_record(intent)
        try:
            lines = self.journal.append(drafts)
        except NotSaved as error:
            return Refusal((Reason("not-saved", str(error)),))
        for line in lines:
            typed = ev.teardown_event(line)
            assert typed is not None  # the line was made from an event
            self.state = fold_teardown(self.state, typed, line)
        self._unlogged_start = False
        return Accepted(lines[-1:])

    def _leading(self, now: Now) -> list[Event]:
        """What happened without an intent: the clock went back, the program was started."""
        events: list[Event] = []
        if self.state is None:
            return events
        before = set_back_from(event_time(self.state.last), now)
        if before:
            events.append(ev.ClockSetBack(before, now.at))
        if self._unlogged_start:
            boot = "" if self.simulated else self.clock.boot_id
            events.append(ev.TeardownResumed(__version__, ev.TEARDOWN_FORMAT, boot))
        return events

    def remembered(self) -> str:
        """What this machine remembers about the log, if the log is behind that or forked from it; otherwise ""."""
        return "" if self.memory is None else self.memory.warning(self.journal.lines, self.journal.path)

    def reread(self) -> bool:
        """Read what another program has added to a log opened read-only. Returns true if there was anything."""
        with self._lock:
            lines = self.journal.reread()
            if lines:
                self.state = replay_teardown(self.journal.lines, self.journal.path)
            return bool(lines)

    def move_to(self, folder: Path) -> None:
        """Continue the log in another folder, for example after a full disk or a removed memory stick.

        The pictures that can be read are copied too. `verify` names the others.
        """
        from benchflow.session.pictures.stored_pictures import copy_stored_pictures

        with self._lock:
            before = self.journal.path
            self.journal = self.journal.move_to(folder)
            if self.state is not None and _has_pictures(self.state.record):
                copy_stored_pictures(before, self.journal.path)

    def opened_again(self) -> Self:
        """Return a new controller of the same log, opened for writing after another program has left it.

        Raises:
            BenchflowError: the log cannot be read any more, or another program has it open again.
        """
        again = type(self).open(self.journal.path, simulated=self.simulated, clock=self.clock)
        if again.read_only:
            again.journal.close()
            raise BenchflowError(f"The log cannot be written: {again.read_only}.")
        again.memory = self.memory
        return again

    def close(self) -> None:
        """Remember the head of the log, and release it."""
        if self.memory is not None:
            self.memory.remember(self.journal.lines, self.journal.path, self.clock.now().at)
        self.journal.close()


def understood_as_json(understood: Understood) -> dict[str, Any]:
    """How an entry line is understood, as JSON: the fields, the rows to show, and the problems."""
    description = replace(understood.description, entered="")
    return {
        "fields": msgspec.to_builtins(description),
        "rows": msgspec.to_builtins(list(understood.rows)),
        "problems": msgspec.to_builtins(list(understood.problems)),
    }


def _has_pictures(record: TeardownRecord) -> bool:
    return bool(record.pictures) or any(line.pictures for line in record.lines)


def _cleaned(key: str, value: Any) -> Any:
    """A field of an intent without characters that could control a terminal, at any depth."""
    if key == "file":
        return value  # the path as it is; the log gets it cleaned
    if isinstance(value, str):
        return clean(value).strip() if key in LINES_KEPT else clean_line(value)
    if isinstance(value, dict):
        return {clean_line(str(name)): _cleaned(str(name), inner) for name, inner in value.items()}
    if isinstance(value, list):
        return [_cleaned(key, inner) for inner in value]
    if type(value) is int and key not in ("count", "at"):
        return str(value)
    return value


def _refuse_other_log(path: Path) -> None:
    """Refuse a log that is not a teardown before it is opened for writing, so that it stays unchanged.

    Raises:
        NoTeardown: it is the log of a job.
        BenchflowError: it is a teardown of a newer format.
    """
    first = first_line_of(path)
    if first is None:
        return
    if first.kind != ev.OPENED_KIND:
        raise NoTeardown(f"{path} is the log of a job, not of a teardown. Choose another file.")
    if first.data.get("format") != ev.TEARDOWN_FORMAT:
        raise BenchflowError(f"{path} was written by a newer version. View it with: benchflow log '{path}'")
