"""Finds the values of a series that lie apart from the others: the generalized ESD test of Rosner.

Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.3. It finds several outliers, also where one hides
another, and needs no limits that an outlier has widened.
"""

from collections.abc import Sequence
from math import fsum, sqrt
from typing import Final

from benchflow.review.many.student_t import grubbs_value

CHANCE: Final = 0.01
"""One of a hundred series of pure scatter has an outlier by this test (common practice, no source)."""
FEWEST: Final = 4
"""For fewer values nobody knows which one is odd (own rule)."""
MOST_SHARE: Final = 5
"""At most one value in five is an outlier: more of them are a second level, not outliers (own rule)."""
STEPS: Final = 2
"""A value within this many steps of the last digit is not an outlier: readings in coarse steps are often all equal."""


def outlying_places(values: Sequence[float], step: float = 0.0, chance: float = CHANCE) -> tuple[int, ...]:
    """The places, from 0, of the outliers. ``step`` is the step of the last digit of the values."""
    if len(values) < FEWEST:
        return ()
    left = list(range(len(values)))
    removed: list[int] = []
    outliers = 0
    for number in range(1, max(1, len(values) // MOST_SHARE) + 1):
        mean = fsum(values[place] for place in left) / len(left)
        spread = sqrt(fsum((values[place] - mean) ** 2 for place in left) / (len(left) - 1))
        farthest = max(left, key=lambda place: abs(values[place] - mean))
        distance = abs(values[farthest] - mean)
        if spread <= 1e-12 * abs(mean):
            break
        passes = distance / spread > grubbs_value(len(left), chance)
        left.remove(farthest)
        removed.append(farthest)
        others = fsum(values[place] for place in left) / len(left)
        if passes and not within_steps(values[farthest], others, step):
            outliers = number
    return tuple(sorted(removed[:outliers]))


def within_steps(value: float, centre: float, step: float) -> bool:
    """True if ``value`` is so near the centre that the step of the last digit explains the distance."""
    return abs(value - centre) <= STEPS * step * (1 + 1e-9)
