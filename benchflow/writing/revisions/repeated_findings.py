"""Finds changes from several jobs together: remedies, times, limits, answers, deviations, operations never done.

Each function takes the jobs and the procedure as it is now. A job counts only if the thing in question is the same in
its revision as now: what a later revision has changed is not proposed again. The numbers of jobs and the shares are
own rules.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from decimal import Decimal
from statistics import median
from typing import Final, NamedTuple

from benchflow.base.durations import rounded_duration
from benchflow.base.plaintext import clean_line
from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import Operation, Procedure, remedies_of, values_of, written_limit
from benchflow.quantity.arithmetic import base
from benchflow.review.evidence.ranking import TAKES_SHARE
from benchflow.review.evidence.speed_points import much_shorter_than_stated, seconds_needed
from benchflow.review.formatting import count
from benchflow.review.log.facts import OperationFact, ReadingFact
from benchflow.review.log.margin import band, number
from benchflow.session.rules.deviation_subjects import subject_text
from benchflow.writing.revisions.found_change import ChangeKind, FoundChange
from benchflow.writing.revisions.job_evidence import DoneJob, LogEvidence, operation_of
from benchflow.writing.revisions.value_paths import limit_path

LEAST_JOBS: Final = 3
"""The smallest number of jobs for a proposal."""
OFTEN: Final = 0.5
"""The share of jobs in which a remedy or a deviation is the rule, not the exception."""
ANSWERED_NO: Final = 1 / 3
"""The share of jobs from which a check counts as often answered no."""
NEAR_END: Final = 0.2
"""A reading is near an end if its distance to it is at most this share of the band."""
LEAST_READINGS: Final = 5
"""The smallest number of readings that show where in its band a value is."""
TIME_FACTOR: Final = 1.5
"""A stated time is wrong if the median of the worked times is this many times longer or shorter."""
LEAST_DIFFERENCE: Final = 120
"""The smallest difference between the median and the stated time, in seconds."""

Finder = Callable[[Sequence[DoneJob], Procedure], Iterator[FoundChange]]


class _Count(NamedTuple):
    """The jobs in which something can occur, and the lines of those in which it did, the first of each job."""

    jobs: int
    lines: list[LogEvidence]

    @property
    def share(self) -> float:
        return len(self.lines) / self.jobs if self.jobs else 0.0

    @property
    def text(self) -> str:
        return f"{len(self.lines)} of {self.jobs} jobs"


def _first_in_each_job(lines: Iterable[LogEvidence]) -> list[LogEvidence]:
    found: dict[str, LogEvidence] = {}
    for line in lines:
        found.setdefault(line.session, line)
    return list(found.values())


def _did(job: DoneJob, operation: str) -> bool:
    """True if the job finished the operation, at any place."""
    return any(fact.done and operation_of(fact.operation) == operation for fact in job.log.facts.operations)


def _same_limit(job: DoneJob, step: str, name: str, now: Operation) -> bool:
    """True if the value has the same limit in the job as it has now."""
    then = job.operation(step)
    old = [written_limit(value) for value in (() if then is None else values_of(then)) if value.name == name]
    new = [written_limit(value) for value in values_of(now) if value.name == name]
    return bool(new) and old == new


def remedy_changes(jobs: Sequence[DoneJob], procedure: Procedure) -> Iterator[FoundChange]:
    """Remedies that most jobs needed."""
    found: dict[tuple[str, str, str], list[LogEvidence]] = defaultdict(list)
    for job in jobs:
        for fact in job.log.facts.remedies:
            name = ValueRef.parse(fact.name).name
            key = operation_of(fact.operation), name, fact.do.partition(" (")[0]
            found[key].append(job.evidence(fact.seq, clean_line(fact.words)))
    for (operation, name, do), lines in found.items():
        now = procedure.operations_by_id.get(operation)
        if now is None or not any(remedy.do.partition(" (")[0] == do for remedy in remedies_of(now)):
            continue
        counted = _Count(sum(_did(job, operation) for job in jobs), _first_in_each_job(lines))
        if len(counted.lines) >= LEAST_JOBS and counted.share >= OFTEN:
            words = f"Remedy needed in {counted.text}, {name}: {clean_line(do)}"
            why = f"The remedy “{clean_line(do)}” for {name} was needed in {counted.text}."
            yield FoundChange(
                "remedy", operation, f"{name} {do}", f"Remedy of {name}", why, tuple(counted.lines), path=("do",),
                value=words,
            )  # fmt: skip


def time_changes(jobs: Sequence[DoneJob], procedure: Procedure) -> Iterator[FoundChange]:
    """Stated times that do not fit the worked times, and times that are not stated.

    A time that is too short for the work by hand, or that the review calls too fast, does not count.
    """
    times: dict[str, list[tuple[float, LogEvidence]]] = defaultdict(list)
    too_fast: Counter[str] = Counter()
    for job in jobs:
        if job.log.facts.session.simulated:
            continue
        of_job: dict[str, list[tuple[float, int]]] = defaultdict(list)
        left_out: set[str] = set()
        for fact in job.log.facts.operations:
            operation = operation_of(fact.operation)
            now, then = procedure.operations_by_id.get(operation), job.operation(fact.operation)
            if fact.finished is None or now is None or then is None or then.takes != now.takes:
                continue
            if _is_too_fast(job, fact):
                left_out.add(operation)
            elif fact.active > 0:
                of_job[operation].append((fact.active, fact.finished.seq))
        too_fast.update(left_out - set(of_job))
        for operation, found in of_job.items():
            took = median(seconds for seconds, _ in found)
            places = f" (median of {len(found)} places)" if len(found) > 1 else ""
            words = f"took {rounded_duration(took)}{places}"
            times[operation].append((took, job.evidence(found[-1][1], words)))
    for operation, measured in times.items():
        now = procedure.operations_by_id[operation]
        if len(measured) < LEAST_JOBS or now.again is not None:
            continue
        typical = median(seconds for seconds, _ in measured)
        stated = None if now.takes is None else float(base(now.takes))
        if not _is_another_time(typical, stated):
            continue
        least, most = min(seconds for seconds, _ in measured), max(seconds for seconds, _ in measured)
        said = "no time is stated" if now.takes is None else f"`takes: {now.takes.entered}` is stated"
        why = (
            f"The median of the worked time in {len(measured)} jobs is {rounded_duration(typical)} "
            f"({rounded_duration(least)} to {rounded_duration(most)}), but {said}. The proposed time is this median, "
            "rounded."
        )
        if many := too_fast[operation]:
            why += f" Left out as too fast for the work: {count(many, 'job')}."
        yield FoundChange(
            "time", operation, "takes", "Stated time", why, tuple(line for _, line in measured), "set", ("takes",),
            _stated(typical),
        )  # fmt: skip


def _is_too_fast(job: DoneJob, fact: OperationFact) -> bool:
    """True if the work was entered afterwards: by the stated time (as the review says), or by what hands need."""
    step = job.log.plan.steps.get(fact.operation)
    if step is not None and step.takes and much_shorter_than_stated(step, fact):
        return True
    return fact.active < TAKES_SHARE * seconds_needed(fact)


def _is_another_time(typical: float, stated: float | None) -> bool:
    if stated is None:
        return typical >= LEAST_DIFFERENCE
    if abs(typical - stated) < LEAST_DIFFERENCE:
        return False
    return typical >= stated * TIME_FACTOR or typical * TIME_FACTOR <= stated


def _stated(seconds: float) -> str:
    """A time as an author states it: to the minute, below 1 min to 5 s, from 30 min on to 5 min."""
    if seconds < 60:
        return f"{max(round(seconds / 5) * 5, 5)} s"
    minutes = max(round(seconds / 60), 1)
    if minutes >= 30:
        minutes = round(minutes / 5) * 5
    return f"{minutes} min"


def near_limit_changes(jobs: Sequence[DoneJob], procedure: Procedure) -> Iterator[FoundChange]:
    """Limits with two ends whose readings are always near the same end."""
    found: dict[tuple[str, str], list[tuple[float, LogEvidence]]] = defaultdict(list)
    for job in jobs:
        for fact in job.log.facts.readings:
            name = ValueRef.parse(fact.name).name
            now = procedure.operations_by_id.get(operation_of(fact.operation))
            place = _place_in_band(fact) if fact.in_force else None
            if place is None or now is None or not _same_limit(job, fact.operation, fact.name, now):
                continue
            shown = f"{clean_line(fact.entered or f'{fact.value} {fact.unit}')} in {clean_line(fact.limit)}"
            found[now.id, name].append((place, job.evidence(fact.seq, shown)))
    for (operation, name), placed in found.items():
        counted = _Count(len({line.session for _, line in placed}), _first_in_each_job(line for _, line in placed))
        if len(placed) < LEAST_READINGS or counted.jobs < LEAST_JOBS:
            continue
        places = [place for place, _ in placed]
        end = "lower" if max(places) <= NEAR_END else "upper" if min(places) >= 1 - NEAR_END else ""
        if end:
            why = (
                f"All {len(placed)} readings of {name} in {counted.jobs} jobs are within {NEAR_END:.0%} of the {end} "
                f"end of its limit. Check the limit, the figure or the work before it."
            )
            words = f"All {len(placed)} readings of {name} in {counted.jobs} jobs are near the {end} end of its limit"
            yield FoundChange(
                "near-limit", operation, f"{name} {end}", f"Limit of {name}", why, tuple(counted.lines),
                path=limit_path(procedure, operation, name), value=words,
            )  # fmt: skip


def _place_in_band(fact: ReadingFact) -> float | None:
    """Where a reading is in its band: 0 at the lower end, 1 at the upper; ``None`` if it has no two ends."""
    within = band(fact.limit, fact.unit, difference=fact.difference)
    value = number(fact.value)
    if value is None or within.low is None or within.high is None or within.low == within.high:
        return None
    place = (value - within.low) / (within.high - within.low)
    return float(place) if Decimal(0) <= place <= Decimal(1) else None


def deviation_changes(jobs: Sequence[DoneJob], procedure: Procedure) -> Iterator[FoundChange]:
    """Deviations that were signed again and again about one thing: a value, a joint, the hold, a time window."""
    found: dict[tuple[str, str], list[LogEvidence]] = defaultdict(list)
    for job in jobs:
        for fact in job.log.facts.deviations:
            now = procedure.operations_by_id.get(operation_of(fact.operation))
            about = ValueRef.parse(fact.about).name
            is_value = now is not None and any(value.name == about for value in values_of(now))
            if now is None or (is_value and not _same_limit(job, fact.operation, about, now)):
                continue
            found[now.id, about].append(job.evidence(fact.seq, clean_line(fact.reason)))
    for (operation, about), lines in found.items():
        now = procedure.operations_by_id[operation]
        done = sum(_did(job, operation) or any(line.session == _session(job) for line in lines) for job in jobs)
        counted = _Count(done, _first_in_each_job(lines))
        if len(counted.lines) < LEAST_JOBS or counted.share < OFTEN:
            continue
        subject = clean_line(subject_text(about, lambda step: step))
        path = limit_path(procedure, operation, about)
        kind: ChangeKind = "waived" if path else "deviated"
        limit = next((written_limit(value) for value in values_of(now) if value.name == about), "")
        why = f"A deviation from {subject}{f' ({limit})' if limit else ''} was signed in {counted.text}."
        words = f"A deviation from {subject} was signed in {counted.text}: {'; '.join(_reasons(counted.lines))}"
        yield FoundChange(
            kind, operation, about, f"Deviations from {subject}", why, tuple(counted.lines), path=path, value=words
        )


def _session(job: DoneJob) -> str:
    return job.log.facts.session.session


def _reasons(lines: Iterable[LogEvidence]) -> list[str]:
    """The different words of the lines, at most three."""
    return list(dict.fromkeys(line.words for line in lines))[:3]


def answer_changes(jobs: Sequence[DoneJob], procedure: Procedure) -> Iterator[FoundChange]:
    """Checks that are often answered no."""
    answered: dict[tuple[str, str], set[str]] = defaultdict(set)
    refused: dict[tuple[str, str], list[LogEvidence]] = defaultdict(list)
    for job in jobs:
        for line in job.lines_of("checked"):
            key = operation_of(str(line.data.get("operation") or "")), str(line.data.get("text") or "")
            answered[key].add(_session(job))
            if line.data.get("answer") == "no":
                refused[key].append(job.evidence(line.seq, "answered no"))
    for (operation, text), lines in refused.items():
        now = procedure.operations_by_id.get(operation)
        numbers = [number for number, point in enumerate(() if now is None else now.check) if point.text == text]
        counted = _Count(len(answered[operation, text]), _first_in_each_job(lines))
        if numbers and len(counted.lines) >= LEAST_JOBS and counted.share >= ANSWERED_NO:
            why = f"The check “{clean_line(text)}” was answered no in {counted.text}."
            words = f"Check answered no in {counted.text}: {clean_line(text)}"
            yield FoundChange(
                "answered-no", operation, text, f"Check {numbers[0] + 1}", why, tuple(counted.lines),
                path=("check", numbers[0]), value=words,
            )  # fmt: skip


def undone_changes(jobs: Sequence[DoneJob], procedure: Procedure) -> Iterator[FoundChange]:
    """Operations that are part of closed jobs, and were done in none of them."""
    closed = [job for job in jobs if job.log.facts.session.closed]
    for operation in procedure.operations:
        if operation.if_needed or operation.elsewhere or operation.findings:
            continue
        planned = [job for job in closed if any(operation_of(step) == operation.id for step in job.log.plan.steps)]
        done = {operation_of(step) for job in planned for step in job.log.finished}
        if len(planned) >= LEAST_JOBS and operation.id not in done:
            lines = [job.evidence(job.lines_of("closed")[-1].seq, "closed without it") for job in planned]
            why = f"None of {len(planned)} closed jobs did this operation."
            yield FoundChange(
                "never-done", operation.id, "never done", "Never done", why, tuple(lines), value=why.rstrip(".")
            )


FINDERS: Final[tuple[Finder, ...]] = (
    time_changes, deviation_changes, remedy_changes, answer_changes, near_limit_changes, undone_changes,
)  # fmt: skip
