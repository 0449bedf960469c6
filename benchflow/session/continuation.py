"""Reads a log that a new job continues, and the other logs of a unit. The files are only read."""

from collections.abc import Callable, Iterable, Iterator
from hashlib import sha256
from pathlib import Path

import msgspec
from msgspec import Struct
from msgspec.structs import replace

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line, folded
from benchflow.base.regular_file import read_regular_file
from benchflow.procedure.compiled_cache import Loaded
from benchflow.procedure.expand import expand
from benchflow.procedure.figures_to_fill import figures_to_fill
from benchflow.procedure.model import OpenStage
from benchflow.procedure.stage_figures import parse_figure
from benchflow.quantity.types import printable
from benchflow.session.block_records import used_blocks
from benchflow.session.catalog import SessionSummary, list_sessions
from benchflow.session.log import lock, sidecars
from benchflow.session.log.line_format import Line, ParsedLog, UntrustedLine, read
from benchflow.session.procedure_loading import ProcedureReader, load_procedure_text
from benchflow.session.rules.verdicts import to_stored
from benchflow.session.state import events as ev
from benchflow.session.state.clock import NOT_KNOWN, event_time
from benchflow.session.state.continued_job import (
    ContinuedLog,
    EarlierEntry,
    EarlierFigure,
    EarlierJob,
    EarlierOperation,
)
from benchflow.session.state.done_operations import finished_by, reopened_by
from benchflow.session.state.fold import replay
from benchflow.session.state.plan_changes import finding_keys
from benchflow.session.state.state import State

EarlierJobs = Callable[[str], tuple[EarlierJob, ...]]
"""Returns the earlier logs of a unit."""

EVIDENCE = frozenset(
    {"recorded", "ticked", "checked", "lot", "chosen", "signed", "deviated", "corrected", "seated", "taken-over"}
)
"""The kinds of events that are evidence of an operation."""


class LogToContinue(Struct, frozen=True):
    """A log that a new job can continue, with its procedure. ``simulated`` is ``None`` if it is not known."""

    path: Path
    source: Loaded
    procedure_file: str
    continues: ContinuedLog
    simulated: bool | None


def log_to_continue(path: Path, procedure: tuple[Loaded, str] | None, read_procedure: ProcedureReader) -> LogToContinue:
    """What a new job takes from the log at ``path``.

    ``procedure`` is a procedure with the name of its file. It is needed if the first line is damaged.

    Raises:
        BenchflowError: the log cannot be continued in this way, or the procedure is missing or another one.
    """
    try:
        data = read_regular_file(path)
    except OSError as error:
        raise BenchflowError(f"{path} cannot be read: {error.strerror}.") from error
    parsed = read(data)
    _check_usable(path, parsed)
    digest = sha256(data).hexdigest()
    if not parsed.lines:
        if procedure is None:
            raise BenchflowError(
                f"{path}: the first line, with the procedure, is damaged. Name the procedure of the job: "
                f"benchflow run --continue-from '{path}' PROCEDURE"
            )
        damaged = _continued(path, digest, parsed, None)
        return LogToContinue(path, procedure[0], procedure[1], damaged, None)
    try:
        state = replay(parsed.lines, read_procedure)
    except (KeyError, TypeError, msgspec.ValidationError) as error:
        raise BenchflowError(f"{path}: an event has wrong data: {error}. It cannot be continued.") from error
    assert state is not None  # there are lines
    opened = state.opened
    if state.closed:
        raise BenchflowError(
            f"The job in {path} was closed on {state.closed}. Start a new job with its procedure to work on the unit "
            "again."
        )
    if procedure is not None and procedure[0].sha256 != opened.procedure_sha256:
        raise BenchflowError(f"{path} has another procedure than {procedure[1]}. Leave the procedure out.")
    source = replace(load_procedure_text(opened.procedure), blocks=used_blocks(opened.blocks))
    return LogToContinue(path, source, opened.file, _continued(path, digest, parsed, state), opened.simulated)


