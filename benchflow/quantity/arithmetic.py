"""Converts quantities to base units and other units, and compares them with a limit. Exact, by fractions."""

from decimal import ROUND_HALF_EVEN, Context, Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Literal

from msgspec import Struct

from benchflow.quantity import units
from benchflow.quantity.numerals import (
    MAX_LENGTH,
    Number,
    NumeralError,
    exact_decimal,
    scan_number,
    skip_space,
    uniform,
)
from benchflow.quantity.types import Limit, Quantity, QuantityError
from benchflow.quantity.units import Unit

_COUNT = Unit("", "", Fraction(1))
_DIGITS_28 = Context(prec=28, rounding=ROUND_HALF_EVEN)
"""Rounds a decimal that does not end to 28 significant digits."""


def unit_with_symbol(symbol: str) -> Unit:
    """Return the unit with this canonical symbol.

    Raises:
        QuantityError: there is no such unit.
    """
    unit = units.BY_SYMBOL.get(symbol)
    if unit is None:
        near = units.nearest(symbol)
        hint = f"did you mean {near}?" if near else "write a unit such as mm or N·m"
        raise QuantityError("bad-quantity", symbol, 0, "unknown unit", hint)
    return unit


def dimension_of(unit: str) -> str:
    """Return the dimension of a unit, such as ``length`` or ``torque``; ``""`` for no unit.

    Raises:
        QuantityError: there is no such unit.
    """
    return unit_with_symbol(unit).dimension if unit else ""


def difference_factor(unit: str) -> Fraction:
    """Return the number of base units in a *difference* of one ``unit``, without an offset: 5/9 (K) for °F.

    Raises:
        QuantityError: there is no such unit.
    """
    return unit_with_symbol(unit).factor if unit else Fraction(1)


def base(q: Quantity) -> Fraction:
    """Return the exact value in the base unit of the dimension: m, N·m, °, K, s, N, Pa, kg, m³ ...

    :func:`convert` rounds a decimal that does not end to 28 digits, and keeps ``entered``. The value of such a quantity
    is read from ``entered`` again, if that text means the same value: 100 psi stored in bar is exactly 100 psi again,
    and equal to a limit of 100 psi. Without such a text, the value is the simplest fraction within the rounding, in its
    own unit or in the base unit. Source: our own rule.

    Raises:
        QuantityError: there is no such unit.
    """
    exact = _exact_base(q.value, q.unit)
    if len(q.value.as_tuple().digits) < _DIGITS_28.prec:
        return exact
    value, unit = Fraction(q.value), unit_with_symbol(q.unit) if q.unit else _COUNT
    half = _half_digit(q.value)
    typed = _typed_value(q)
    if typed is not None and abs(typed - exact) <= half * unit.factor:
        return typed
    own, of_base = simplest_fraction_within(value, half), simplest_fraction_within(exact, half * unit.factor)
    return _to_base(own, unit) if own.denominator < of_base.denominator else of_base


@lru_cache(4096)  # the same limits and readings are compared many times
def _exact_base(value: Decimal, unit: str) -> Fraction:
    return _to_base(Fraction(value), unit_with_symbol(unit) if unit else _COUNT)


def _to_base(value: Fraction, unit: Unit) -> Fraction:
    return value * unit.factor + unit.offset if unit.offset else value * unit.factor


def _typed_value(q: Quantity) -> Fraction | None:
    """The exact base value of the text ``entered``; ``None`` if it is not one number with a unit."""
    typed = scan_entered(q)
    return None if typed is None else _to_base(typed[0].exact, typed[1])


def scan_entered(q: Quantity) -> tuple[Number, Unit] | None:
    """The number and the unit of the text ``entered``; ``None`` if it is not one number with a unit.

    A text without a unit has the unit of ``q``.
    """
    return _scan_typed(q.entered[:MAX_LENGTH], q.unit)


@lru_cache(4096)
def _scan_typed(typed: str, unit_of_value: str) -> tuple[Number, Unit] | None:
    text = uniform(typed)
    start = skip_space(text, 0)
    try:
        number, end = scan_number(text, start)
    except NumeralError:
        return None
    spelling = text[end:].split("(")[0].strip()
    unit = units.find(spelling) if spelling else unit_with_symbol(unit_of_value) if unit_of_value else _COUNT
    return None if unit is None else (number, unit)


def _half_digit(value: Decimal) -> Fraction:
    """Return half of one step of the last digit."""
    exponent = value.as_tuple().exponent
    return Fraction(10) ** (exponent if isinstance(exponent, int) else 0) / 2


def simplest_fraction_within(value: Fraction, half: Fraction) -> Fraction:
    """Return the fraction with the smallest denominator in ``value ± half`` (by continued fractions; from memory)."""
    if abs(value) <= half:
        return Fraction(0)
    sign, low, high = (1 if value > 0 else -1), abs(value) - half, abs(value) + half
    a, b, c, d = low.numerator, low.denominator, high.numerator, high.denominator
    p0, q0, p1, q1 = 0, 1, 1, 0
    while True:
        whole = a // b
        if whole * b == a or (whole + 1) * d <= c:
            whole += whole * b != a
            return Fraction(sign * (whole * p1 + p0), whole * q1 + q0)
        p0, q0, p1, q1 = p1, q1, whole * p1 + p0, whole * q1 + q0
        a, b, c, d = d, c - whole * d, b, a - whole * b


