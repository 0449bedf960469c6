"""Checks quantities and limits that are printed in two units, such as ``29.5 ft-lb (40 N·m)``.

The two values must agree within half a step of the last printed digit of the *coarser* value. For example
``20 N·m (15.0 ft-lb)`` agrees, because 15.0 ft-lb is 20.34 N·m and the coarser value is printed in whole newton metres.
"""

from collections.abc import Callable
from fractions import Fraction

from benchflow.quantity.arithmetic import base, difference_factor, dimension_of
from benchflow.quantity.numerals import skip_space
from benchflow.quantity.shown import show, show_converted
from benchflow.quantity.types import Quantity, QuantityError


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


def check_agreement(text: str, at: int, first: Quantity, second: Quantity) -> None:
    """Check that two printed values agree within half a step of the last digit of the coarser one.

    Raises:
        QuantityError: the values disagree (``disagreeing-units``), or have different dimensions (``wrong-dimension``).
    """
    check_same_dimension(text, at, first, second)
    half = max(_last_digit_step(first), _last_digit_step(second)) / 2
    if abs(base(first) - base(second)) <= half:
        return
    why = f"{show(first)} is {show_converted(first, second.unit)}, but {show(second)} is printed"
    raise QuantityError("disagreeing-units", text, at, why, "check both in the source: one is a misprint")


def check_same_dimension(text: str, at: int, first: Quantity, second: Quantity) -> None:
    """Check that two quantities have the same dimension.

    Raises:
        QuantityError: the dimensions differ (``wrong-dimension``).
    """
    if dimension_of(first.unit) != dimension_of(second.unit):
        why = f"the units {first.unit or '(none)'} and {second.unit or '(none)'} do not measure the same thing"
        raise QuantityError("wrong-dimension", text, at, why, "write both in units of the same dimension")


def _last_digit_step(q: Quantity) -> Fraction:
    """Return the value of one step of the last printed digit, in the base unit."""
    exponent = q.value.as_tuple().exponent
    return Fraction(10) ** (exponent if isinstance(exponent, int) else 0) * difference_factor(q.unit)
