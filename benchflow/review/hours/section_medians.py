"""The hours of several jobs by section: the median for the next estimate."""

from collections.abc import Iterable
from statistics import median

from msgspec import Struct

from benchflow.review.hours.worked_time import RULE, JobHours, SectionHours, stated_in_all


class SectionMedian(Struct, frozen=True):
    """One section over the jobs in which every operation of it is finished. Times are in seconds."""

    section: str
    title: str
    jobs: int
    median: float
    shortest: float
    longest: float
    stated: float | None  # median of the least time by the procedure


class ProcedureHours(Struct, frozen=True):
    """The jobs of one procedure. ``total`` is over the jobs in which every section is finished, ``None`` without one.

    Simulated jobs are never mixed with real ones: their times were entered.
    """

    procedure: str
    title: str
    revisions: tuple[str, ...]
    simulated: bool
    jobs: int
    sections: tuple[SectionMedian, ...]
    total: SectionMedian | None
    rule: str = RULE


def hours_by_procedure(jobs: Iterable[JobHours]) -> tuple[ProcedureHours, ...]:
    """The medians of each procedure, in the order in which the jobs name them."""
    groups: dict[tuple[str, bool], list[JobHours]] = {}
    for job in jobs:
        groups.setdefault((job.procedure, job.simulated), []).append(job)
    return tuple(_of_procedure(group) for group in groups.values())


def _of_procedure(jobs: list[JobHours]) -> ProcedureHours:
    by_section: dict[str, list[SectionHours]] = {}
    for job in jobs:
        for section in job.sections:
            by_section.setdefault(section.section, []).append(section)
    medians = []
    for sections in by_section.values():
        complete = [section for section in sections if section.complete]
        if complete:
            worked = [section.worked for section in complete]
            stated = [section.stated for section in complete if section.stated is not None]
            medians.append(_median(complete[0].section, complete[0].title, worked, stated))
    whole = [job for job in jobs if all(section.complete for section in job.sections)]
    stated = [time for job in whole if (time := stated_in_all(job.sections)) is not None]
    first = jobs[0]
    return ProcedureHours(
        first.procedure,
        first.title,
        tuple(dict.fromkeys(job.revision for job in jobs)),
        first.simulated,
        len(jobs),
        tuple(medians),
        _median("", "Whole job", [job.worked for job in whole], stated) if whole else None,
    )


def _median(section: str, title: str, worked: list[float], stated: list[float]) -> SectionMedian:
    return SectionMedian(
        section, title, len(worked), median(worked), min(worked), max(worked), median(stated) if stated else None
    )
