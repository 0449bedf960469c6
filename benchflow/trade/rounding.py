"""From exact numbers to what a person reads: fractions in base units to quantities, honestly rounded."""

from decimal import ROUND_HALF_UP, Context, Decimal
from fractions import Fraction

from benchflow.quantity import Quantity, base, difference_factor
from benchflow.quantity.arithmetic import decimal, from_base
from benchflow.quantity.shown import with_unit

_LONG = Context(prec=60, rounding=ROUND_HALF_UP)


def places(value: Decimal | Fraction | float, count: int) -> Decimal:
    """Rounded half up to ``count`` decimal places (tens, hundreds where it is negative)."""
    number = value if isinstance(value, Decimal) else decimal(Fraction(value))
    rounded = number.quantize(Decimal(1).scaleb(-count), context=_LONG)
    return rounded.quantize(Decimal(1), context=_LONG) if count < 0 else rounded


def significant(value: Decimal | Fraction | float, digits: int) -> Decimal:
    """Rounded half up to ``digits`` significant digits, trailing zeros kept: 13.96 to 3 is 14.0."""
    number = value if isinstance(value, Decimal) else decimal(Fraction(value))
    if number == 0:
        return Decimal(0)
    rounded = places(number, digits - 1 - number.adjusted())
    # 9.996 to three digits is 10.0, not 10.00
    return places(number, digits - 1 - rounded.adjusted())


def plain(value: Decimal) -> Decimal:
    """Without trailing zeros, and never in powers of ten: 1E+2 is 100."""
    stripped = value.normalize(_LONG)
    exponent = stripped.as_tuple().exponent
    return stripped.quantize(Decimal(1), context=_LONG) if isinstance(exponent, int) and exponent > 0 else stripped


def amount(quantity: Quantity, unit: str) -> Fraction:
    """The number of ``quantity`` in ``unit``, exactly; a temperature as a reading, not a difference."""
    return from_base(base(quantity), unit)


def width(quantity: Quantity) -> Fraction:
    """A difference, a tolerance, an uncertainty in its base unit, exactly: 1 °F is 5/9 K."""
    return Fraction(quantity.value) * difference_factor(quantity.unit)


def in_unit(value: Fraction, unit: str, *, difference: bool = False) -> Quantity:
    """A number in the dimension's base unit as a quantity in ``unit``, exact where it has an end; ``entered``
    is its own text."""
    number = decimal(from_base(value, unit, difference=difference))
    return Quantity(number, unit, with_unit(f"{number:f}", unit))
