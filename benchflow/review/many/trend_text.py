"""Writes the trend of a reading, and the durations of operations, as lines of text for a terminal."""

from collections.abc import Iterator

from benchflow.base.durations import rounded_duration
from benchflow.review.many.chart_text import chart_lines
from benchflow.review.many.operation_durations import OperationDurations
from benchflow.review.many.trends import Trend


def trend_lines(trend: Trend) -> Iterator[str]:
    """Each series as a chart, followed by sentences about it."""
    if not trend.series:
        yield "No build has this reading."
    for series in trend.series:
        yield series.title
        yield from chart_lines(series)
        yield from (f"  {sentence}" for sentence in series.telling)
        yield ""
    yield from (f"NOTE  {note}" for note in trend.notes)


def duration_lines(durations: OperationDurations) -> Iterator[str]:
    """A table of the durations of operations."""
    procedures = {(row.procedure, row.revision) for row in durations.operations}
    yield f"{'operation':<32}{'builds':>7}{'shortest':>12}{'median':>12}{'longest':>12}"
    for row in durations.operations:
        yield (
            f"{row.operation:<32}{row.builds:>7}{rounded_duration(row.shortest):>12}{rounded_duration(row.middle):>12}"
            f"{rounded_duration(row.longest):>12}  {row.longest_unit}"
            f"{f', {row.procedure} revision {row.revision}' if len(procedures) > 1 else ''}"
        )
    yield from (f"NOTE  {note}" for note in durations.notes)
