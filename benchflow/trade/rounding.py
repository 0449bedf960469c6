"""Rounds exact numbers for people, and converts between quantities and exact numbers."""

from decimal import ROUND_HALF_UP, Context, Decimal
from fractions import Fraction

from benchflow.quantity import Quantity, base
from benchflow.quantity.arithmetic import decimal, from_base
from benchflow.quantity.shown import with_unit

_LONG = Context(prec=60, rounding=ROUND_HALF_UP)


def round_to_places(value: Decimal | Fraction | float, count: int) -> Decimal:
    """Return ``value`` rounded to ``count`` decimal places, halves away from zero. -1 rounds to tens."""
    number = value if isinstance(value, Decimal) else decimal(Fraction(value))
    rounded = number.quantize(Decimal(1).scaleb(-count), context=_LONG)
    rounded = rounded.quantize(Decimal(1), context=_LONG) if count < 0 else rounded
    return rounded or abs(rounded)  # zero has no minus sign


def round_inwards(value: Fraction, count: int, *, up: bool) -> Decimal:
    """Return ``value`` rounded to ``count`` decimals: ``up`` for the low end of a range, down for its high end.

    Each value between the rounded ends is between the exact ones.
    """
    steps = value * Fraction(10) ** count
    whole = -((-steps.numerator) // steps.denominator) if up else steps.numerator // steps.denominator
    return Decimal(whole).scaleb(-count)


def round_to_digits(value: Decimal | Fraction | float, digits: int) -> Decimal:
    """Return ``value`` rounded to ``digits`` significant digits, halves away from zero.

    Trailing zeros stay: 13.96 rounded to three digits is 14.0.
    """
    number = value if isinstance(value, Decimal) else decimal(Fraction(value))
    if number == 0:
        return Decimal(0)
    rounded = round_to_places(number, digits - 1 - number.adjusted())
    # 9.996 to three digits is 10.0, not 10.00
    return round_to_places(number, digits - 1 - rounded.adjusted())


def without_trailing_zeros(value: Decimal) -> Decimal:
    """Return ``value`` without trailing zeros and without an exponent: 1E+2 becomes 100."""
    stripped = value.normalize(_LONG)
    exponent = stripped.as_tuple().exponent
    return stripped.quantize(Decimal(1), context=_LONG) if isinstance(exponent, int) and exponent > 0 else stripped


def amount(quantity: Quantity, unit: str) -> Fraction:
    """Return the exact value of ``quantity`` in ``unit``. A temperature is a point on the scale, not a difference.

    Raises:
        QuantityError: there is no such unit.
    """
    return from_base(base(quantity), unit)


def unit_amount(unit: str, base_unit: str) -> float:
    """Return the number of ``base_unit`` in one ``unit``: 25.4 for ``in`` and ``mm``.

    Raises:
        QuantityError: there is no such unit.
    """
    return float(amount(Quantity(Decimal(1), unit, ""), base_unit))


def in_unit(value: Fraction, unit: str, *, difference: bool = False) -> Quantity:
    """Return ``value``, a number in the base unit, as a quantity in ``unit``.

    The result is exact if its decimal is finite, otherwise it has 28 digits. Set ``difference`` for a temperature
    difference.
    """
    number = decimal(from_base(value, unit, difference=difference))
    return Quantity(number, unit, with_unit(f"{number:f}", unit))
