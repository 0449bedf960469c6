"""Control charts: individuals and moving ranges of a reading over the builds, with runs and drift.

Constants for moving ranges of two, from the published tables of control chart constants (d2 = 1.128 and
D4 = 3.267), as the NIST/SEMATECH e-Handbook of Statistical Methods uses them in section
6.3.2.2. They follow from the normal distribution: d2 = 2 / sqrt(pi), D4 = 1 + 3 sqrt(2 - d2**2) / d2.
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise
from math import fsum, inf, sqrt
from typing import Final, Literal

from msgspec import Struct

from benchflow.review.many.outlying_values import FEWEST, outlying_places, within_steps
from benchflow.review.many.student_t import two_sided_probability

D2: Final = 1.128
D4: Final = 3.267

RUN: Final = 8
"""This many points in a row on one side of the centre are a shift (Western Electric rules, from memory)."""
TREND_POINTS: Final = 8
DRIFT_CHANCE: Final = 0.01
"""A slope that chance gives in at most this share of histories is a drift (common practice, no source)."""


class Limits(Struct, frozen=True):
    """The centre and three-sigma limits of the individuals, and those of their moving ranges."""

    centre: float
    lower: float
    upper: float
    range_centre: float
    range_upper: float


class Drift(Struct, frozen=True):
    """A slope of the readings. ``by_chance`` is the share of histories of pure scatter with at least this slope."""

    per_point: float  # the change from one point to the next
    errors: float  # the slope in units of its standard error
    towards: Literal["low", "high"]  # the end of the limit that the readings approach
    points_left: float | None  # number of points until the line reaches that end; None if there is no such end
    by_chance: float  # t test of the slope, two-sided

    @property
    def significant(self) -> bool:
        """True if chance seldom gives such a slope."""
        return self.by_chance <= DRIFT_CHANCE


class Run(Struct, frozen=True):
    """``length`` points in a row on one side of the centre, the last of them at ``end`` (from 0)."""

    end: int
    length: int
    side: Literal["low", "high"]


class Chart(Struct, frozen=True):
    """A control chart. Places of points count from 0.

    Outliers do not count for the limits, the runs and the drift: an outlier would widen the limits, and would set the
    others apart from the mean. If there is a drift, outliers are found by their distance from the drift line.
    ``slope`` is the slope, significant or not; ``None`` for too few points.
    """

    values: tuple[float, ...]
    ranges: tuple[float, ...]  # number i is the moving range from point i to point i + 1
    limits: Limits
    outliers: tuple[int, ...]  # places of points that lie apart from the others, or outside the limits of the others
    jumps: tuple[int, ...]  # places of points whose moving range is above its limit
    runs: tuple[Run, ...]
    drift: Drift | None
    slope: Drift | None = None


def limits_of(values: Sequence[float]) -> Limits:
    """The control limits of two or more values.

    Raises:
        ValueError: there are fewer than two values.
    """
    if len(values) < 2:
        raise ValueError("a moving range needs two values")
    ranges = moving_ranges(values)
    centre, mean_range = fsum(values) / len(values), fsum(ranges) / len(ranges)
    width = 3 * mean_range / D2
    return Limits(centre, centre - width, centre + width, mean_range, D4 * mean_range)


def moving_ranges(values: Sequence[float]) -> tuple[float, ...]:
    """The distance of each value from the one before it."""
    return tuple(abs(later - earlier) for earlier, later in pairwise(values))


def chart_of(values: Sequence[float], low: float | None = None, high: float | None = None, step: float = 0.0) -> Chart:
    """The chart of two or more values in their order. ``low`` and ``high`` are the ends of the procedure's limit.

    ``step`` is the step of the last digit of the values. A distance of a few steps is not an outlier.

    Raises:
        ValueError: there are fewer than two values.
    """
    odd, level = outlying_places(values, step), tuple(values)
    slope = slope_of(values, low, high, odd)
    if slope is not None and slope.significant:
        odd = outlying_places(_without_slope(values, slope), step)
        slope = slope_of(values, low, high, odd)
    drift = slope if slope is not None and slope.significant else None
    if drift is not None:
        level = _without_slope(values, drift)
    limits = _limits_without(values, odd)
    odd = tuple(sorted({*odd, *_between_jumps(level, limits, step)}))
    limits = _limits_without(values, odd)
    ranges = moving_ranges(values)
    outside = {
        place
        for place, value in enumerate(level)
        if not _is_within(value, limits.lower, limits.upper) and not within_steps(value, limits.centre, step)
    }
    outliers = tuple(sorted(outside.union(odd)))
    return Chart(
        values=tuple(values),
        ranges=ranges,
        limits=limits,
        outliers=outliers,
        jumps=tuple(i + 1 for i, r in enumerate(ranges) if r > limits.range_upper),
        runs=_find_runs(values, limits.centre),
        drift=drift,
        slope=slope,
    )


def _limits_without(values: Sequence[float], odd: Sequence[int]) -> Limits:
    return limits_of([value for place, value in enumerate(values) if place not in odd])


def _between_jumps(values: Sequence[float], limits: Limits, step: float) -> Iterator[int]:
    """The places of single values that the moving range jumps to and back from; at an end, to or from.

    A jump has two sides. The odd one is farther from the centre, and a step of the level has only one jump.
    """
    if len(values) < FEWEST:
        return
    jumps = [later - earlier for earlier, later in pairwise(values)]
    for place, value in enumerate(values):
        sides = ([jumps[place - 1]] if place else []) + ([-jumps[place]] if place < len(jumps) else [])
        beyond = [side for side in sides if abs(side) > limits.range_upper and side * (value - limits.centre) > 0]
        if len(beyond) == len(sides) and not within_steps(value, limits.centre, step):
            nearest = min(sides, key=abs)
            if abs(value - limits.centre) > abs(value - nearest - limits.centre):
                yield place


def _without_slope(values: Sequence[float], slope: Drift) -> tuple[float, ...]:
    """The values with the slope taken out, turned about the middle of the series."""
    middle = (len(values) - 1) / 2
    return tuple(value - slope.per_point * (place - middle) for place, value in enumerate(values))


def _is_within(value: float, low: float, high: float) -> bool:
    """True if ``value`` is from ``low`` to ``high``, with a tolerance for rounding errors."""
    slack = 1e-12 * max(abs(low), abs(high))
    return low - slack <= value <= high + slack


def _find_runs(values: Sequence[float], centre: float) -> tuple[Run, ...]:
    found: list[Run] = []
    length = 0
    before = 0
    for place, value in enumerate([*values, centre]):  # a value on the centre line ends the last run
        side = 0 if _is_within(value, centre, centre) else 1 if value > centre else -1
        if side == before and side:
            length += 1
            continue
        if length >= RUN:
            found.append(Run(place - 1, length, "high" if before > 0 else "low"))
        length, before = 1, side
    return tuple(found)


def slope_of(
    values: Sequence[float], low: float | None = None, high: float | None = None, without: Sequence[int] = ()
) -> Drift | None:
    """The slope of ``values``, from a least-squares line over their order; ``None`` for too few or equal values.

    The places in ``without`` do not count.
    """
    points = [(place, value) for place, value in enumerate(values) if place not in without]
    count = len(points)
    if count < TREND_POINTS:
        return None
    mean_place, mean = fsum(place for place, _ in points) / count, fsum(value for _, value in points) / count
    spread = fsum((place - mean_place) ** 2 for place, _ in points)
    slope = fsum((place - mean_place) * (value - mean) for place, value in points) / spread
    # A slope of the size of rounding errors is not a drift.
    if abs(slope) * count < 1e-9 * max(abs(mean), 1e-300):
        return None
    rest = fsum((value - mean - slope * (place - mean_place)) ** 2 for place, value in points)
    error = sqrt(rest / (count - 2) / spread)
    errors = abs(slope) / error if error else inf
    end = high if slope > 0 else low
    now = mean + slope * (len(values) - 1 - mean_place)
    left = None if end is None else max(0.0, (end - now) / slope)
    by_chance = two_sided_probability(errors, count - 2)
    return Drift(slope, errors, "high" if slope > 0 else "low", left, by_chance)