def _check_usable(path: Path, parsed: ParsedLog) -> None:
    """Check that the file is a log that no other one continues and no other program writes.

    Raises:
        BenchflowError: it is not.
    """
    if not parsed.lines and not parsed.untrusted:
        what = "it has no event" if parsed.damage is None else f"line 1 {parsed.damage.what}"
        raise BenchflowError(f"Nothing can be taken over from {path}: {what}. Start a new job.")
    if (new_path := sidecars.moved_to(path)) is not None:
        raise BenchflowError(f"The job in {path} continues in {new_path}. Continue that log.")
    if (holder := lock.current_holder(path)) is not None:
        raise BenchflowError(f"{path} is open in another program: {holder.text}. Leave that program first.")
    unknown = next((line for line in parsed.lines if line.kind not in ev.EVENT_TYPES), None)
    if unknown is not None:
        raise BenchflowError(
            f"{path}: line {unknown.seq} has an unknown kind of event ({printable(unknown.kind)}). A newer version "
            "wrote it. Continue the job with that version."
        )


def _continued(path: Path, digest: str, parsed: ParsedLog, state: State | None) -> ContinuedLog:
    again, later = _after_the_damage(parsed.untrusted)
    done = () if state is None else tuple(_earlier_operations(state, parsed.lines, again))
    known = {each.operation for each in done}
    behind = tuple(EarlierOperation(name, seq, trusted=False) for name, seq in later.items() if name not in known)
    return ContinuedLog(
        file=clean_line(path.name),
        sha256=digest,
        head=parsed.lines[-1].hash if parsed.lines else "",
        events=len(parsed.lines),
        line=0 if parsed.damage is None else parsed.damage.line,
        damage="" if parsed.damage is None else clean_line(parsed.damage.what),
        untrusted=len(parsed.untrusted),
        unit="" if state is None else state.opened.unit,
        options={} if state is None else state.opened.options,
        start={} if state is None else _start_of(state),
        in_progress="" if state is None else state.in_progress or next(iter(state.paused), ""),
        done=(*done, *behind),
        entries=() if state is None else tuple(_earlier_entries(state, parsed.lines, again)),
        figures=() if state is None else tuple(_earlier_figures(state)),
        called={} if state is None else state.plan.findings.called,
    )


def _start_of(state: State) -> dict[str, str | None]:
    return {name: writes[0].value if writes else None for name, writes in state.writes.items()}


def _after_the_damage(untrusted: Iterable[UntrustedLine]) -> tuple[set[str], dict[str, int]]:
    """The operations that the lines after the damage undo, and those that they finish, with the ``seq``."""
    undone: set[str] = set()
    finished: dict[str, int] = {}
    for each in untrusted:
        try:
            event = ev.event_of(each.line)
        except msgspec.ValidationError:
            continue
        if event is None:
            continue
        for name in reopened_by(event):
            undone.add(clean_line(name))
            finished.pop(clean_line(name), None)
        finished |= {clean_line(name): each.line.seq for name in finished_by(event)}
    return undone, finished


def _earlier_operations(state: State, lines: list[Line], undone_later: set[str]) -> Iterator[EarlierOperation]:
    evidence = _evidence(lines)
    for name, time in state.done.items():
        work = state.work(name)
        unknown = [
            variable for variable, past in state.writes.items()
            if any(write.step == name and write.value is None for write in past)
        ]  # fmt: skip
        known = time.boot != NOT_KNOWN
        yield EarlierOperation(
            operation=name,
            seq=time.seq,
            trusted=name not in undone_later,
            at=time.at if known else "",
            boot=time.boot if known else "",
            ms=time.ms if known else 0,
            people=tuple(sorted(work.people)),
            enterers=tuple(sorted(work.enterers)),
            unknown=tuple(unknown),
            evidence=tuple(evidence.get(name, ())),
            findings=_findings_of(state, name),
        )


def _findings_of(state: State, name: str) -> dict[str, tuple[str, ...]]:
    """What was found in an operation, for each finding that decides what is done."""
    made = state.plan.findings.answers
    return {key: made[key] for key in finding_keys(state, state.plan.steps[name]) if key in made}


def _evidence(lines: Iterable[Line]) -> dict[str, list[int]]:
    """The ``seq`` of the evidence of each operation since it was last undone."""
    found: dict[str, list[int]] = {}
    for line in lines:
        event = ev.event_of(line)
        if event is None:
            continue
        for name in reopened_by(event):
            found.pop(name, None)
        operation = line.data.get("operation")
        if line.kind in EVIDENCE and isinstance(operation, str):
            found.setdefault(operation, []).append(line.seq)
    return found


