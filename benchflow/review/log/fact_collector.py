"""Collects the facts of a log while its events are folded into states.

For each event the collector gets the state before it, the typed event, and the state after it. The last state decides
which attempts, ticks, lots, signatures and deviations are in force at the end.
"""

from functools import partial
from typing import Literal, TypeVar, assert_never

from msgspec import Struct, field
from msgspec.structs import replace

from benchflow.review.log.facts import (
    CauseFact,
    ChoiceFact,
    ComplaintFact,
    DeviationFact,
    Facts,
    FailedFastenerFact,
    InstrumentFact,
    LogTime,
    LotFact,
    NoteFact,
    OperationFact,
    ReadingFact,
    RemedyFact,
    SessionFact,
    SignatureFact,
    StageFact,
    UndoneFact,
)
from benchflow.review.log.pause_rule import PAUSE_SECONDS, is_pause
from benchflow.review.log.picture_facts import PictureFact
from benchflow.review.log.reading_facts import ReadingFacts
from benchflow.review.log.stage_torque import stage_torque
from benchflow.review.log.tick_groups import TickGroups
from benchflow.session.log.line_format import Line
from benchflow.session.log.timestamps import format_timestamp, parse_timestamp
from benchflow.session.state import events as ev
from benchflow.session.state.clock import EventTime, event_time
from benchflow.session.state.continued_job import OperationTakenOver
from benchflow.session.state.state import State, lot_item, lot_key, lot_subject


class _OperationProgress(Struct):
    """The progress of one operation. ``started`` and the fields after it count from the last rework."""

    by: str = ""
    people: list[str] = []
    paused: int = 0
    started: LogTime | None = None
    active: float = 0.0
    pauses: float = 0.0
    entries: int = 0
    ticks: TickGroups = field(default_factory=TickGroups)

    def restarted(self) -> "_OperationProgress":
        """The progress at the start of a rework. People and the number of pauses are kept."""
        return _OperationProgress(by=self.by, people=self.people, paused=self.paused)


