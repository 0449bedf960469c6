"""Readings that are so far from what is expected that they were probably misread, mistyped, or read in another unit."""

from fractions import Fraction

from benchflow.quantity import Interval, Quantity, base
from benchflow.quantity.arithmetic import unit_with_symbol
from benchflow.quantity.units import BY_SYMBOL, Unit

FAR = 10
"""A reading is far off if it is ten times the largest, or a tenth of the smallest expected value.

Source: common practice (a slipped decimal point), no source.
"""


def other_unit_of(reading: Quantity, expected: Interval) -> str:
    """The unit in which the same number would be inside ``expected``; empty for a reading inside, or without one."""
    if not reading.unit or expected.distance(base(reading)) == 0:
        return ""
    own, number = unit_with_symbol(reading.unit), Fraction(reading.value)
    for unit in BY_SYMBOL.values():
        if unit.dimension == own.dimension and unit.factor != own.factor and _inside(number, unit, expected):
            return unit.symbol
    return ""


def _inside(number: Fraction, unit: Unit, expected: Interval) -> bool:
    closed = expected.low is not None and expected.high is not None
    return closed and expected.distance(number * unit.factor + unit.offset) == 0


def is_far_off(reading: Quantity, expected: Interval) -> bool:
    """True if the reading is far outside ``expected``, in either direction. Never true for a temperature."""
    if not reading.unit or unit_with_symbol(reading.unit).dimension == "temperature":
        return False
    value, ends = abs(base(reading)), [abs(end) for end in (expected.low, expected.high) if end is not None]
    largest = max(ends) if expected.high is not None and ends else None
    positive = expected.low is not None and expected.low > 0
    smallest = min(ends) if positive or (expected.high is not None and expected.high < 0) else None
    return bool((largest and value > largest * FAR) or (smallest and value * FAR < smallest))
