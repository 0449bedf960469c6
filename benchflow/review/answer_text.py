"""Writes reviews, traces, trends, comparisons and filing reports as lines of text for a terminal."""

from collections.abc import Iterator

from benchflow.base.durations import rounded_duration
from benchflow.review.archive.filing_report import FilingReport
from benchflow.review.evidence.assessment import EVERYTHING, Review, ReviewedStep
from benchflow.review.formatting import count, local_time_with_zone
from benchflow.review.many.chart_picture import chart_lines
from benchflow.review.many.comparison import Comparison, Difference
from benchflow.review.many.trace_search import Trace
from benchflow.review.many.trends import OperationDurations, Trend

_FEW = 12
"""Up to this number, the steps without weak points are listed. If there are more, only their number is shown."""


def review_lines(review: Review, *, every: bool = False) -> Iterator[str]:
    """The suspect steps with their weak points and evidence, and the other steps in one line each.

    ``every`` shows all steps with their weak points and evidence.
    """
    yield from (f"NOTE  {warning}" for warning in review.warnings)
    yield _subject_line(review)
    yield from _summary_lines(review)
    for step in review.guards:
        if step.suspect or every:
            yield ""
            yield from _step_lines(step)
    others = [step for step in review.guards if not step.suspect]
    if others and not every:
        yield ""
        yield "Steps that look sound:"
        named = [step for step in others if step.reasons or len(others) <= _FEW]
        for step in named:
            yield f"  {step.number:>3}  {step.title} ({step.reasons[0].words if step.reasons else 'no weak point'})"
        if len(named) < len(others):
            rest = len(others) - len(named)
            yield f"  {'and ' if named else ''}{rest} more without a weak point (--all shows them)"
    if review.not_here:
        yield ""
        yield f"Not part of this build: {', '.join(review.not_here)}."


def _subject_line(review: Review) -> str:
    if review.complaint == EVERYTHING:
        return "No complaint was named. All steps of the build are reviewed."
    return (
        f"Complaint: {review.complaint}"
        if _names_a_failure(review)
        else review.complaint[:1].upper() + review.complaint[1:]
    )


def _names_a_failure(review: Review) -> bool:
    """True if the complaint is a failure of the procedure, not a search or all steps."""
    return any(failure.text == review.complaint for failure in review.failures)


def _summary_lines(review: Review) -> Iterator[str]:
    which = " that should have prevented it" if _names_a_failure(review) else ""
    steps, suspects = len(review.guards), len(review.suspects)
    if not steps:
        if not review.not_here:
            yield "No step of this build should have prevented it." if which else "No step of this build was found."
    elif suspects:
        verb, order = ("is", "") if suspects == 1 else ("are", ", the weakest first")
        yield f"{suspects} of {count(steps, 'step')}{which} {verb} suspect{order}:"
    elif steps == 1:
        yield f"The step{which or ' found'} looks sound."
    else:
        yield f"All {steps} steps{which} look sound."


def _step_lines(step: ReviewedStep) -> Iterator[str]:
    yield f"{step.number:>3}  {step.title}  [{step.operation}]"
    for point in step.reasons:
        where = f"  (event {point.seq})" if point.seq is not None else ""
        yield f"     {point.grade:>3}  {point.title.upper()}: {point.words}{where}"
    for evidence in step.known:
        yield f"          {evidence.words}"


def trace_lines(result: Trace) -> Iterator[str]:
    """The jobs that a trace found, the weakest first, with their reasons."""
    order = ", the weakest first" if len(result.touched) > 1 else ""
    yield f"{result.asked}: {len(result.touched)} of {count(result.looked_at, 'job')} affected{order}"
    yield from (f"NOTE  {note}" for note in result.notes)
    for session in result.touched:
        where = f"{session.bench}: {session.path}" if session.bench else session.path
        yield ""
        state = "closed" if session.closed else "still open"
        opened = local_time_with_zone(session.opened_at)
        yield f"{session.unit or session.session[:16]}  {opened}, {session.by}, {state}"
        yield f"     {where}"
        for point in session.reasons[:6]:
            seq = f"  (event {point.seq})" if point.seq is not None else ""
            yield f"     {point.grade:>3}  {point.title}: {point.words}{seq}"
        if len(session.reasons) > 6:
            yield f"          and {len(session.reasons) - 6} more"
    yield from _left_out_lines(result.left_out)