class FactCollector:
    """Collects facts: :meth:`observe` takes every event of one log in order, then :meth:`facts` returns the facts."""

    def __init__(self, opened: Line) -> None:
        self._opened, self._last = opened, opened
        self._last_time = log_time_of(event_time(opened))
        self._pauses = 0.0  # of the operation in progress, since it was started or continued
        self._closed: tuple[ev.JobClosed, str] | None = None
        self._progress_by_operation: dict[str, _OperationProgress] = {}
        self._readings = ReadingFacts()
        self._lots: dict[int, LotFact] = {}  # this and the next three: by seq
        self._choices: dict[int, ChoiceFact] = {}
        self._signatures: dict[int, SignatureFact] = {}
        self._deviations: dict[int, DeviationFact] = {}
        # The state has no seq for these kinds. The last event with a key is the one in force.
        self._last_lot: dict[tuple[str, str], int] = {}
        self._last_choice: dict[tuple[str, str], int] = {}
        self._last_signature: dict[str, int] = {}
        self._last_deviation: dict[tuple[str, str], int] = {}
        self._instruments: list[InstrumentFact] = []
        self._undone_steps: list[UndoneFact] = []
        self._remedies: list[RemedyFact] = []
        self._failed_fasteners: dict[int, FailedFastenerFact] = {}  # by seq
        self._notes: list[NoteFact] = []
        self._complaints: list[ComplaintFact] = []
        self._causes: dict[int, CauseFact] = {}  # by seq
        self._pictures: dict[int, PictureFact] = {}  # by seq
        self._stages: list[StageFact] = []
        self._clock_back = 0
        self._unknown = 0

    def observe(self, before: State, event: ev.AnyEvent | None, after: State, line: Line) -> None:
        """Add one event. ``event`` is ``None`` for a kind that this version cannot read."""
        self._last = line
        now = log_time_of(after.last)
        if before.in_progress is not None:
            self._add_working_time(before, before.in_progress, after, now)
        self._last_time = now
        match event:
            case ev.FastenerTicked():
                self._count_entry(event.operation).ticks.ticked(event, line, now)
            case ev.ReadingRecorded():
                self._count_entry(event.operation)
                self._readings.recorded(event, after, line, now.at)
            case ev.OperationStarted():
                self._operation_started(event, line, now)
            case ev.OperationFinished():
                self._progress_of(event.operation).by = line.by
            case OperationTakenOver():
                self._progress_of(event.operation).by = line.by
            case ev.LotEntered():
                self._count_entry(event.operation)
                self._add_lot(event.operation, lot_key(event.consumable, event.subject), event.lot, line, now)
            case ev.PartChosen():
                self._count_entry(event.operation)
                fact = ChoiceFact(line.seq, now.at, line.by, event.operation, event.name, event.take, in_force=False)
                self._choices[line.seq] = fact
                self._last_choice[event.operation, event.name] = line.seq
            case ev.TicksJudgedAgain():
                ticks = self._progress_of(event.operation).ticks
                for seq, verdict in event.verdicts.items():
                    ticks.corrected(before.work(event.operation).tick(int(seq)), verdict)
            case ev.ReadingsJudgedAgain():
                self._readings.judged_again(event, after)
            case ev.StageBegunAgain():
                self._count_entry(event.operation).ticks.begun_again(event.stage)
            case ev.FastenerUnticked():
                progress = self._count_entry(event.operation)
                progress.ticks.unticked(before.work(event.operation).ticks, after.work(event.operation).ticks)
            case ev.FastenerFailed():
                self._count_entry(event.operation)
                reached = "" if event.quantity is None else event.quantity.entered
                self._failed_fasteners[line.seq] = FailedFastenerFact(
                    line.seq, now.at, line.by, event.operation, event.joint, event.stage, event.fastener, event.what,
                    reached, "",
                )  # fmt: skip
            case ev.FastenerFailureCleared():
                self._count_entry(event.operation)
                cleared = before.work(event.operation).failed_fasteners.get(event.fastener)
                if cleared is not None:
                    del self._failed_fasteners[cleared.seq]
            case ev.FastenerRepaired():
                self._count_entry(event.operation).ticks.begun_again()
                repaired = before.work(event.operation).failed_fasteners.get(event.fastener)
                if repaired is not None:
                    failed = self._failed_fasteners[repaired.seq]
                    self._failed_fasteners[repaired.seq] = replace(failed, repair=event.repair)
            case (
                ev.CheckTicked() | ev.CheckUnticked() | ev.FigureGiven()
                | ev.FastenerDrawnDown() | ev.DrawDownTurnCleared() | ev.PartSeated() | ev.SeatingCleared()
            ):  # fmt: skip
                self._count_entry(event.operation)
            case ev.ValueCalculated():
                self._progress_of(event.operation)
                self._readings.calculated(event, before, line, now.at)
            case ev.EntryCorrected():
                self._entry_corrected(before, event, after, line, now)
            case ev.RemedyCarriedOut():
                self._count_entry(event.operation)
                many = len(before.work(event.operation).readings.get(event.name, ())) > 1
                self._remedies.append(
                    RemedyFact(
                        line.seq, now.at, line.by, event.operation, event.name,
                        ", ".join(event.readings) if many else "", event.verdict, _remedy_words(before, event),
                    )
                )  # fmt: skip
                for operation in dict.fromkeys(event.redo):
                    if operation in before.done or before.work(operation).touched:
                        self._work_undone(before, operation, line, now, "remedy", event.do)
            case ev.ReworkStarted():
                for operation in event.reopened:
                    self._work_undone(before, operation, line, now, "rework", event.reason)
            case ev.OperationUndone() if event.operation in before.to_undo:
                pass  # the remedy has reopened it before
            case ev.OperationUndone():
                reason = "" if before.rework is None else before.rework.reason
                self._work_undone(before, event.operation, line, now, "rework", reason)
            case ev.OperationPaused():
                self._progress_of(event.operation).paused += 1
            case ev.HoldSigned():
                self._add_signature(event, line, now)
            case ev.DeviationSigned():
                self._progress_of(event.operation)
                self._deviations[line.seq] = DeviationFact(
                    line.seq, now.at, line.by, event.operation, event.about, event.reason, in_force=False
                )
                self._last_deviation[event.operation, event.about] = line.seq
            case ev.InstrumentUsed():
                self._instruments.append(_instrument_fact(event, line, now))
            case ev.NoteAdded():
                self._notes.append(NoteFact(line.seq, now.at, line.by, event.operation or "", event.text))
            case ev.ComplaintReported():
                given = event.answers
                self._complaints.append(
                    ComplaintFact(
                        line.seq, now.at, line.by, event.text, given.running, given.since, given.when, given.touched,
                        given.retorque, given.changed,
                    )
                )  # fmt: skip
            case ev.FindingRecorded():
                self._causes[line.seq] = _cause_fact(after, event, line, now)
            case ev.PictureAttached():
                self._pictures[line.seq] = _picture_fact(event, line, now)
            case ev.FindingWithdrawn() | ev.PictureWithdrawn():
                pass  # the last state has the findings and pictures in force
            case ev.ClockWentBack():
                self._clock_back += 1
            case ev.JobClosed():
                self._closed = event, now.at
            case (
                ev.JobOpened()
                | ev.JobResumed()
                | ev.RegisterChanged()
                | ev.PinRefused()
                | ev.MoveMade()
                | ev.StateSet()
                | ev.EvidenceChanged()
                | ev.WrenchAdapterChanged()
                | ev.LubricantChanged()
            ):
                pass  # no facts: the review takes these from the state
            case None:
                self._unknown += 1
            case _:
                assert_never(event)

    # --- events -------------------------------------------------------------------------------------

    def _add_working_time(self, before: State, operation: str, after: State, now: LogTime) -> None:
        """Count the gap before an event, and at the end of ``operation`` its time in progress without its pauses."""
        gap = self._last_time.seconds_until(now)
        if gap > PAUSE_SECONDS and is_pause(gap, after.plan.steps.get(operation)):
            self._pauses += gap
        if after.in_progress != operation and before.started is not None:
            progress = self._progress_of(operation)
            progress.active += max(0.0, log_time_of(before.started).seconds_until(now) - self._pauses)
            progress.pauses += self._pauses
            self._pauses = 0.0

    def _progress_of(self, operation: str) -> _OperationProgress:
        progress = self._progress_by_operation.get(operation)
        if progress is None:
            progress = self._progress_by_operation[operation] = _OperationProgress()
        return progress

    def _count_entry(self, operation: str) -> _OperationProgress:
        progress = self._progress_of(operation)
        progress.entries += 1
        return progress

    def _operation_started(self, event: ev.OperationStarted, line: Line, now: LogTime) -> None:
        progress = self._progress_of(event.operation)
        progress.by = line.by
        if line.by not in progress.people:
            progress.people.append(line.by)
        if progress.started is None:
            progress.started = now

    def _work_undone(
        self, before: State, operation: str, line: Line, now: LogTime, cause: Literal["rework", "remedy"], reason: str
    ) -> None:
        progress = self._progress_of(operation)
        figure_of = partial(stage_torque, before, operation)
        self._stages += progress.ticks.facts(operation, before.work(operation), figure_of, in_force=False)
        self._undone_steps.append(UndoneFact(line.seq, now.at, line.by, operation, cause, reason))
        self._progress_by_operation[operation] = progress.restarted()

    def _entry_corrected(self, before: State, event: ev.EntryCorrected, after: State, line: Line, now: LogTime) -> None:
        entry = before.correctable.get(event.event)
        if entry is None:
            return
        match entry.kind:
            case "tick":
                progress = self._count_entry(entry.operation)
                progress.ticks.corrected(before.work(entry.operation).tick(event.event), event.verdict)
            case "reading" if event.quantity is not None:
                self._count_entry(entry.operation)
                self._readings.corrected(event, event.quantity, before, after, line, now.at)
            case "check" | "figure" | "filled":
                self._count_entry(entry.operation)
            case "lot" if event.lot is not None:
                self._count_entry(entry.operation)
                self._add_lot(entry.operation, entry.name, event.lot, line, now)
            case _:
                pass  # the fold ignores this correction, too

    def _add_lot(self, operation: str, key: str, lot: str, line: Line, now: LogTime) -> None:
        self._lots[line.seq] = LotFact(
            line.seq, now.at, line.by, operation, lot_item(key), lot, in_force=False, subject=lot_subject(key)
        )
        self._last_lot[operation, key] = line.seq

    def _add_signature(self, event: ev.HoldSigned, line: Line, now: LogTime) -> None:
        self._progress_of(event.operation)
        self._signatures[line.seq] = SignatureFact(
            line.seq, now.at, line.by, event.operation, event.role, event.self_signed, in_force=False
        )
        self._last_signature[event.operation] = line.seq

    # --- the result ---------------------------------------------------------------------------------

    def facts(self, state: State) -> Facts:
        """The facts of the whole log. ``state`` is the state after its last event."""
        for operation, progress in self._progress_by_operation.items():
            figure_of = partial(stage_torque, state, operation)
            self._stages += progress.ticks.facts(operation, state.work(operation), figure_of, in_force=True)
        return Facts(
            session=self._session_fact(state),
            operations=tuple(
                _operation_fact(name, progress, state) for name, progress in self._progress_by_operation.items()
            ),
            readings=_mark_in_force(self._readings.by_seq, self._readings.in_force(state)),
            stages=tuple(self._stages),
            lots=_mark_in_force(self._lots, {
                seq for (operation, name), seq in self._last_lot.items() if name in state.work(operation).lots
            }),
            choices=_mark_in_force(self._choices, {
                seq for (operation, name), seq in self._last_choice.items() if name in state.work(operation).chosen
            }),
            signatures=_mark_in_force(self._signatures, {
                seq for operation, seq in self._last_signature.items() if state.work(operation).signed is not None
            }),
            deviations=_mark_in_force(self._deviations, {
                seq for (operation, about), seq in self._last_deviation.items()
                if about in state.work(operation).deviations
            }),
            failed_fasteners=tuple(self._failed_fasteners.values()),
            instruments=tuple(self._instruments),
            undone_steps=tuple(self._undone_steps),
            remedies=tuple(self._remedies),
            notes=tuple(self._notes),
            complaints=tuple(self._complaints),
            causes=_mark_in_force(self._causes, set(state.causes)),
            pictures=_mark_in_force(self._pictures, set(state.pictures)),
        )  # fmt: skip

    def _session_fact(self, state: State) -> SessionFact:
        opened, last, procedure = state.opened, self._last, state.plan.procedure
        closed, closed_at = self._closed or (None, None)
        return SessionFact(
            session=self._opened.hash, unit=opened.unit, by=self._opened.by, opened_at=in_log_form(self._opened.at),
            closed_at=closed_at, last_at=in_log_form(last.at), events=last.seq, head=last.hash, file=opened.file,
            procedure=opened.procedure_sha256, options=opened.options, start=opened.start, version=opened.version,
            simulated=opened.simulated, shop=opened.shop, clock_back=self._clock_back,
            left_open=() if closed is None else closed.open_operations,
            why_open="" if closed is None else closed.reason, unknown=self._unknown,
            procedure_id=procedure.id, revision=procedure.revision, procedure_title=procedure.title,
        )  # fmt: skip


