"""Typed text as a value: a quantity in the unit of its field, or a whole number."""

from benchflow.quantity import Quantity, QuantityError, convert, parse_quantity
from benchflow.session.context import unreadable_quantity
from benchflow.session.refusal import Refusal


def read_quantity(text: str, unit: str, dimension: str, name: str) -> Quantity | Refusal:
    """The typed quantity in ``unit``, with its text as typed; a refusal if it is not of this ``dimension``."""
    try:
        typed = parse_quantity(text, dimension=dimension)
        return convert(typed, unit) if unit else typed
    except QuantityError as error:
        return unreadable_quantity(error, name)


def whole_number(given: int | str) -> int | None:
    """The number of ``3`` or ``"3"``; ``None`` if it is not a whole number."""
    try:
        return int(given)
    except ValueError:
        return None
