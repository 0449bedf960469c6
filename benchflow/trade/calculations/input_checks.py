"""Checks of the inputs of a calculation: range and sign, with a message that says what to do."""

from fractions import Fraction

from benchflow.quantity import Quantity, base, base_of_difference, parse_quantity, show
from benchflow.trade.calculations.result import CalculationError

CHECK_INPUT = "Check the number and its unit."


def require_within(
    field: str, quantity: Quantity, label: str, low: str, high: str, hint: str = CHECK_INPUT
) -> Quantity:
    """Return ``quantity`` if it is within ``low`` and ``high``, which are texts such as ``5 mm``.

    ``label`` is its name in the message, such as ``The bore``. The ranges are wide. They find a wrong unit or a slipped
    decimal point (own rule).

    Raises:
        CalculationError: it is outside.
    """
    first, last = (parse_quantity(end, unit="" if quantity.unit == "" else None) for end in (low, high))
    if not base(first) <= base(quantity) <= base(last):
        raise CalculationError(field, f"{label} must be from {show(first)} to {show(last)}, not {show(quantity)}", hint)
    return quantity


def require_not_negative(field: str, quantity: Quantity, label: str, hint: str = CHECK_INPUT) -> Quantity:
    """Return ``quantity`` if it is not below zero. ``label`` is its name in the message, such as ``The lash``.

    Raises:
        CalculationError: it is below zero.
    """
    if quantity.value < 0:
        raise CalculationError(field, f"{label} cannot be below zero, but it is {show(quantity)}", hint)
    return quantity


def expansion_coefficient(field: str, coefficient: Quantity) -> Fraction:
    """Return a coefficient of expansion per kelvin as an exact number. Metals have 1 to 30 ppm/K.

    Raises:
        CalculationError: it is not from 0 to 200 ppm/K.
    """
    require_within(field, coefficient, "A coefficient of expansion", "0 ppm/K", "200 ppm/K",
                   "Metals have 1 to 30 ppm/K. Steel has about 12, aluminium about 23.")  # fmt: skip
    return base_of_difference(coefficient)
