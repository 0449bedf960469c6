"""The hours or the distance that an engine has run since a build."""

import re

from benchflow.quantity import Quantity, QuantityError, dimension_of, parse_quantity

_THOUSANDS = re.compile(r"(?<=\d)[ ,](?=\d{3}(?!\d))")


def running_time(text: str) -> Quantity:
    """The hours or the distance in ``text``: ``40 h``, ``1,200 km``. A comma or a space may separate thousands.

    Raises:
        QuantityError: it is no quantity, or neither a time nor a distance.
    """
    quantity = parse_quantity(_THOUSANDS.sub("", text.strip()))
    if dimension_of(quantity.unit) not in ("time", "length") or quantity.value < 0:
        raise QuantityError("wrong-dimension", text, 0, "this is neither hours nor a distance", "write 40 h or 1200 km")
    return quantity
