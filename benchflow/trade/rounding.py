"""Rounding of exact numbers for people, and exact numbers from and to quantities."""

from decimal import ROUND_HALF_UP, Context, Decimal
from fractions import Fraction

from benchflow.quantity import Quantity, base, difference_factor
from benchflow.quantity.arithmetic import decimal, from_base
from benchflow.quantity.shown import with_unit

_LONG = Context(prec=60, rounding=ROUND_HALF_UP)


def places(value: Decimal | Fraction | float, count: int) -> Decimal:
    """``value`` rounded half up to ``count`` decimal places; -1 rounds to tens, -2 to hundreds."""
    number = value if isinstance(value, Decimal) else decimal(Fraction(value))
    rounded = number.quantize(Decimal(1).scaleb(-count), context=_LONG)
    return rounded.quantize(Decimal(1), context=_LONG) if count < 0 else rounded


def significant(value: Decimal | Fraction | float, digits: int) -> Decimal:
    """``value`` rounded half up to ``digits`` significant digits. Trailing zeros stay: 13.96 to 3 digits is 14.0."""
    number = value if isinstance(value, Decimal) else decimal(Fraction(value))
    if number == 0:
        return Decimal(0)
    rounded = places(number, digits - 1 - number.adjusted())
    # 9.996 to three digits is 10.0, not 10.00
    return places(number, digits - 1 - rounded.adjusted())


def plain(value: Decimal) -> Decimal:
    """``value`` without trailing zeros and without an exponent: 1E+2 becomes 100."""
    stripped = value.normalize(_LONG)
    exponent = stripped.as_tuple().exponent
    return stripped.quantize(Decimal(1), context=_LONG) if isinstance(exponent, int) and exponent > 0 else stripped


def amount(quantity: Quantity, unit: str) -> Fraction:
    """The exact number of ``quantity`` in ``unit``. A temperature is a point on the scale, not a difference."""
    return from_base(base(quantity), unit)


def width(quantity: Quantity) -> Fraction:
    """A difference, tolerance or uncertainty in its base unit, exact: 1 °F is 5/9 K."""
    return Fraction(quantity.value) * difference_factor(quantity.unit)


def in_unit(value: Fraction, unit: str, *, difference: bool = False) -> Quantity:
    """``value``, a number in the base unit, as a quantity in ``unit``: exact, or 28 digits where it does not end.

    ``difference`` is for a difference of temperatures.
    """
    number = decimal(from_base(value, unit, difference=difference))
    return Quantity(number, unit, with_unit(f"{number:f}", unit))