_Fact = TypeVar("_Fact", ReadingFact, LotFact, ChoiceFact, SignatureFact, DeviationFact, CauseFact, PictureFact)


def _mark_in_force(facts: dict[int, _Fact], in_force: set[int]) -> tuple[_Fact, ...]:
    """The facts; ``in_force`` is true for those whose event is in ``in_force``."""
    return tuple(replace(fact, in_force=True) if seq in in_force else fact for seq, fact in facts.items())


def _operation_fact(name: str, progress: _OperationProgress, state: State) -> OperationFact:
    work, finished_at = state.work(name), state.done.get(name)
    finished = None if finished_at is None else log_time_of(finished_at)
    span = 0.0 if progress.started is None or finished is None else progress.started.seconds_until(finished)
    return OperationFact(
        operation=name, by=progress.by, people=tuple(progress.people), started=progress.started, finished=finished,
        active=progress.active, span=span, pauses=progress.pauses, entries=progress.entries, checks=len(work.checks),
        paused=progress.paused, redone=work.redone,
    )  # fmt: skip


def _remedy_words(state: State, event: ev.RemedyCarriedOut) -> str:
    """The remedy with the parts that it fits and its wait: ``Press in a sleeve (sleeve; wait 15 min)``."""
    kit = state.plan.procedure.kit_by_id
    more = [(kit[name].title or name) if name in kit else name for name in event.uses]
    more += [f"wait {event.wait.entered}"] if event.wait is not None else []
    return f"{event.do} ({'; '.join(more)})" if more else event.do


