"""The text of a reading on the screen, rounded. The log keeps all digits."""

from benchflow.quantity import Quantity, QuantityError, parse_quantity, show, show_converted, show_short


def reading_text(quantity: Quantity) -> str:
    """Return a reading in the unit of its field: ``0.0457 mm (0.0018 in)``.

    It is rounded to the precision of the typed text. The typed text follows in parentheses if it differs.
    """
    own, typed = show_short(quantity), quantity.entered.strip()
    if not typed or typed.replace(" ", "") == show(quantity).replace(" ", ""):
        return own
    try:
        read = parse_quantity(typed)
        if read.unit != quantity.unit:
            own = show_converted(read, quantity.unit)
    except QuantityError:
        pass  # typed without a unit: the unit of the field applies
    return f"{own} ({typed})"
