"""The hours or the distance that an engine has run since a build."""

import re

from benchflow.quantity import Quantity, QuantityError, dimension_of, parse_quantity

_THOUSANDS = re.compile(r"(?<=\d)[ ,](?=\d{3}(?!\d))")


def hours_or_distance(text: str) -> Quantity:
    """The hours or the distance in ``text``: ``40 h``, ``1,200 km``. A comma or a space may separate thousands.

    Raises:
        QuantityError: it is not a quantity, or neither a time nor a distance.
    """
    try:
        quantity = parse_quantity(_THOUSANDS.sub("", text.strip()))
    except QuantityError as error:
        raise _neither(text, error.at) from error
    if dimension_of(quantity.unit) not in ("time", "length") or quantity.value < 0:
        raise _neither(text, 0)
    return quantity


def known_hours_or_distance(text: str) -> Quantity | None:
    """As :func:`hours_or_distance`; ``None`` if ``text`` is empty or neither hours nor a distance."""
    try:
        return hours_or_distance(text) if text else None
    except QuantityError:
        return None


def _neither(text: str, at: int) -> QuantityError:
    hint = "write hours or a distance: 40 h or 1,200 km"
    return QuantityError("wrong-dimension", text, at, "this is neither hours nor a distance", hint)
