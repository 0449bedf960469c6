"""A session log loaded for review: its lines, its last state, its facts, and warnings."""

from functools import cached_property
from pathlib import Path
from typing import Any

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.base.regular_file import read_regular_file
from benchflow.ordering.wording import step_title
from benchflow.procedure.model import Procedure
from benchflow.procedure.plan import Plan
from benchflow.review.audit.audit_report import AuditReport
from benchflow.review.formatting import count
from benchflow.review.log.clock_remarks import ClockStep, clock_remarks, clock_steps
from benchflow.review.log.continuation_remarks import continuation_remarks
from benchflow.review.log.discards import Discard, discards
from benchflow.review.log.facts import Facts, SessionFact
from benchflow.review.log.interpretation import NotASession, interpret, plans, plans_or_empty
from benchflow.review.log.log_file import NoLog, regular_file, unreadable_reason
from benchflow.review.log.people_history import PeopleHistory, people_history
from benchflow.review.log.register_remarks import register_remarks
from benchflow.review.log.remarks import Remark, remarks
from benchflow.review.log.versions import is_newer
from benchflow.session.history.history import plan_from_log
from benchflow.session.log.line_format import Damage, Line, ParsedLog, UntrustedLine, read
from benchflow.session.procedure_loading import ProcedureReader
from benchflow.session.rules.reopened_operations import done_operations, reopened_operations
from benchflow.session.state.clock import EventTime
from benchflow.session.state.events import CHANGE_MARK, FORMAT, StateSet, event_of
from benchflow.session.state.state import State

SIMULATED_NOTE = "This job was simulated. Its times are not real, and no work was done."
"""The warning about a simulated job."""


class FirstLineDamaged(NoLog):
    """The first line of a log, with its procedure, is damaged. ``untrusted`` are the lines after it.

    ``changed`` is the first line as it reads now, and ``plan`` the plan by its procedure; ``None`` if there is none.
    """

    def __init__(self, path: Path, damage: Damage, found: ParsedLog, plan: Plan | None) -> None:
        super().__init__(
            f"{path}: line 1 {damage.what}. It has the procedure, so nothing of the log is trusted. "
            f"{count(len(found.untrusted), 'line')} after it can be read: benchflow log '{path}'"
        )
        self.path, self.damage, self.untrusted, self.changed = path, damage, found.untrusted, found.changed
        self.plan = plan


class LoadedLog(Struct, frozen=True, dict=True):
    """A log, up to the first line that is damaged.

    ``damage`` describes that line, and ``untrusted`` are the lines from there on whose own hash fits. ``torn`` is
    true if the last line or group is incomplete, as after a power failure or while another program writes.
    ``warnings`` are sentences for people. ``audit`` is ``None`` if the log was not audited.
    """

    path: str
    lines: tuple[Line, ...]
    state: State
    facts: Facts
    damage: Damage | None
    torn: bool
    warnings: tuple[str, ...]
    untrusted: tuple[UntrustedLine, ...] = ()
    audit: AuditReport | None = None

    @property
    def plan(self) -> Plan:
        return self.state.plan

    @cached_property
    def finished(self) -> dict[str, EventTime]:
        """The time at which each operation was finished, without operations that a later entry has reopened."""
        return {name: self.state.done[name] for name in done_operations(self.state)}

    @cached_property
    def people_history(self) -> PeopleHistory:
        """The people of the register over the time of the job."""
        return people_history(self.lines)

    @cached_property
    def discards(self) -> tuple[Discard, ...]:
        """What was thrown away, oldest first."""
        return tuple(discards(self.lines))

    @cached_property
    def clock_steps(self) -> tuple[ClockStep, ...]:
        """The steps back of the computer clock."""
        return tuple(clock_steps(self.lines)) if self.facts.session.clock_back else ()

    @cached_property
    def states_by_hand(self) -> tuple[tuple[Line, StateSet], ...]:
        """The lines in which a state was entered by hand, with their events."""
        events = ((line, event_of(line)) for line in self.lines if line.kind == "state-set")
        return tuple((line, event) for line, event in events if isinstance(event, StateSet))

    @cached_property
    def marked_lines(self) -> frozenset[int]:
        """``seq`` of each note, deviation and correction that is marked "change the procedure"."""
        return frozenset(line.seq for line in self.lines if line.data.get("change") is True)

    def mark_text(self, seq: int) -> str:
        """A remark on an entry that is marked "change the procedure"; empty without the mark."""
        return f" ({CHANGE_MARK})" if seq in self.marked_lines else ""

    @cached_property
    def remarks(self) -> tuple[Remark, ...]:
        """What people wrote, oldest first."""
        return remarks(self.lines, self.plan)

    @cached_property
    def lines_by_operation(self) -> dict[str, tuple[Line, ...]]:
        """The lines of the log that name an operation, by that operation."""
        found: dict[str, list[Line]] = {}
        for line in self.lines:
            operation = line.data.get("operation")
            if operation is not None:
                found.setdefault(operation, []).append(line)
        return {operation: tuple(lines) for operation, lines in found.items()}

    @cached_property
    def values_by_step(self) -> dict[str, tuple[Any, ...]]:
        """The values of each step that :func:`~benchflow.review.log.reading_values.values_of` was asked for."""
        return {}

    @property
    def procedure(self) -> Procedure:
        """The procedure with the figures that were given at the bench."""
        return self.state.plan.procedure

    @property
    def written_procedure(self) -> Procedure:
        """The procedure as the author wrote it. The log is replayed from its first line with this one."""
        return self.state.as_written or self.procedure

    @property
    def format(self) -> int:
        """The format of the log. Version 0.1 wrote format 1."""
        return self.state.opened.format

    @property
    def procedure_text(self) -> str:
        """The text of the procedure at the time of the job."""
        return self.state.opened.procedure