def _cause_fact(state: State, event: ev.FindingRecorded, line: Line, now: LogTime) -> CauseFact:
    step = state.plan.steps.get(event.operation)
    return CauseFact(
        line.seq, now.at, line.by, event.complaint, event.finding, event.outcome, event.operation,
        "" if step is None else step.title, event.date, event.hours, in_force=False,
    )  # fmt: skip


def _picture_fact(event: ev.PictureAttached, line: Line, now: LogTime) -> PictureFact:
    target = event.target
    return PictureFact(
        line.seq, now.at, line.by, event.operation or "", event.name, event.sha256, event.size, event.type, event.width,
        event.height, target.value, target.reading, target.joint, target.fastener, target.event, event.text,
        in_force=False,
    )  # fmt: skip


def _instrument_fact(event: ev.InstrumentUsed, line: Line, now: LogTime) -> InstrumentFact:
    return InstrumentFact(
        line.seq, now.at, line.by, event.need, event.serial, event.title, event.range, event.uncertainty, event.k,
        event.calibrated or "", event.due or "", event.uses, event.warnings,
    )  # fmt: skip


def log_time_of(time: EventTime) -> LogTime:
    """The time of an event as a :class:`LogTime`, the form that facts use."""
    return LogTime(in_log_form(time.at), time.boot, time.ms, time.seq)


def in_log_form(at: str) -> str:
    """A timestamp in the log's own form (UTC, milliseconds, ``Z``). In that form timestamps compare as text."""
    if len(at) == _LOG_FORM_LENGTH and at[-1] == "Z" and at[10] == "T":
        return at
    return format_timestamp(parse_timestamp(at))


_LOG_FORM_LENGTH = len("2026-03-01T18:30:00.000Z")
