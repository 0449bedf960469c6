"""Writes reviews and filing reports as lines of text for a terminal."""

from collections.abc import Iterator

from benchflow.review.archive.filing_report import FilingReport
from benchflow.review.evidence.assessment import EVERYTHING, Review, ReviewedStep
from benchflow.review.formatting import count

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