def load_log(path: Path, read_procedure: ProcedureReader, *, any_procedure: bool = False) -> LoadedLog:
    """The log at ``path``, its hash chain verified, up to the first damaged line. The file is only read.

    ``any_procedure`` also loads a log whose procedure this version cannot read, with an empty plan.

    Raises:
        FirstLineDamaged: the first line is damaged.
        NoLog: the file cannot be read, or is not the log of a session.
        BenchflowError: the procedure in the log cannot be read.
    """
    try:
        data = read_regular_file(regular_file(path))
    except OSError as error:
        raise NoLog(f"{path} cannot be read: {error.strerror}.") from error
    found = read(data)
    if not found.lines and found.damage is not None and (found.untrusted or found.changed):
        raise FirstLineDamaged(path, found.damage, found, _plan_of_changed(found.changed, read_procedure))
    if not found.lines and found.damage is not None:
        raise NoLog(f"{path} is not the log of a session: line 1 {found.damage.what}.")
    plan_of = plans_or_empty(read_procedure) if any_procedure else plans(read_procedure)
    try:
        interpretation = interpret(found.lines, plan_of)
    except NotASession as error:
        raise NoLog(f"{path} {unreadable_reason(found.lines, str(error))}.") from error
    warnings = _warnings(interpretation.state, interpretation.facts, found)
    lines = tuple(found.lines)
    return LoadedLog(
        str(path),
        lines,
        interpretation.state,
        interpretation.facts,
        found.damage,
        bool(found.tail),
        warnings,
        found.untrusted,
    )


def _plan_of_changed(changed: Line | None, read_procedure: ProcedureReader) -> Plan | None:
    """The plan by the procedure in a damaged first line; ``None`` if it cannot be read."""
    try:
        return plan_from_log([changed], read_procedure) if changed else None
    except BenchflowError:
        return None


def _warnings(state: State, facts: Facts, parsed: ParsedLog) -> tuple[str, ...]:
    session, damage = facts.session, parsed.damage
    found: list[str] = []
    if damage is not None:
        behind = f"{count(len(parsed.untrusted), 'line')} from there on can be read, but not trusted. "
        found.append(
            f"The log is damaged: line {damage.line} {damage.what}. Only the {count(session.events, 'event')} before "
            f"that line {'is' if session.events == 1 else 'are'} used here. {behind if parsed.untrusted else ''}So at "
            "least this was done; the rest is not known."
        )
    if parsed.converted:
        found.append("Another program converted all line ends of the log to CR LF. Its events are unchanged.")
    if parsed.tail:
        found.append("The last line of the log is incomplete, and is left out. A complete copy of the log may have it.")
    if session.simulated:
        found.append(SIMULATED_NOTE)
    if is_newer(session.version):
        found.append(
            f"A newer version of benchflow ({session.version}) wrote this log. Entries that this version "
            "cannot read are left out."
        )
    if state.opened.format < FORMAT:
        found.append(_old_format(session, state.opened.format))
    elif session.unknown:
        kinds = "is of a kind" if session.unknown == 1 else "are of kinds"
        found.append(f"{count(session.unknown, 'event')} {kinds} that this version cannot read.")
    found += clock_remarks(state, parsed.lines)
    found += register_remarks(parsed.lines)
    found += continuation_remarks(state)
    if not session.closed and damage is None:
        found.append("The job is still open.")
    for name, reasons in reopened_operations(state).items():
        found.append(
            f"“{step_title(state.plan, name)}” was finished, but is out of its limit again. {reasons[0].message}"
        )
    left = len(state.plan.steps) - len(done_operations(state)) if damage is None else 0
    if session.closed and left:
        reason = f" ({session.why_open})" if session.why_open else ""
        found.append(f"The job was closed with {left} of {len(state.plan.steps)} operations not done{reason}.")
    return tuple(found)


def _old_format(session: SessionFact, log_format: int) -> str:
    text = f"The log has the old format {log_format}: benchflow {session.version} wrote it."
    if not session.unknown:
        return text
    return (
        f"{text} This version cannot read {count(session.unknown, 'event')} of it, such as starts, pauses and rework. "
        "Working times are missing, and reworked operations are shown as done."
    )
