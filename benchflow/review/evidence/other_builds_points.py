"""Finds values that stand out from the same values of the shop's other builds by the same procedure.

What is usual is known only from some other builds, and a build has many values: the more of them, the larger a
distance chance alone gives. The size of a point allows for both. It is the distance in a normal distribution that is as
unlikely, by Student's t for one new value and Bonferroni's inequality for the number of values.
"""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from math import erfc, fsum, sqrt
from typing import Final

from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity, QuantityError, convert
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.evidence.shop_history import ShopHistory
from benchflow.review.formatting import shown, shown_reading
from benchflow.review.log.facts import ReadingFact
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.many.student_t import two_sided_probability

FEWEST_BUILDS: Final = 8
"""With fewer other builds, nobody knows what is usual."""

_LEAST_DISTANCE: Final = 2.0
"""A smaller distance, in standard deviations, is not mentioned."""

_Place = tuple[str, str, str]  # operation, name and reading


class OtherBuilds:
    """The values of the shop's other builds, beside those of one log."""

    def __init__(self, log: LoadedLog, history: ShopHistory) -> None:
        session = log.facts.session
        self._others: dict[_Place, list[tuple[str, str]]] = {}
        for each in history.readings(log.plan.procedure.id, session.session, session.simulated):
            self._others.setdefault((each.operation, each.name, each.slot), []).append((each.value, each.unit))
        self._values: dict[str, list[ReadingFact]] = {}
        for reading in log.facts.readings:
            if reading.in_force and len(self._others.get(_place(reading), ())) >= FEWEST_BUILDS:
                self._values.setdefault(reading.operation, []).append(reading)
        self._compared = sum(map(len, self._values.values()))

    def points(self, step: Step) -> Iterator[WeakPoint]:
        """The values of ``step`` that stand out."""
        for reading in self._values.get(step.id, ()):
            others = _in_unit(self._others[_place(reading)], reading.unit)
            size = distance(float(reading.value), [float(value) for value in others], _step_of(others), self._compared)
            if size < _LEAST_DISTANCE:
                continue
            slot = f", {reading.slot}" if reading.slot not in ("", "1") else ""
            low, high = shown(min(others), ""), shown(max(others), reading.unit)
            words = (
                f"{reading.name}{slot} is {shown_reading(reading)}; {len(others)} other builds of the shop have "
                f"{low} .. {high}"
            )
            yield WeakPoint("odd-among-builds", words, reading.seq, reading.name, size)


def distance(value: float, others: Sequence[float], step: float, compared: int) -> float:
    """How far ``value`` is from ``others``, as a distance in a normal distribution; 0 for fewer than eight others.

    ``step`` is the step of the last digit: the scatter is not taken as less than that of rounding. ``compared`` is the
    number of values that are compared in the build.
    """
    number = len(others)
    if number < FEWEST_BUILDS:
        return 0.0
    mean = fsum(others) / number
    scatter = max(sqrt(fsum((each - mean) ** 2 for each in others) / (number - 1)), step / 2)
    if not scatter:
        return 0.0
    t = abs(value - mean) / (scatter * sqrt(1 + 1 / number))
    return _normal_distance(min(1.0, max(compared, 1) * two_sided_probability(t, number - 1)))


def _normal_distance(chance: float) -> float:
    """The distance that a normal value passes, on either side, with this chance."""
    low, high = 0.0, 40.0
    for _ in range(50):
        middle = (low + high) / 2
        if erfc(middle / sqrt(2)) > chance:
            low = middle
        else:
            high = middle
    return low


def _place(reading: ReadingFact) -> _Place:
    return reading.operation, reading.name, reading.slot


def _in_unit(values: Sequence[tuple[str, str]], unit: str) -> list[Decimal]:
    """The values in ``unit``. Those of another dimension are left out."""
    found: list[Decimal] = []
    for value, written in values:
        try:
            found.append(
                Decimal(value) if written == unit else convert(Quantity(Decimal(value), written, ""), unit).value
            )
        except QuantityError:
            continue
    return found


def _step_of(values: Sequence[Decimal]) -> float:
    """The step of the last digit that any of the values has."""
    exponents = [value.as_tuple().exponent for value in values]
    return 10.0 ** min((each for each in exponents if isinstance(each, int)), default=0)
