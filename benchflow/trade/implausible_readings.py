"""Readings that are so far from what is expected that they were probably misread, mistyped, or read in another unit."""

from fractions import Fraction

from benchflow.quantity import Interval, Quantity, base
from benchflow.quantity.arithmetic import unit_with_symbol
from benchflow.quantity.units import BY_SYMBOL, Unit

FAR = 10
"""A reading is far off if it is ten times what is expected, or a tenth of it: a slipped decimal point.

It is also at least twice the largest, or half of the smallest expected value. Source: common practice, no source.
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
    value, low, high = abs(base(reading)), expected.low, expected.high
    if high is not None and high < 0:
        low, high = -high, None if low is None else -low
    positive = low is not None and low > 0
    if low is not None and positive and value * 2 < low and value * FAR <= (low if high is None else high):
        return True
    if high is None:
        return False
    smallest = low if low is not None and positive else max(high, Fraction(0) if low is None else abs(low))
    largest = high if positive else smallest
    return largest > 0 and value > 2 * largest and value >= FAR * smallest
