"""The session controller: the only way to write a log. It parses an intent, decides, appends, folds and answers.

``send`` writes the events to disk before it reports them. If the append fails, the state is unchanged.
"""

import threading
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

import msgspec
from msgspec.structs import replace

from benchflow import __version__
from benchflow.base.errors import BenchflowError
from benchflow.procedure.compiled_cache import Loaded
from benchflow.procedure.model import Procedure
from benchflow.session.attached_file import store_picture, with_picture, with_restored_copy
from benchflow.session.block_records import block_records, changed_blocks
from benchflow.session.context import Context, Decision, Entry, refuse
from benchflow.session.continuation import EarlierJobs
from benchflow.session.head_memory import HeadMemory
from benchflow.session.intents import intent_types as intents
from benchflow.session.intents.dispatch import decide, refused_pin_entries
from benchflow.session.intents.open_and_close import open_job
from benchflow.session.intents.parsing import intent_record, read_intent
from benchflow.session.job_register import JobRegister, register_fields
from benchflow.session.log.journal import Journal, NotSaved
from benchflow.session.log.line_format import Line
from benchflow.session.log_opening import open_job_log
from benchflow.session.log_writer import Accepted, Answer, line_of_event, time_of_intent
from benchflow.session.machine_clock import Clock
from benchflow.session.present_revision import revision_notes
from benchflow.session.procedure_loading import ProcedureReader
from benchflow.session.queries import answer_query
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.shop.live_register import Register
from benchflow.session.state import events as ev
from benchflow.session.state.clock import Now, set_back_from
from benchflow.session.state.continued_job import ContinuedLog
from benchflow.session.state.fold import begin, fold, replay
from benchflow.session.state.state import State

if TYPE_CHECKING:
    from benchflow.session.correction_preview import CorrectionPreview
    from benchflow.session.pictures.picture_file import PictureFile
    from benchflow.session.shop.register import Shop
    from benchflow.session.view.bench_view import BenchView


QUERIES = ("status", "why", "route", "rework-plan")
"""Queries. In a simulated session they need no time of their own: the time of the last event applies."""


