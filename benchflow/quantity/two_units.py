"""Checks quantities and limits that are printed in two units, such as ``29.5 ft-lb (40 N·m)``.

The two values must agree within half a rounding step of the *coarser* value. For example ``20 N·m (15.0 ft-lb)``
agrees, because 15.0 ft-lb is 20.34 N·m and the coarser value is printed in whole newton metres. The rounding step is
one step of the last printed digit. Manuals also round to 5 and to 10: an integer of two or more digits that ends in 5
counts as rounded to 5, one that ends in 0 as rounded to 10. That excuses a difference of at most 5 % of the number.
Source: our own rule, from pairs of published manuals.
"""

import re
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from benchflow.quantity.arithmetic import base, base_of_difference, difference_factor, dimension_of, unit_with_symbol
from benchflow.quantity.numerals import skip_space
from benchflow.quantity.shown import show, show_converted
from benchflow.quantity.types import Quantity, QuantityError

EXCUSED_SHARE = Fraction(5, 100)
"""The largest difference, as a share of the number, that rounding to 5 or 10 excuses."""
_ABOUT = re.compile(r"about (?=\S)", re.IGNORECASE)
_OTHER_WORDS_FOR_ABOUT = re.compile(r"(approx(imately|\.)?|ca\.?|circa|roughly|~|≈)(?![^\W\d_])", re.IGNORECASE)


class PrintedNumber(NamedTuple):
    """One number of a printed quantity or limit.

    ``step`` is one step of its last digit in its own unit, zero for a fraction. ``at`` is its index in the text.
    ``is_difference`` is true for a tolerance.
    """

    quantity: Quantity
    step: Fraction
    at: int
    is_difference: bool = False


def rounding_error(printed: PrintedNumber) -> Fraction:
    """Return the largest error of a printed number by rounding, in the base unit."""
    value = abs(Fraction(printed.quantity.value))
    half = printed.step / 2
    if printed.step == 1 and value >= 10 and value % 5 == 0:
        half = max(half, min(Fraction(10 if value % 10 == 0 else 5, 2), EXCUSED_SHARE * value))
    return half * difference_factor(printed.quantity.unit)


def about_end(text: str, plain: str, at: int) -> int | None:
    """Return the index after the word ``about`` at ``at``. ``None`` means that the word is not there.

    Raises:
        QuantityError: there is another word with the same meaning.
    """
    at = skip_space(plain, at)
    found = _ABOUT.match(plain, at)
    if found is not None:
        return found.end()
    other = _OTHER_WORDS_FOR_ABOUT.match(plain, at)
    if other is not None:
        raise QuantityError("bad-quantity", text, at, f"“{other[0]}” is not accepted", "write “about”")
    return None


def check_brackets(text: str, plain: str, i: int, check_entry: Callable[[int], int]) -> int:
    """Check the entries in the brackets at index ``i`` and return the index after them.

    ``check_entry`` checks the entry at an index and returns the index after it.

    Raises:
        QuantityError: the brackets are not closed, or contain something else.
    """
    while i < len(plain) and plain[i] == "(":
        i = check_entry(i + 1)
        i = skip_space(plain, i)
        while plain[i : i + 1] == ";" or plain[i : i + 2] == ", ":
            i = skip_space(plain, check_entry(i + 1))
        if plain[i : i + 1] != ")":
            why = "the bracket is not closed" if i >= len(plain) else "only a quantity is possible in the brackets"
            raise QuantityError("bad-quantity", text, i, why, "write it like 29.5 ft-lb (40 N·m)")
        i = skip_space(plain, i + 1)
    return i


def check_agreement(text: str, first: PrintedNumber, second: PrintedNumber, *, difference: bool | None = False) -> None:
    """Check that two printed numbers agree within half a rounding step of the coarser one.

    ``difference`` is true for differences of temperatures, such as ``5 K (9 °F)``. ``None`` means that it is not known
    yet: the numbers must agree as temperatures or as differences.

    Raises:
        QuantityError: the values disagree (``disagreeing-units``), or have different dimensions (``wrong-dimension``).
    """
    one, other = first.quantity, second.quantity
    check_same_dimension(text, second.at, one, other)
    as_difference = first.is_difference or difference is True
    senses = (base, base_of_difference) if difference is None else (base_of_difference if as_difference else base,)
    allowed = max(rounding_error(first), rounding_error(second))
    if any(abs(exact(one) - exact(other)) <= allowed for exact in senses):
        return
    scaled = any(unit_with_symbol(quantity.unit).offset for quantity in (one, other) if quantity.unit)
    what = "the tolerance " if first.is_difference else "the difference " if as_difference and scaled else ""
    converted = show_converted(one, other.unit, difference=as_difference)
    why = f"{what}{show(one)} is {converted}, but {show(other)} is printed"
    raise QuantityError("disagreeing-units", text, second.at, why, "check both in the source: one is a misprint")


def check_absolute_zero(text: str, at: int, quantity: Quantity) -> None:
    """Check that a temperature on a scale, °C or °F, is not below absolute zero. A number in K can be a difference.

    Raises:
        QuantityError: it is below absolute zero (``bad-quantity``).
    """
    if quantity.unit and unit_with_symbol(quantity.unit).offset and base(quantity) < 0:
        zero = show_converted(Quantity(Decimal("0.00"), "K", "0 K"), quantity.unit)
        why = f"{show(quantity)} is below absolute zero, {zero}"
        raise QuantityError("bad-quantity", text, at, why, "check the number and its sign")


def check_same_dimension(text: str, at: int, first: Quantity, second: Quantity) -> None:
    """Check that two quantities have the same dimension.

    Raises:
        QuantityError: the dimensions differ (``wrong-dimension``).
    """
    if dimension_of(first.unit) != dimension_of(second.unit):
        why = f"the units {first.unit or '(none)'} and {second.unit or '(none)'} do not measure the same thing"
        raise QuantityError("wrong-dimension", text, at, why, "write both in units of the same dimension")
