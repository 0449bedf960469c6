"""A reading for the eyes. The log keeps every digit; nobody at a bench reads twenty of them."""

from benchflow.quantity import Quantity, QuantityError, parse_quantity, show, show_converted, show_short


def shown(quantity: Quantity) -> str:
    """``0.0457 mm (0.0018 in)``: in the field's unit, to the digits that what was typed can bear, and as it was
    typed where that was another unit."""
    own, typed = show_short(quantity), quantity.entered.strip()
    if not typed or typed.replace(" ", "") == show(quantity).replace(" ", ""):
        return own
    try:
        read = parse_quantity(typed)
        if read.unit != quantity.unit:
            own = show_converted(read, quantity.unit)
    except QuantityError:
        pass  # typed without a unit: it stands in the field's own
    return f"{own} ({typed})"
