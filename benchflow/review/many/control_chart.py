"""Control charts: individuals and moving ranges of a reading over the builds, with runs and drift.

Constants for moving ranges of two, from the published tables of control chart constants (d2 = 1.128 and
D4 = 3.267; E2 = 3 / d2 = 2.660), as the NIST/SEMATECH e-Handbook of Statistical Methods uses them in section
6.3.2.2. They follow from the normal distribution: d2 = 2 / sqrt(pi), D4 = 1 + 3 sqrt(2 - d2**2) / d2.
"""

from collections.abc import Sequence
from itertools import pairwise
from math import fsum, inf, sqrt
from typing import Final, Literal

from msgspec import Struct

D2: Final = 1.128
E2: Final = 3 / D2
D4: Final = 3.267

RUN: Final = 8
"""This many points in a row on one side of the centre are a shift (Western Electric rules, from memory)."""
TREND_POINTS: Final = 8
TREND_ERRORS: Final = 3.0
"""A slope of this many standard errors or more is a drift (three, as for the limits; common practice, no source)."""


class Limits(Struct, frozen=True):
    """The centre and three-sigma limits of the individuals, and those of their moving ranges."""

    centre: float
    lower: float
    upper: float
    range_centre: float
    range_upper: float

    @property
    def sigma(self) -> float:
        """The standard deviation from one build to the next, estimated from the moving ranges."""
        return self.range_centre / D2


class Drift(Struct, frozen=True):
    """A significant slope of the readings."""

    per_point: float  # the change from one point to the next
    errors: float  # the slope in units of its standard error
    towards: Literal["low", "high"]  # the end of the limit that the readings approach
    points_left: float | None  # number of points until the line reaches that end; None if there is no such end


class Run(Struct, frozen=True):
    """``length`` points in a row on one side of the centre, the last of them at ``end`` (from 0)."""

    end: int
    length: int
    side: Literal["low", "high"]


class Chart(Struct, frozen=True):
    """A control chart. Places of points count from 0.

    If there is a drift, outliers are found by their distance from the drift line.
    """

    values: tuple[float, ...]
    ranges: tuple[float, ...]  # number i is the moving range from point i to point i + 1
    limits: Limits
    outliers: tuple[int, ...]  # places of points outside the limits of the individuals
    jumps: tuple[int, ...]  # places of points whose moving range is above its limit
    runs: tuple[Run, ...]
    drift: Drift | None


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


def chart_of(values: Sequence[float], low: float | None = None, high: float | None = None) -> Chart:
    """The chart of two or more values in their order. ``low`` and ``high`` are the ends of the procedure's limit.

    Raises:
        ValueError: there are fewer than two values.
    """
    limits = limits_of(values)
    ranges = moving_ranges(values)
    drift = drift_of(values, low, high)
    middle = (len(values) - 1) / 2
    level = [value - (drift.per_point * (place - middle) if drift else 0.0) for place, value in enumerate(values)]
    return Chart(
        values=tuple(values),
        ranges=ranges,
        limits=limits,
        outliers=tuple(i for i, v in enumerate(level) if not _is_within(v, limits.lower, limits.upper)),
        jumps=tuple(i + 1 for i, r in enumerate(ranges) if r > limits.range_upper),
        runs=_find_runs(values, limits.centre),
        drift=drift,
    )


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


def drift_of(values: Sequence[float], low: float | None = None, high: float | None = None) -> Drift | None:
    """The drift of ``values``, from a least-squares line over their order; ``None`` where it is not significant."""
    count = len(values)
    if count < TREND_POINTS:
        return None
    mean_place, mean = (count - 1) / 2, sum(values) / count
    spread = sum((place - mean_place) ** 2 for place in range(count))
    slope = sum((place - mean_place) * (value - mean) for place, value in enumerate(values)) / spread
    rest = sum((value - mean - slope * (place - mean_place)) ** 2 for place, value in enumerate(values))
    error = sqrt(rest / (count - 2) / spread)
    errors = abs(slope) / error if error else inf
    # A slope of the size of rounding errors is not a drift.
    if not slope or errors < TREND_ERRORS or abs(slope) * count < 1e-9 * max(abs(mean), 1e-300):
        return None
    end = high if slope > 0 else low
    now = mean + slope * (count - 1 - mean_place)
    left = None if end is None else max(0.0, (end - now) / slope)
    return Drift(slope, errors, "high" if slope > 0 else "low", left)
