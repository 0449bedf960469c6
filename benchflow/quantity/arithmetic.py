"""Base values, conversion, and where a value lies in a limit: exact, through fractions."""

from decimal import ROUND_HALF_EVEN, Context, Decimal
from fractions import Fraction
from typing import Literal

from benchflow.quantity import units
from benchflow.quantity.numerals import finite
from benchflow.quantity.types import Limit, Quantity, QuantityError
from benchflow.quantity.units import Unit

_COUNT = Unit("", "", Fraction(1))
_28 = Context(prec=28, rounding=ROUND_HALF_EVEN)
"""What has no end as a decimal is rounded correctly to 28 significant digits, once."""


def known(symbol: str) -> Unit:
    """The unit of a canonical symbol. Raises ``QuantityError`` for anything else."""
    unit = units.BY_SYMBOL.get(symbol)
    if unit is None:
        near = units.nearest(symbol)
        hint = f"did you mean {near}?" if near else "write one of the trade's units"
        raise QuantityError("bad-quantity", symbol, 0, "no unit known here", hint)
    return unit


def dimension_of(unit: str) -> str:
    """``length``, ``torque``, ``angle``, ...; ``""`` for a bare count (``unit=""``)."""
    return known(unit).dimension if unit else ""


def difference_factor(unit: str) -> Fraction:
    """Base units in a *difference* of one ``unit``: 5/9 (K) for °F, where :func:`base` would add the offset."""
    return known(unit).factor if unit else Fraction(1)


def base(q: Quantity) -> Fraction:
    """The exact value in the dimension's base unit: m, N·m, °, K, s, N, Pa, kg, m³, ...

    A value of 28 digits is one that :func:`convert` rounded. It comes back as the simplest fraction within
    that rounding, in its own unit or in the base's, which is what it was before: 100 N·m kept in ft-lb is
    100 N·m again, and lies on a limit of 100 N·m, not beside it. (Sure for what has five digits or fewer and a
    short factor; 2294.3 psi kept in bar may stay off by one part in 10²⁸.)
    """
    value = Fraction(q.value)
    unit = known(q.unit) if q.unit else _COUNT
    exact = value * unit.factor + unit.offset if unit.offset else value * unit.factor
    if len(q.value.as_tuple().digits) < _28.prec:
        return exact
    half = _half_digit(q.value)
    own, of_base = simplest_within(value, half), simplest_within(exact, half * unit.factor)
    return own * unit.factor + unit.offset if own.denominator < of_base.denominator else of_base


def _half_digit(value: Decimal) -> Fraction:
    exponent = value.as_tuple().exponent
    return Fraction(10) ** (exponent if isinstance(exponent, int) else 0) / 2


def simplest_within(value: Fraction, half: Fraction) -> Fraction:
    """The fraction of the smallest denominator in ``value ± half`` (by continued fractions; from memory)."""
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
    """The other way: a base value in ``unit``. ``difference`` leaves a temperature's offset out."""
    if not unit:
        return value
    wanted = known(unit)
    return value / wanted.factor if difference else (value - wanted.offset) / wanted.factor


def decimal(value: Fraction) -> Decimal:
    """Exact where the decimal has an end; else correctly rounded to 28 significant digits."""
    exact = finite(value)
    return exact if exact is not None else _28.divide(Decimal(value.numerator), Decimal(value.denominator))


def convert(q: Quantity, unit: str, *, difference: bool = False) -> Quantity:
    """The same quantity in another unit, ``entered`` kept. ``difference`` is for temperature differences.

    Raises ``QuantityError`` (``wrong-dimension``) where the units measure different things.
    """
    if unit == q.unit:
        return q
    same_dimension(q, unit)
    start = Fraction(q.value) * difference_factor(q.unit) if difference else base(q)
    return Quantity(decimal(from_base(start, unit, difference=difference)), unit, q.entered)


def same_dimension(q: Quantity, unit: str) -> None:
    """Raises ``QuantityError`` unless ``q`` can be expressed in ``unit``."""
    found, wanted = dimension_of(q.unit), dimension_of(unit)
    if found != wanted:
        why = f"{q.unit or 'a plain number'} cannot be turned into {unit or 'a plain number'}"
        raise QuantityError("wrong-dimension", q.entered or f"{q.value} {q.unit}", 0, why)


def position(limit: Limit, q: Quantity, *, difference: bool = False) -> Literal["in", "low", "high"]:
    """Where a value lies: exact, both ends included, whatever the units.

    A reading that :func:`convert` had to round (0.10 mm kept in inches has no end) still lies on its limit.
    ``difference`` says that all of them are temperature differences (18 °C of warming against 40 °F).
    """
    if limit.low is not None and _compare(q, limit.low, difference) < 0:
        return "low"
    if limit.high is not None and _compare(q, limit.high, difference) > 0:
        return "high"
    return "in"


def _compare(a: Quantity, b: Quantity, difference: bool) -> int:
    if a.unit == b.unit:
        return (a.value > b.value) - (a.value < b.value)
    same_dimension(a, b.unit)
    if len(a.value.as_tuple().digits) >= _28.prec:  # rounded once: the end is rounded alike, which keeps the order
        other = convert(b, a.unit, difference=difference).value
        return (a.value > other) - (a.value < other)
    if difference:
        left, right = Fraction(a.value) * difference_factor(a.unit), Fraction(b.value) * difference_factor(b.unit)
    else:
        left, right = base(a), base(b)
    return (left > right) - (left < right)


def seconds(q: Quantity) -> float:
    """A time in seconds. Raises ``QuantityError`` (``wrong-dimension``) for anything else."""
    same_dimension(q, "s")
    return float(base(q))
