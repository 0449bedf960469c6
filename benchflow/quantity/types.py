"""What a quantity and a limit are, and the one error of reading them."""

from decimal import Decimal
from typing import Literal

from msgspec import Struct

from benchflow.base.errors import BenchflowError

QuantityErrorCode = Literal["bad-quantity", "wrong-dimension", "disagreeing-units"]


class Quantity(Struct, frozen=True):
    """A number and its unit. ``unit`` is the canonical symbol; ``entered`` the text as it was written."""

    value: Decimal
    unit: str
    entered: str


class Limit(Struct, frozen=True):
    """Both ends are included; ``None`` is open. ``text`` is as the author wrote it."""

    low: Quantity | None
    high: Quantity | None
    text: str


class QuantityError(BenchflowError):
    """A quantity or limit that cannot be taken as it stands.

    ``at`` is the index in ``text`` of the character that it turns on (``len(text)`` where something is
    missing at the end), ``why`` says what is wrong and ``hint`` what to write. ``str`` is all of it in one
    sentence, with nothing unprintable in it.
    """

    def __init__(self, code: QuantityErrorCode, text: str, at: int, why: str, hint: str = "") -> None:
        super().__init__(f'"{printable(text)}": {why}' + (f"; {hint}" if hint else ""))
        self.code: QuantityErrorCode = code
        self.text, self.at, self.why, self.hint = text, at, why, hint


def printable(text: str) -> str:
    """Text fit to stand in a message: cut to 48 characters, control and formatting characters replaced."""
    short = text if len(text) <= 48 else text[:45] + "..."
    return "".join(char if char.isprintable() else "\N{REPLACEMENT CHARACTER}" for char in short)