def from_base(value: Fraction, unit: str, *, difference: bool = False) -> Fraction:
    """Convert a base value to ``unit``. ``difference`` leaves out the offset of a temperature scale.

    Raises:
        QuantityError: there is no such unit.
    """
    if not unit:
        return value
    target = unit_with_symbol(unit)
    return value / target.factor if difference else (value - target.offset) / target.factor


def decimal(value: Fraction) -> Decimal:
    """Return ``value`` as a decimal: exact if it is finite, otherwise rounded to 28 significant digits."""
    exact = exact_decimal(value)
    return exact if exact is not None else _DIGITS_28.divide(Decimal(value.numerator), Decimal(value.denominator))


def convert(q: Quantity, unit: str, *, difference: bool = False) -> Quantity:
    """Return the same quantity in another unit, with the same ``entered``.

    The value is exact if its decimal is finite, otherwise it has 28 digits. Set ``difference`` for a temperature
    difference.

    Raises:
        QuantityError: the units have different dimensions (``wrong-dimension``), or there is no such unit.
    """
    if unit == q.unit:
        return q
    check_convertible(q, unit)
    start = Fraction(q.value) * difference_factor(q.unit) if difference else base(q)
    return Quantity(decimal(from_base(start, unit, difference=difference)), unit, q.entered)


def check_convertible(q: Quantity, unit: str) -> None:
    """Check that ``q`` can be expressed in ``unit``.

    Raises:
        QuantityError: the units have different dimensions (``wrong-dimension``).
    """
    if dimension_of(q.unit) != dimension_of(unit):
        why = f"a value {_in_unit(q.unit)} cannot be converted to a value {_in_unit(unit)}"
        raise QuantityError("wrong-dimension", q.entered or f"{q.value} {q.unit}", 0, why)


def _in_unit(unit: str) -> str:
    return f"in {unit}" if unit else "without a unit"


class Interval(Struct, frozen=True):
    """A limit in exact base values. An end of ``None`` is open to that side.

    A value equal to an end is inside, except where ``low_open`` or ``high_open`` is set.
    """

    low: Fraction | None
    high: Fraction | None
    low_open: bool = False
    high_open: bool = False

    def is_below(self, other: "Interval") -> bool:
        """True if every value of this interval is below every value of ``other``."""
        return self.high is not None and other.low is not None and self.high < other.low

    def distance(self, value: Fraction) -> Fraction:
        """The distance of a value from the interval; 0 inside of it and at its ends."""
        below = Fraction(0) if self.low is None else self.low - value
        above = Fraction(0) if self.high is None else value - self.high
        return max(below, above, Fraction(0))

    def position(self, value: Fraction) -> Literal["within", "low", "high"]:
        """Compare an exact base value with the interval."""
        if self.low is not None and (value < self.low or (self.low_open and value == self.low)):
            return "low"
        if self.high is not None and (value > self.high or (self.high_open and value == self.high)):
            return "high"
        return "within"


def interval(limit: Limit, *, difference: bool = False, at: Fraction | None = None) -> Interval:
    """Return a limit in exact base values. If it is printed in two columns, the interval covers both.

    Two nominal columns may have a gap between them: 90 ft-lb (120 N·m). Then the interval is that of the column nearest
    to the value ``at``, so that nothing in the gap is within. ``difference`` means that the limit is one of temperature
    differences.
    """

    def exact(end: Quantity | None) -> Fraction | None:
        if end is None:
            return None
        return base_of_difference(end) if difference else base(end)

    low, high = exact(limit.low), exact(limit.high)
    if limit.other is None:
        return Interval(low, high, limit.low_open, limit.high_open)
    own, other = (
        Interval(low, high, limit.low_open, limit.high_open),
        interval(limit.other, difference=difference, at=at),
    )
    if at is not None and (own.is_below(other) or other.is_below(own)):
        return own if own.distance(at) <= other.distance(at) else other
    low_open, high_open = limit.low_open, limit.high_open
    if low is not None and other.low is not None and other.low <= low:
        low, low_open = other.low, other.low_open and (low_open or other.low < low)
    if high is not None and other.high is not None and other.high >= high:
        high, high_open = other.high, other.high_open and (high_open or other.high > high)
    return Interval(low, high, low_open, high_open)


def base_of_difference(q: Quantity) -> Fraction:
    """Return a difference, tolerance or uncertainty as an exact number in its base unit: 1 °F is 5/9 K.

    Raises:
        QuantityError: there is no such unit.
    """
    unit = unit_with_symbol(q.unit) if q.unit else _COUNT
    return base(q) - unit.offset if unit.offset else base(q)


def position(limit: Limit, q: Quantity, *, difference: bool = False) -> Literal["within", "low", "high"]:
    """Compare a value with a limit, in either of its columns. The units may differ.

    The comparison is exact: a reading that is equal to an end stays equal after :func:`convert`, even if its decimal
    had to be rounded (0.10 mm stored in inches). ``difference`` means that all values are temperature differences.

    Raises:
        QuantityError: the dimensions differ (``wrong-dimension``).
    """
    for end in (limit.low, limit.high):
        if end is not None:
            check_convertible(q, end.unit)
    value = base_of_difference(q) if difference else base(q)
    return interval(limit, difference=difference, at=value).position(value)


def seconds(q: Quantity) -> float:
    """Return a time in seconds.

    Raises:
        QuantityError: ``q`` is not a time (``wrong-dimension``).
    """
    check_convertible(q, "s")
    return float(base(q))
