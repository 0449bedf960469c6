"""Typed text as a value: a quantity in the unit of its field, or a whole number."""

from benchflow.procedure.model import RecordedValue
from benchflow.procedure.plan import Plan
from benchflow.quantity import Quantity, QuantityError, convert, parse_quantity
from benchflow.quantity.two_units import check_absolute_zero
from benchflow.session.context import refuse, unreadable_quantity
from benchflow.session.refusal import Refusal


def read_quantity(text: str, unit: str, dimension: str, name: str) -> Quantity | Refusal:
    """The typed quantity in ``unit``, with its text as typed; a refusal if it is not of this ``dimension``."""
    try:
        typed = parse_quantity(text, dimension=dimension)
        converted = convert(typed, unit) if unit else typed
        check_absolute_zero(text, 0, converted)
        return converted
    except QuantityError as error:
        return unreadable_quantity(error, name)


def read_value(plan: Plan, record: RecordedValue, text: str) -> Quantity | Refusal:
    """The typed reading of a recorded value; a refusal if it is not of its dimension.

    A value in K that a formula uses is a difference. A temperature in °C or °F is refused for it, because its offset
    would count.
    """
    quantity = read_quantity(text, record.unit, record.dimension, record.name)
    if isinstance(quantity, Refusal) or record.unit != "K" or not plan.used_in_formula(record.name):
        return quantity
    typed = parse_quantity(text, dimension=record.dimension)
    if typed.unit == "K":
        return quantity
    message = f"{text.strip()} is a temperature, but {record.ask or record.name} is a difference in K. Enter it in K"
    return refuse("wrong-dimension", message, name=record.name)


def whole_number(given: int | str) -> int | None:
    """The number of ``3`` or ``"3"``; ``None`` if it is not a whole number."""
    try:
        return int(given)
    except ValueError:
        return None
