"""The text of a reading on the screen, rounded. The log keeps all digits."""

from benchflow.procedure.stage_figures import is_limit
from benchflow.quantity import Quantity, show_with_typed


def reading_text(quantity: Quantity) -> str:
    """Return a reading in the unit of its field: ``0.0457 mm (0.0018 in)``.

    It is rounded to the precision of the typed text. A text typed in another unit follows in brackets. The figure of a
    stage can be a limit, which is shown as it was given.
    """
    return quantity.entered.strip() if is_limit(quantity.entered) else show_with_typed(quantity, word="")
