"""Writes a comparison of two builds as lines of text for a terminal."""

from collections.abc import Iterator

from benchflow.base.durations import rounded_duration
from benchflow.review.formatting import local_time_with_zone
from benchflow.review.many.comparison import Comparison, Difference


def comparison_lines(comparison: Comparison) -> Iterator[str]:
    """The differences, then the readings and the working times of both builds."""
    for name, side in (("left", comparison.left), ("right", comparison.right)):
        opened = local_time_with_zone(side.opened_at)
        yield f"{name:<6} {side.unit}: {side.procedure} revision {side.revision}, {side.by}, {opened}"
    yield from (f"NOTE  {warning}" for warning in comparison.warnings)
    yield ""
    if comparison.first is None:
        yield comparison.without_difference
    section = ""
    for difference in comparison.differences:
        if difference.section != section:
            section = difference.section
            yield f"{section}:"
        yield from _difference_lines(difference)
    yield ""
    yield f"{'reading':<34} {'left':>14} {'right':>14} {'difference':>14}"
    title = ""
    for pair in comparison.readings:
        if pair.title != title:
            title = pair.title
            yield title
        label = f"  {pair.label}" if title else pair.label
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