def _left_out_lines(paths: tuple[str, ...]) -> Iterator[str]:
    if paths:
        yield ""
        yield f"{count(len(paths), 'file')} left out, and not searched:"
        yield from (f"  {path}" for path in paths)


def trend_lines(trend: Trend) -> Iterator[str]:
    """Each series as a chart, followed by sentences about it."""
    if not trend.series:
        yield "No build has this reading."
    for series in trend.series:
        yield f"{series.name}, {count(len(series.points), 'build')}"
        yield from chart_lines(series)
        yield from (f"  {sentence}" for sentence in series.telling)
        yield ""
    yield from (f"NOTE  {note}" for note in trend.notes)


def duration_lines(durations: OperationDurations) -> Iterator[str]:
    """A table of the durations of operations."""
    yield f"{'operation':<32}{'builds':>7}{'shortest':>12}{'median':>12}{'longest':>12}"
    for row in durations.operations:
        yield (
            f"{row.operation:<32}{row.builds:>7}{rounded_duration(row.shortest):>12}{rounded_duration(row.middle):>12}"
            f"{rounded_duration(row.longest):>12}  {row.longest_unit}"
        )
    yield from (f"NOTE  {note}" for note in durations.notes)


def comparison_lines(comparison: Comparison) -> Iterator[str]:
    """The differences, then the readings and the working times of both builds."""
    for name, side in (("left", comparison.left), ("right", comparison.right)):
        opened = local_time_with_zone(side.opened_at)
        yield f"{name:<6} {side.unit}: {side.procedure} revision {side.revision}, {side.by}, {opened}"
    yield from (f"NOTE  {warning}" for warning in comparison.warnings)
    yield ""
    if comparison.first is None:
        yield "Only the figures of readings differ."
    for place, difference in enumerate(comparison.differences):
        if place == 0:
            yield "First difference:"
        elif place == 1:
            yield "Later differences:"
        yield from _difference_lines(difference)
    yield ""
    yield f"{'reading':<34} {'left':>14} {'right':>14} {'difference':>14}"
    for pair in comparison.readings:
        label = pair.label
        if len(label) > 34:
            yield label
            label = ""
        yield f"{label:<34} {pair.left or '-':>14} {pair.right or '-':>14} {pair.by or '':>14}".rstrip()
    yield ""
    yield f"{'working time':<44}{'left':>12}{'right':>12}"
    for time in comparison.times:
        left, right = ("-" if side is None else rounded_duration(side) for side in (time.left, time.right))
        yield f"{time.title[:42]:<44}{left:>12}{right:>12}"


def _difference_lines(difference: Difference) -> Iterator[str]:
    where = f"{difference.title}: " if difference.title else ""
    yield f"  {where}{difference.label}: {difference.left or 'none'} | {difference.right or 'none'}"


def filing_lines(report: FilingReport) -> Iterator[str]:
    """The numbers of logs filed in the archive, then each log that needs attention: left out, missing and so on."""
    yield (
        f"{count(report.looked_at, 'log')} checked: {report.new} new, {report.grown} grown, "
        f"{report.unchanged} unchanged, {count(report.copies, 'copy', 'copies')}; {count(report.events, 'event')} read."
    )
    yield from (f"left out: {left.path} {left.why}" for left in report.left_out)
    yield from (f"behind: {one.path} {one.why}" for one in report.behind)
    yield from (f"FORKED: {one.path} {one.why}" for one in report.forked)
    for path in report.failing:
        yield f"fails the audit: {path} could not have been logged so by the rules. See: benchflow audit {path}"
    for path in report.newer:
        yield f"partly read: {path} is from another version of benchflow. Events unknown to this version are left out."
    for path in report.gone:
        yield f"gone: {path} does not exist any more. Its job stays in the archive. archive --rebuild removes it."
