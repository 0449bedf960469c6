"""The working hours as lines of text and as CSV."""

import csv
import io
from collections.abc import Iterable, Iterator, Sequence

from benchflow.base.durations import rounded_duration
from benchflow.base.plaintext import clean_line
from benchflow.review.formatting import count, local_time_with_zone
from benchflow.review.hours.section_medians import ProcedureHours, SectionMedian
from benchflow.review.hours.teardown_hours import TeardownHours
from benchflow.review.hours.worked_time import JobHours, stated_in_all

STATES_NO_TIME = "states no time"
"""The cell of a procedure that states no time for any of the operations."""


def hours_rows(job: JobHours) -> Iterator[tuple[str, ...]]:
    """The table of a job, its head first: section, worked, of that reworked, pauses, stated by the procedure."""
    yield "Section", "Worked", "Of it redone", "Pauses", "Procedure, at least"
    for section in job.sections:
        finished = "" if section.complete else f" ({section.finished} of {section.operations} done)"
        figures = (section.worked, section.redone, section.paused)
        stated = _stated(section.stated) if section.finished else ""
        yield f"{section.title}{finished}", *map(_or_blank, figures), stated
    outside = job.paused - sum(section.paused for section in job.sections)
    yield "Between operations", _or_blank(job.between), "", _or_blank(outside), ""
    redone = sum(section.redone for section in job.sections)
    in_all = stated_in_all(job.sections) if any(section.finished for section in job.sections) else 0.0
    yield "Total", rounded_duration(job.worked), _or_blank(redone), _or_blank(job.paused), _stated(in_all)


def _stated(seconds: float | None) -> str:
    return STATES_NO_TIME if seconds is None else _or_blank(seconds)


def _or_blank(seconds: float) -> str:
    return rounded_duration(seconds) if seconds >= 0.5 else ""


def hours_remarks(job: JobHours) -> Iterator[str]:
    """The lines below the table: people, the longest pauses within an operation, remarks and the rule."""
    if len(job.by_person) > 1:
        people = sorted(job.by_person.items(), key=lambda one: -one[1])
        yield "By person: " + ", ".join(f"{name} {rounded_duration(seconds)}" for name, seconds in people) + "."
    for pause in job.longest_pauses:
        until = local_time_with_zone(pause.until)
        yield f"“{pause.title}” was left for {rounded_duration(pause.seconds)}, until {until}. That is a pause."
    yield from job.remarks
    yield job.rule


def job_hours_lines(job: JobHours) -> Iterator[str]:
    """The hours of one job for the terminal."""
    yield f"Hours of {clean_line(job.unit)}: {clean_line(job.title)} ({job.procedure}, revision {job.revision})"
    opened = local_time_with_zone(job.opened)
    if job.closed is None:
        yield f"Started {opened}. The log has no end of the job."
    else:
        yield f"{opened} to {local_time_with_zone(job.closed)}"
    yield ""
    yield from _aligned(tuple(hours_rows(job)))
    yield ""
    yield from hours_remarks(job)


def procedure_hours_lines(found: ProcedureHours) -> Iterator[str]:
    """The medians of one procedure for the terminal."""
    simulated = ", simulated" if found.simulated else ""
    revisions = ", ".join(found.revisions)
    yield f"{clean_line(found.title)} ({found.procedure}, revision {revisions}): {count(found.jobs, 'job')}{simulated}"
    yield ""
    rows: list[tuple[str, ...]] = [("Section", "Jobs", "Median", "Shortest", "Longest", "Procedure, at least")]
    rows += [_median_row(section) for section in found.sections]
    if found.total is not None:
        rows.append(_median_row(found.total))
    yield from _aligned(rows)
    yield ""
    yield "Only sections count in which every operation is finished."
    yield found.rule


def _median_row(one: SectionMedian) -> tuple[str, ...]:
    figures = map(rounded_duration, (one.median, one.shortest, one.longest))
    return one.title, str(one.jobs), *figures, _stated(one.stated)


def _aligned(rows: Sequence[tuple[str, ...]]) -> Iterator[str]:
    """The rows as columns: the first one at the left, figures at the right."""
    widths = [max(len(clean_line(row[column])) for row in rows) for column in range(len(rows[0]))]
    for row in rows:
        first, *rest = (clean_line(cell) for cell in row)
        figures = (cell.rjust(width) for cell, width in zip(rest, widths[1:], strict=True))
        yield "  ".join([first.ljust(widths[0]), *figures]).rstrip()


CSV_HEAD = (
    "unit", "procedure", "revision", "log", "opened", "closed", "simulated", "section", "title", "operations",
    "finished", "worked_min", "redone_min", "paused_min", "stated_min",
)  # fmt: skip


def hours_csv(jobs: Iterable[JobHours], teardowns: Iterable[TeardownHours] = ()) -> str:
    """One row for each section of each job, in minutes, and one for the time between operations.

    A teardown has one row.
    """
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(CSV_HEAD)
    for job in jobs:
        head = (
            clean_line(job.unit), job.procedure, job.revision, job.log, job.opened, job.closed or "", job.simulated
        )  # fmt: skip
        for one in job.sections:
            stated = "" if one.stated is None else _minutes(one.stated)
            figures = _minutes(one.worked), _minutes(one.redone), _minutes(one.paused), stated
            writer.writerow((*head, one.section, one.title, one.operations, one.finished, *figures))
        outside = job.paused - sum(section.paused for section in job.sections)
        writer.writerow((*head, "", "between operations", "", "", _minutes(job.between), "", _minutes(outside), ""))
    for each in teardowns:
        head = (clean_line(each.unit), "", "", each.log, each.opened, each.closed or "", each.simulated)
        cells = ("teardown", clean_line(each.what), each.lines, each.lines, _minutes(each.worked), "")
        writer.writerow((*head, *cells, _minutes(each.paused), ""))
    return out.getvalue()


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:.1f}"
