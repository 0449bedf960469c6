"""Writes filing reports as lines of text for a terminal."""

from collections.abc import Iterator

from benchflow.review.archive.filing_report import FilingReport
from benchflow.review.formatting import count


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
