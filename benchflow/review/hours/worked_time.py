"""The worked time of one job from its log: by section and person, with pauses apart.

Work is the time between two entries while an operation is in progress. A longer gap is a pause, so the night is not
work if an operation stays in progress overnight. :data:`RULE` states the rule.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import Final

from msgspec import Struct

from benchflow.base.durations import rounded_duration
from benchflow.procedure.plan import Step
from benchflow.review.formatting import count, local_time_with_zone
from benchflow.review.log.clock_remarks import clock_steps
from benchflow.review.log.fact_collector import log_time_of
from benchflow.review.log.loaded_log import SIMULATED_NOTE, LoadedLog
from benchflow.review.log.pause_rule import PAUSE_SECONDS, TIMES_STATED, is_pause
from benchflow.session.log.line_format import Line
from benchflow.session.state.clock import BY_WALL_CLOCK, crosses_restart, event_time

RULE = (
    f"Work is the time between two entries. A gap of more than {PAUSE_SECONDS / 60:.0f} min is a pause. If the "
    f"procedure states a time for the operation, a gap of up to {TIMES_STATED:g} times that time is work. Short gaps "
    "between two operations have a line of their own."
)


class WorkedGap(Struct, frozen=True):
    """The time before an entry. ``operation`` is "" between two operations; ``seq`` is the entry that ends it."""

    operation: str
    by: str
    seconds: float
    pause: bool
    seq: int
    at: str
    by_wall_clock: bool


class SectionHours(Struct, frozen=True):
    """The hours of one section, in seconds. ``redone`` is the part of ``worked`` that was reworked later.

    ``stated`` is the least time of its finished operations by the procedure, ``None`` if it states none.
    """

    section: str
    title: str
    operations: int
    finished: int
    worked: float
    redone: float
    paused: float
    stated: float | None
    by_person: dict[str, float]

    @property
    def complete(self) -> bool:
        """True if every operation is finished."""
        return self.finished == self.operations


def stated_in_all(sections: Iterable[SectionHours]) -> float | None:
    """The least time of the finished operations by the procedure, in seconds; ``None`` if it states none."""
    stated = [section.stated for section in sections if section.stated is not None]
    return sum(stated) if stated else None


class LongPause(Struct, frozen=True):
    """A pause while an operation was in progress."""

    operation: str
    title: str
    seconds: float
    until: str


class JobHours(Struct, frozen=True):
    """The hours of one job, in seconds.

    ``worked`` has the sections, and ``between``: the short gaps between operations.
    """

    unit: str
    procedure: str
    revision: str
    title: str
    log: str
    opened: str
    closed: str | None
    simulated: bool
    sections: tuple[SectionHours, ...]
    between: float
    worked: float
    paused: float
    by_person: dict[str, float]
    longest_pauses: tuple[LongPause, ...]
    remarks: tuple[str, ...]
    rule: str = RULE


def job_hours(log: LoadedLog) -> JobHours:
    """The hours of a job, up to the first damaged line of its log."""
    gaps = tuple(worked_gaps(log))
    redone_until = {fact.operation: fact.seq for fact in log.facts.undone_steps}
    steps = log.plan.steps
    sections = []
    for section in log.procedure.sections:
        own = {step.id: step for step in steps.values() if step.operation.section == section.id}
        if own:
            here = [gap for gap in gaps if gap.operation in own]
            sections.append(_section_hours(log, section.id, section.title, own, here, redone_until))
    left = [gap for gap in gaps if gap.operation and gap.operation not in steps and not gap.pause]
    between = sum(gap.seconds for gap in gaps if not gap.operation and not gap.pause)
    by_person: dict[str, float] = defaultdict(float)
    for gap in gaps:
        if not gap.pause:
            by_person[gap.by] += gap.seconds
    session = log.facts.session
    return JobHours(
        session.unit, log.procedure.id, log.procedure.revision, log.procedure.title, log.path, session.opened_at,
        session.closed_at, session.simulated, tuple(sections), between + sum(gap.seconds for gap in left),
        sum(by_person.values()), sum(gap.seconds for gap in gaps if gap.pause), dict(by_person),
        tuple(_longest_pauses(log, gaps)), tuple(_remarks(log, gaps)),
    )  # fmt: skip


def _section_hours(
    log: LoadedLog, ident: str, title: str, own: dict[str, Step], gaps: list[WorkedGap], redone_until: dict[str, int]
) -> SectionHours:
    worked = [gap for gap in gaps if not gap.pause]
    by_person: dict[str, float] = defaultdict(float)
    for gap in worked:
        by_person[gap.by] += gap.seconds
    finished = [step for step in own.values() if step.id in log.finished]
    stated = [step.takes for step in finished if step.takes]
    return SectionHours(
        ident, title, len(own), len(finished),
        sum(gap.seconds for gap in worked),
        sum(gap.seconds for gap in worked if gap.seq <= redone_until.get(gap.operation, 0)),
        sum(gap.seconds for gap in gaps if gap.pause),
        sum(stated) if stated else None,
        dict(by_person),
    )  # fmt: skip


def worked_gaps(log: LoadedLog) -> Iterator[WorkedGap]:
    """The time before each entry, from the opening of the job to its close."""
    operation, worker = "", ""
    for before, after in pairwise(log.lines):
        operation = _in_progress_after(before, operation)
        worker = before.by if before.kind not in _SIGNATURES or not worker else worker
        since, until = event_time(before), event_time(after)
        seconds = log_time_of(since).seconds_until(log_time_of(until))
        pause = is_pause(seconds, log.plan.steps.get(operation))
        crosses = crosses_restart(since, until)
        by = worker if after.kind in _SIGNATURES else after.by
        yield WorkedGap(operation, by, seconds, pause, after.seq, after.at, crosses)
        if after.kind == "closed":
            return


def worked_and_paused(log: LoadedLog) -> dict[str, tuple[float, float]]:
    """The worked time and the pauses of each operation since its last rework, in seconds."""
    redone_until = {fact.operation: fact.seq for fact in log.facts.undone_steps}
    found: dict[str, tuple[float, float]] = {}
    for gap in worked_gaps(log):
        if gap.seq > redone_until.get(gap.operation, 0):
            worked, paused = found.get(gap.operation, (0.0, 0.0))
            found[gap.operation] = (worked, paused + gap.seconds) if gap.pause else (worked + gap.seconds, paused)
    return found


def _in_progress_after(line: Line, operation: str) -> str:
    """The operation in progress after ``line``, if ``operation`` was before it."""
    if line.kind == "started":
        return str(line.data.get("operation") or "")
    return "" if line.kind in _ENDS else operation


_ENDS: Final = frozenset({"finished", "paused", "rework-started", "closed"})
_SIGNATURES: Final = frozenset({"signed", "deviated"})
"""The time before a signature is that of the person who works, not of the one who signs."""
_PAUSES_NAMED: Final = 3


def _longest_pauses(log: LoadedLog, gaps: tuple[WorkedGap, ...]) -> Iterator[LongPause]:
    pauses = sorted((gap for gap in gaps if gap.pause and gap.operation), key=lambda gap: -gap.seconds)
    for gap in pauses[:_PAUSES_NAMED]:
        step = log.plan.steps.get(gap.operation)
        yield LongPause(gap.operation, gap.operation if step is None else step.title, gap.seconds, gap.at)


def _remarks(log: LoadedLog, gaps: tuple[WorkedGap, ...]) -> Iterator[str]:
    session = log.facts.session
    if session.simulated:
        yield SIMULATED_NOTE
    if log.damage is not None:
        yield f"The log is damaged from line {log.damage.line} on. The hours after that are not known."
    elif session.closed_at is None:
        yield f"The job is still open. The hours are those up to {local_time_with_zone(session.last_at)}."
    crossing = [gap for gap in gaps if gap.by_wall_clock and not gap.pause]
    if crossing:
        lost = rounded_duration(sum(gap.seconds for gap in crossing))
        yield f"The computer was started again in the work: {lost} are by the {BY_WALL_CLOCK}."
    unsure = [step for step in clock_steps(log.lines) if not step.within_boot]
    if unsure:
        yield f"The computer clock was set back {count(len(unsure), 'time')}. The hours across that can be too short."
    silent = [step for step in log.plan.steps.values() if not step.takes]
    if silent:
        yield f"The procedure states no time for {count(len(silent), 'operation')} of {len(log.plan.steps)}."
    if session.unknown:
        yield f"{count(session.unknown, 'event')} cannot be read by this version. Hours can be missing."
