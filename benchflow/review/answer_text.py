"""Writes reviews, traces, trends, comparisons and filing reports as lines of text for a terminal."""

from collections.abc import Iterator

from benchflow.base.durations import rounded_duration
from benchflow.review.archive.filing_report import FilingReport
from benchflow.review.evidence.assessment import Review, ReviewedStep
from benchflow.review.formatting import count, local_time_with_zone
from benchflow.review.many.chart_picture import chart_lines
from benchflow.review.many.comparison import Comparison, Difference
from benchflow.review.many.trace_search import Trace
from benchflow.review.many.trends import OperationDurations, Trend

_FEW = 12
"""The largest number of steps without weak points that are listed. Of more, only the number is given."""


def review_lines(found: Review, *, every: bool = False) -> Iterator[str]:
    """The suspect steps in full, with weak points and evidence; each other step in one line. ``every``: all in full."""
    yield from (f"NOTE  {warning}" for warning in found.warnings)
    yield f"Complaint: {found.complaint}"
    yield from _summary_lines(found)
    for step in found.guards:
        if step.suspect or every:
            yield ""
            yield from _step_lines(step)
    others = [step for step in found.guards if not step.suspect]
    if others and not every:
        yield ""
        yield "Steps that look sound:"
        named = [step for step in others if step.reasons or len(others) <= _FEW]
        for step in named:
            yield f"  {step.number:>3}  {step.title} ({step.reasons[0].words if step.reasons else 'no weak point'})"
        if len(named) < len(others):
            rest = len(others) - len(named)
            yield f"  {'and ' if named else ''}{rest} more without a weak point (--all shows them)"
    if found.not_here:
        yield ""
        yield f"Not part of this build: {', '.join(found.not_here)}."


def _summary_lines(found: Review) -> Iterator[str]:
    if not found.guards:
        if not found.not_here:
            yield "No step of this build should have prevented it."
    elif found.suspects:
        suspects = len(found.suspects)
        yield (
            f"{suspects} of {count(len(found.guards), 'step')} that should have prevented it "
            f"{'is' if suspects == 1 else 'are'} suspect, the weakest first:"
        )
    elif len(found.guards) == 1:
        yield "The step that should have prevented it looks sound."
    else:
        yield f"All {len(found.guards)} steps that should have prevented it look sound."


def _step_lines(step: ReviewedStep) -> Iterator[str]:
    yield f"{step.number:>3}  {step.title}  [{step.operation}]"
    for point in step.reasons:
        where = f"  (event {point.seq})" if point.seq is not None else ""
        yield f"     {point.grade:>3}  {point.title.upper()}: {point.words}{where}"
    for evidence in step.known:
        yield f"          {evidence.words}"


def trace_lines(found: Trace) -> Iterator[str]:
    """The sessions that a trace found, the worst first, with their reasons."""
    yield f"{found.asked}: {len(found.touched)} of {count(found.looked_at, 'session')} concerned, the worst first"
    yield from (f"NOTE  {note}" for note in found.notes)
    for one in found.touched:
        where = f"{one.bench}: {one.path}" if one.bench else one.path
        yield ""
        state = "closed" if one.closed else "still open"
        yield f"{one.unit or one.session[:16]}  {local_time_with_zone(one.opened_at)}, {one.by}, {state}"
        yield f"     {where}"
        for point in one.reasons[:6]:
            seq = f"  (event {point.seq})" if point.seq is not None else ""
            yield f"     {point.grade:>3}  {point.title}: {point.words}{seq}"
        if len(one.reasons) > 6:
            yield f"          and {len(one.reasons) - 6} more"
    yield from _left_out_lines(found.left_out)


def _left_out_lines(paths: tuple[str, ...]) -> Iterator[str]:
    if paths:
        yield ""
        yield f"{count(len(paths), 'file')} left out, and not searched:"
        yield from (f"  {path}" for path in paths)


def trend_lines(found: Trend) -> Iterator[str]:
    """Each series as a chart, followed by sentences about it."""
    if not found.series:
        yield "No build has this reading."
    for series in found.series:
        yield f"{series.name}, {count(len(series.points), 'build')}"
        yield from chart_lines(series)
        yield from (f"  {sentence}" for sentence in series.telling)
        yield ""
    yield from (f"NOTE  {note}" for note in found.notes)


def duration_lines(found: OperationDurations) -> Iterator[str]:
    """A table of the durations of operations."""
    yield f"{'operation':<32}{'builds':>7}{'shortest':>12}{'median':>12}{'longest':>12}"
    for one in found.operations:
        yield (
            f"{one.operation:<32}{one.builds:>7}{rounded_duration(one.shortest):>12}{rounded_duration(one.middle):>12}"
            f"{rounded_duration(one.longest):>12}  {one.longest_unit}"
        )
    yield from (f"NOTE  {note}" for note in found.notes)


def comparison_lines(found: Comparison) -> Iterator[str]:
    """The differences, then the readings and the working times of both builds."""
    for name, side in (("left", found.left), ("right", found.right)):
        opened = local_time_with_zone(side.opened_at)
        yield f"{name:<6} {side.unit}: {side.procedure} revision {side.revision}, {side.by}, {opened}"
    yield from (f"NOTE  {warning}" for warning in found.warnings)
    yield ""
    if found.first is None:
        yield "Only the figures of readings differ."
    for place, difference in enumerate(found.differences):
        if place == 0:
            yield "First difference:"
        elif place == 1:
            yield "Later differences:"
        yield from _difference_lines(difference)
    yield ""
    yield f"{'reading':<34} {'left':>14} {'right':>14} {'difference':>14}"
    for pair in found.readings:
        name = f"{pair.name} {pair.slot if pair.slot not in ('', '1') else ''}".strip()
        yield f"{name:<34} {pair.left or '-':>14} {pair.right or '-':>14} {pair.by or '':>14}".rstrip()
    yield ""
    yield f"{'working time':<44}{'left':>12}{'right':>12}"
    for time in found.times:
        left, right = ("-" if side is None else rounded_duration(side) for side in (time.left, time.right))
        yield f"{time.title[:42]:<44}{left:>12}{right:>12}"


def _difference_lines(difference: Difference) -> Iterator[str]:
    where = f"{difference.title}: " if difference.title else ""
    what = what_differs(difference)
    yield f"  {where}{what}: {difference.left or 'none'} | {difference.right or 'none'}"


def what_differs(difference: Difference) -> str:
    """The subject of a difference, without its operation: ``lot of corner-sealant``, ``working time``."""
    return _WHAT.get(difference.kind, "{}").format(difference.what)


_WHAT = {
    "deviation": "deviation from {}", "lot": "lot of {}", "signature": "signed as {}", "instrument": "{} used",
    "start": "{} at the start",
}  # fmt: skip


def filing_lines(report: FilingReport) -> Iterator[str]:
    """The numbers of logs filed in the archive, then each log that was left out, partly read or missing."""
    yield (
        f"{count(report.looked_at, 'log')} checked: {report.new} new, {report.grown} grown, "
        f"{report.unchanged} unchanged, {count(report.copies, 'copy', 'copies')}; {count(report.events, 'event')} read."
    )
    yield from (f"left out: {left.path} {left.why}" for left in report.left_out)
    for path in report.newer:
        yield f"partly read: another version of benchflow wrote {path}; what this version cannot read is left out"
    for path in report.gone:
        yield f"gone: {path} does not exist any more; its session stays in the archive (archive --rebuild removes it)"