class SessionController:
    """The controller of one session. Safe to call from worker threads, one call at a time."""

    def __init__(
        self,
        journal: Journal,
        procedure: Procedure,
        read: ProcedureReader,
        clock: Clock,
        register: Register | None,
        lines: Sequence[Line] = (),
    ) -> None:
        self.journal, self.procedure, self.clock, self.register = journal, procedure, clock, register
        self._read = read
        self._lock = threading.RLock()
        self._source: Loaded | None = None
        self._file = ""
        self._continues: ContinuedLog | None = None  # this and the next: of a log that `begin` has made
        self._earlier_jobs: EarlierJobs | None = None
        self.simulated = False
        self.state: State | None = replay(lines, read)
        self.resumed = self.state is not None
        if self.state is not None:
            self.simulated = self.state.opened.simulated
        self._unlogged_start = self.resumed  # true until the event `resumed` of this run is logged
        self._of_job = JobRegister(register)
        self.block_notes: tuple[str, ...] = ()  # the blocks that were changed since the job was started
        self.memory: HeadMemory | None = None  # remembers the head of the log when it is closed

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
        continues: ContinuedLog | None = None,
        earlier_jobs: EarlierJobs | None = None,
    ) -> Self:
        """Make a new log at ``path`` for the procedure in ``source``. It is empty until the intent `open` is accepted.

        ``continues`` is the log that the job continues. ``earlier_jobs`` finds the other logs of the unit.

        Raises:
            BenchflowError: the procedure has errors, or the log cannot be made.
        """
        if source.procedure is None:
            raise BenchflowError(f"{file} has errors. List them with: benchflow check {file}")
        # An empty log was made but never opened: use it again.
        journal = Journal.open(path) if path.exists() and not path.stat().st_size else Journal.create(path)
        controller = cls(journal, source.procedure, read, clock or Clock(), register)
        controller._source, controller._file, controller.simulated = source, file, simulated
        controller._continues, controller._earlier_jobs = continues, earlier_jobs
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
        other_register: str = "",
    ) -> Self:
        """Open an existing log, verify it and replay it. The start is logged together with the first entry.

        The log is opened read-only if it is damaged or if another program has it open. ``other_register`` is the
        reason for continuing with another register than before, or with none.

        Raises:
            NoEvent: the log has no complete event. An incomplete first one was moved to a separate file.
            OtherRegister: the register is not the one of the log, and no reason is given.
            BenchflowError: the log does not exist, is empty, has another format, or has an event that this version
                cannot read.
        """
        journal = open_job_log(path, read_only=read_only)
        lines = list(journal.lines)
        try:
            procedure = read(lines[0].data["procedure"])
            controller = cls(journal, procedure, read, clock or Clock(), register, lines)
        except (KeyError, TypeError, msgspec.ValidationError) as error:
            journal.close()
            raise BenchflowError(
                f"{path}: an event has wrong data: {error}. The log can be viewed, not continued."
            ) from error
        try:
            if controller.state is not None and not controller.read_only:
                controller._of_job.resume(controller.state, path, other_register)
        except BenchflowError:
            journal.close()
            raise
        return controller

    def opened_again(self) -> Self:
        """Return a new controller of the same log, opened for writing after another program has left it.

        Raises:
            OtherRegister: the register is not the one of the log.
            BenchflowError: the log cannot be read any more, or another program has it open again.
        """
        again = type(self).resume(self.journal.path, read=self._read, clock=self.clock, register=self.register)
        if again.read_only:
            again.journal.close()
            raise BenchflowError(f"The log cannot be written: {again.read_only}.")
        again.memory, again.block_notes = self.memory, self.block_notes
        return again

    def compare_blocks(self, present: Loaded) -> tuple[str, ...]:
        """Note if the procedure file has another revision now, and its changed blocks, in a sentence for each."""
        if self.resumed and self.state is not None:
            blocks = changed_blocks(self.state.opened.blocks, present.blocks, whole=present.procedure is not None)
            self.block_notes = (*revision_notes(self.state.plan.procedure, present.procedure), *blocks)
        return self.block_notes

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
            last_at = "" if self.state is None else self.state.last.at
            now = time_of_intent(message, self.clock, simulated=self.simulated, queries=QUERIES, last_at=last_at)
            if isinstance(now, Refusal):
                return now
            intent = read_intent(message)
            return intent if isinstance(intent, Refusal) else self._carry_out(intent, now)

    def _carry_out(self, intent: intents.Intent, now: Now) -> Answer:
        try:
            if isinstance(intent, intents.OpenJob) and self.state is None and not self.simulated:
                self._of_job.make_id()
            context = self._of_job.context(now, self.state, unlogged_start=self._unlogged_start)
            may_not_sign = self._why_not_sign(intent, now)
        except BenchflowError as error:
            return refuse("not-allowed", str(error))
        if isinstance(intent, intents.Query):
            if self.state is None:
                return refuse("not-open", "The job is not started. Send the intent open first.")
            answer = answer_query(self.state, intent, context, self.journal.damage, len(self.journal.untrusted))
            return answer if isinstance(answer, Refusal) else Accepted((), answer)
        picture: PictureFile | None = None
        if isinstance(intent, intents.AttachPicture) and self.state is not None and not self.read_only:
            intent, context, picture = with_picture(intent, context)
        decision = self._decide(intent, context) if may_not_sign is None else may_not_sign
        if not isinstance(decision, Refusal):
            not_kept = None if picture is None else store_picture(self.journal.path, picture)
            return not_kept or self._write(decision, context, intent)
        if picture is not None:
            decision = with_restored_copy(self.journal.path, picture, decision)
        tried = refused_pin_entries(intent, decision)
        if not tried:
            return decision
        if not self.simulated:
            self._of_job.note_wrong_pin(now)
        logged = self._write(tried, context, intent)
        return Refusal((*decision.refused, *logged.refused)) if isinstance(logged, Refusal) else decision

    def _why_not_sign(self, intent: intents.Intent, now: Now) -> Refusal | None:
        """A refusal because of the register: it is not that of the job, or the last PIN was wrong.

        Raises:
            BenchflowError: the register cannot be read, or has errors.
        """
        if self.state is None or self.read_only:
            return None
        refusal = self._of_job.why_not_sign(self.state, intent, unlogged_start=self._unlogged_start)
        return refusal if refusal is not None or self.simulated else self._of_job.pin_wait(intent, now)

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
            rules=ev.RULES,
            boot="" if self.simulated else self.clock.boot_id,
            continues=self._continues,
            blocks=block_records(self._source.blocks),
            **register_fields(context.shop),
        )
        decision = open_job(self.procedure, intent, context, unfilled)
        if self._earlier_jobs is None or isinstance(decision, Refusal):
            return decision
        opened = decision[0].event
        assert isinstance(opened, ev.JobOpened)
        earlier = self._earlier_jobs(opened.unit)
        return (replace(decision[0], event=replace(opened, earlier=earlier)),)

    def _write(self, entries: tuple[Entry, ...], context: Context, intent: intents.Intent) -> Answer:
        """Write the events of one intent as a group, after those that happened without an intent.

        The first group of a run of the program has the event `resumed`, and is written together with the next one.
        """
        leading = self._leading_entries(entries[0].by, context)
        groups = (leading, entries) if self._unlogged_start else ((*leading, *entries),)
        number = 0 if self.state is None else self.state.intents
        drafts = [
            line_of_event(entry.event, entry.by, context.now, {"intent": number + count, "of": len(group)})
            for count, group in enumerate(groups, 1)
            for entry in group
        ]
        drafts[-len(groups[-1])].data["sent"] = intent_record(intent)
        try:
            lines = self.journal.append(drafts)
        except NotSaved as error:
            return Refusal((Reason("not-saved", str(error)),))
        for line in lines:
            self.state = begin(line, self.procedure) if self.state is None else fold(self.state, line)
        self._unlogged_start = False
        if lines[-1].kind == "closed":
            self._count_uses()
        return Accepted(tuple(line for line in lines if line.kind not in _UNASKED))

    def _count_uses(self) -> None:
        """Count the uses of instruments in the register, when the job is closed or the program is left.

        If this fails (the register cannot be changed, the program was killed), the next call counts these uses too.
        """
        if (
            self.register is not None and not self.read_only and not self.simulated
        ):  # a simulation uses no real instrument
            with suppress(BenchflowError):
                self.register.count_uses(self.journal.lines)

    def _leading_entries(self, by: str, context: Context) -> tuple[Entry, ...]:
        """What happened without an intent: the clock went back, the program was started, the register changed."""
        state = self.state
        if state is None:
            return ()
        events: list[ev.Event] = []
        before = set_back_from(state.last, context.now)
        if before:
            events.append(ev.ClockWentBack(before, context.now.at))
        if self._unlogged_start:
            events.append(self._start_event(context.shop))
        if context.shop is not None:
            from benchflow.session.shop.people_record import people_changes, people_of

            events += people_changes(context.shop.id, state.people, people_of(context.shop))
        return tuple(Entry(by, event) for event in events)

    def _start_event(self, shop: "Shop | None") -> ev.JobResumed:
        return ev.JobResumed(
            version=__version__,
            format=ev.FORMAT,
            rules=ev.RULES,
            boot="" if self.simulated else self.clock.boot_id,
            other_register=self._of_job.reason,
            **register_fields(shop),
        )

    def now(self) -> Now:
        """The present time of the session."""
        if self.simulated and self.state is not None:
            return Now(self.state.last.at)
        return self.clock.now()

    def context(self) -> Context:
        """The context of a view. The scale of a wrench is read from its register; people are not checked."""
        shop: Shop | None = None
        if self.register is not None:
            with suppress(BenchflowError):  # an intent reports the errors of the file
                shop = self.register.shop()
        return Context(self.now(), shop, started_again=self._unlogged_start and not self.read_only)

    def view(self) -> "BenchView":
        """The present view of the bench. The session must be open."""
        from benchflow.session.view.build import bench_view

        with self._lock:
            assert self.state is not None
            return bench_view(self.state, self.context(), saved=self.saved, read_only=self.read_only)

    def preview_correction(self, event: int, value: str, stretch: str | None) -> "CorrectionPreview | Refusal":
        """What the correction of an entry would lead to, or why it is not possible. Nothing is logged."""
        from benchflow.session.correction_preview import correction_preview

        with self._lock:
            assert self.state is not None
            intent = intents.CorrectEntry(event=event, value=value, reason="preview", stretch=stretch)
            return correction_preview(self.state, intent, self.context())

    def reread(self) -> bool:
        """Read the events that another program has added to a log opened read-only. Returns true if there were any."""
        with self._lock:
            lines = self.journal.reread()
            for line in lines:
                self.state = begin(line, self.procedure) if self.state is None else fold(self.state, line)
            return bool(lines)

    def move_to(self, folder: Path) -> None:
        """Continue the log in another folder, for example after a full disk or a removed memory stick.

        The pictures that can be read are copied too. `verify` names the others.
        """
        from benchflow.session.pictures.stored_pictures import copy_stored_pictures

        with self._lock:
            before = self.journal.path
            self.journal = self.journal.move_to(folder)
            if self.state is not None and self.state.pictures:
                copy_stored_pictures(before, self.journal.path)

    def close(self) -> None:
        """Count the uses of instruments, remember the head of the log, and release it."""
        self._count_uses()
        if self.memory is not None:
            self.memory.remember(self.journal.lines, self.journal.path, self.clock.now().at)
        self.journal.close()

    def remembered(self) -> str:
        """What this machine remembers about the log, if the log is behind that or forked from it; otherwise ""."""
        return "" if self.memory is None else self.memory.warning(self.journal.lines, self.journal.path)


_UNASKED = ("resumed", "register-changed")
"""Kinds of events that are logged with an intent, but are not an answer to it."""
