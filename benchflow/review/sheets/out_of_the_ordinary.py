"""What was out of the ordinary in a build, one line each: for the end of a job at the bench."""

from collections.abc import Iterator
from typing import Final

from benchflow.procedure.plan import Step
from benchflow.review.evidence.ranking import GRADE
from benchflow.review.evidence.weak_points import weak_points_of
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.sheets.build_sheet import BuildSheetOperation, build_sheet, exception_lines
from benchflow.session.history.event_text import event_text
from benchflow.session.history.history import known_event
from benchflow.session.history.log_titles import LogTitles
from benchflow.session.state.events import EntryCorrected

LEAST_GRADE: Final = GRADE["window-across"]
"""Weak points below this grade, such as an instrument without a serial number, are usual."""

_ON_THE_SHEET: Final = frozenset({
    "never-done", "not-known", "taken-over", "taken-on-trust", "out-of-limit", "not-proven", "deviation", "self-signed",
    "redone", "fastener-failed",
})  # fmt: skip
"""The weak points that the build sheet lists among its exceptions."""


def out_of_the_ordinary(log: LoadedLog) -> tuple[str, ...]:
    """The exceptions of the build sheet, other weak points, corrections and notes, by operation in the author's order.

    Notes on the whole job come last.
    """
    sheet = build_sheet(log)
    titles = LogTitles(log.plan, None)
    lines: list[str] = []
    for section in sheet.sections:
        for operation in section.operations:
            lines += exception_lines((operation,), known=log.damage is None)
            head = f"{operation.number}  {operation.title}"
            step = log.plan.steps[operation.operation]
            lines += (f"{head}: {text}" for text in _weak_points(log, step))
            lines += (f"{head}: {text}" for text in _corrections(log, operation, titles))
            lines += (f"{head}: note, {note}" for note in operation.notes)
    return (*lines, *(f"Note, {note}" for note in sheet.notes))


def _weak_points(log: LoadedLog, step: Step) -> Iterator[str]:
    for point in weak_points_of(log, step):
        if point.grade >= LEAST_GRADE and point.kind not in _ON_THE_SHEET:
            yield f"{point.title}, {point.words}"


def _corrections(log: LoadedLog, operation: BuildSheetOperation, titles: LogTitles) -> Iterator[str]:
    for line in log.lines:
        event = known_event(line) if line.kind == "corrected" else None
        if isinstance(event, EntryCorrected) and event.operation == operation.operation:
            yield event_text(event, titles)