def _earlier_entries(state: State, lines: list[Line], undone_later: set[str]) -> Iterator[EarlierEntry]:
    """The readings, chosen parts and lots in force of each operation that is done and can be trusted."""
    lots = {(ref.operation, ref.name): seq for seq, ref in state.correctable.items() if ref.kind == "lot"}
    for name in state.done:
        if name in undone_later:
            continue
        work = state.work(name)
        for value, slots in work.readings.items():
            for reading, attempts in slots.items():
                last = attempts[-1]
                instrument, serial = _tool_of(lines, last.seq)
                time = work.entered.get(value) or event_time(lines[last.seq - 1])
                known = time.boot != NOT_KNOWN
                u = last.uncertainty
                yield EarlierEntry(
                    name, "reading", last.seq, value, reading, last.quantity.value, last.quantity.unit,
                    last.quantity.entered, "" if u is None else u.value, "" if u is None else u.entered,
                    instrument, serial, last.used,
                    time.at if known else "", time.boot if known else "", time.ms if known else 0, last.tools,
                )  # fmt: skip
        for choice, take in work.chosen.items():
            yield EarlierEntry(name, "part", work.choice_seqs.get(choice, 0), choice, entered=take)
        for consumable, lot in work.lots.items():
            yield EarlierEntry(name, "lot", lots.get((name, consumable), 0), consumable, entered=lot)


def _earlier_figures(state: State) -> Iterator[EarlierFigure]:
    """The figures that were given at the bench: those of the operations that are done, and all that are of no stage."""
    asked = {one.mark: one for one in figures_to_fill(state.as_written or state.plan.procedure)}
    for mark, given in state.filled.items():
        one = asked[mark]
        at = (mark.line, mark.column)
        yield EarlierFigure(given.seq, given.figure, given.source, what=one.what, name=one.title, asked_at=at)
    for name in state.done:
        tighten = state.plan.steps[name].operation.tighten
        if tighten is None:
            continue
        for number, given in state.work(name).figures.items():
            stage = tighten.stages[number - 1]
            quantity = to_stored(
                parse_figure(given.figure, stage.what if isinstance(stage, OpenStage) else None).quantity
            )
            yield EarlierFigure(given.seq, given.figure, given.source, name, tighten.joint, number, quantity)


def _tool_of(lines: list[Line], seq: int) -> tuple[str, str]:
    """Id and serial number of the instrument of the reading that event ``seq`` recorded, stated again or corrected."""
    event = ev.event_of(lines[seq - 1])
    if isinstance(event, ev.EntryCorrected):
        return _tool_of(lines, event.event)
    if not isinstance(event, ev.ReadingRecorded):
        return "", ""
    return _tool_of(lines, event.claims) if event.claims is not None else (event.instrument or "", event.serial or "")


# --- other logs of the same unit ----------------------------------------------------------------------


def earlier_jobs_in(folder: Path, read_procedure: ProcedureReader, *, simulated: bool) -> EarlierJobs:
    """A function that finds the logs of a unit in ``folder``. Real jobs have real earlier jobs only."""

    def find(unit: str) -> tuple[EarlierJob, ...]:
        if not unit:
            return ()
        try:
            sessions = list_sessions(folder)
        except BenchflowError:
            return ()  # the log cannot be made there either, which is reported
        same = [
            each for each in sessions
            if each.opened_at and not each.is_teardown
            and each.simulated == simulated and folded(each.unit) == folded(unit)
        ]  # fmt: skip
        return tuple(_earlier_job(each, read_procedure) for each in sorted(same, key=lambda each: each.opened_at))

    return find


def _earlier_job(session: SessionSummary, read_procedure: ProcedureReader) -> EarlierJob:
    first, of = "", 0
    try:
        with session.path.open("rb") as file:
            line = read(file.readline()).lines[0]
        first = line.hash
        of = len(expand(read_procedure(line.data["procedure"]), session.options).steps)
    except (BenchflowError, OSError, LookupError, TypeError):
        pass  # the log is named all the same
    return EarlierJob(clean_line(session.path.name), first, session.opened_at, session.done, of)
