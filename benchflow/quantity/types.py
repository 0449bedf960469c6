"""The types of quantities and limits, and the error for text that is neither."""

from decimal import Decimal
from typing import Literal

from msgspec import Struct

from benchflow.base.errors import BenchflowError

QuantityErrorCode = Literal["bad-quantity", "wrong-dimension", "disagreeing-units"]


class Quantity(Struct, frozen=True):
    """A number with a unit. ``unit`` is the canonical symbol, "" for none. ``entered`` is the text as written."""

    value: Decimal
    unit: str
    entered: str


class Limit(Struct, frozen=True):
    """A limit. An end of ``None`` is open. ``text`` is the text as written.

    A value equal to an end is within the limit, except where ``low_open`` (``above 0.5 mm``) or ``high_open``
    (``below 40 °C``) is set. ``other`` is the second column of a limit that is printed in two units: a value within
    either column is within the limit. ``nominal`` is set for a limit that is one quantity, such as ``0.15 mm``. Its
    ends are half a step of the last written digit away, 0.145 and 0.155 mm.
    """

    low: Quantity | None
    high: Quantity | None
    text: str
    low_open: bool = False
    high_open: bool = False
    other: "Limit | None" = None
    nominal: Quantity | None = None


class QuantityError(BenchflowError):
    """Text that is not a quantity or limit of the expected kind.

    ``at`` is the index in ``text`` of the wrong character, ``len(text)`` if something is missing at the end. ``why`` is
    the error and ``hint`` the correction, both as clauses, with unprintable characters replaced. ``str(error)`` is the
    message for people on one line, such as ``"85": The unit is missing. Write it like 40 N·m.``
    """

    def __init__(self, code: QuantityErrorCode, text: str, at: int, why: str, hint: str = "") -> None:
        self.code: QuantityErrorCode = code
        self.text, self.at, self.why, self.hint = text, at, _only_printable(why), _only_printable(hint)
        message = " ".join(sentence(clause) for clause in (self.why, self.hint) if clause)
        super().__init__(f"“{printable(text)}”: {message}")


def sentence(clause: str) -> str:
    """Return a clause as a sentence: with a capital letter, and a full stop if it has no final mark."""
    return clause[:1].upper() + clause[1:] + ("" if clause.endswith(("?", ".")) else ".")


def printable(text: str) -> str:
    """Return ``text`` for a message, cut to 48 characters, with unprintable characters replaced."""
    short = text if len(text) <= 48 else text[:45] + "..."
    return _only_printable(short)


def _only_printable(text: str) -> str:
    return "".join(char if char.isprintable() else "\N{REPLACEMENT CHARACTER}" for char in text)
