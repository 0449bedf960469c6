"""Quantities, limits, and the error for text that is neither."""

from decimal import Decimal
from typing import Literal

from msgspec import Struct

from benchflow.base.errors import BenchflowError

QuantityErrorCode = Literal["bad-quantity", "wrong-dimension", "disagreeing-units"]


class Quantity(Struct, frozen=True):
    """A number with a unit. ``unit`` is the canonical symbol, "" for none; ``entered`` is the text as written."""

    value: Decimal
    unit: str
    entered: str


class Limit(Struct, frozen=True):
    """A limit. A value equal to an end is within it; an end of ``None`` is open. ``text`` is the text as written."""

    low: Quantity | None
    high: Quantity | None
    text: str


class QuantityError(BenchflowError):
    """Text that is not a quantity or limit of the kind that is expected.

    ``at`` is the index in ``text`` of the character that is wrong, ``len(text)`` if something is missing at the end.
    ``why`` is the error, ``hint`` the correction. ``str(error)`` is the message on one printable line.
    """

    def __init__(self, code: QuantityErrorCode, text: str, at: int, why: str, hint: str = "") -> None:
        super().__init__(f'"{printable(text)}": {why}' + (f"; {hint}" if hint else ""))
        self.code: QuantityErrorCode = code
        self.text, self.at, self.why, self.hint = text, at, why, hint


def printable(text: str) -> str:
    """``text`` for a message: cut to 48 characters, unprintable characters replaced."""
    short = text if len(text) <= 48 else text[:45] + "..."
    return "".join(char if char.isprintable() else "\N{REPLACEMENT CHARACTER}" for char in short)
