"""A sum that can be shown: what came out, by which formula, from which numbers, and where it is from."""

from collections.abc import Callable, Mapping
from decimal import Decimal
from fractions import Fraction

from msgspec import Struct

from benchflow.errors import BenchflowError
from benchflow.quantity import Quantity, show
from benchflow.trade.rounding import places, significant


class SumError(BenchflowError):
    """An answer that a sum cannot be done with. ``field`` is which, "" for all of them together."""

    def __init__(self, field: str, why: str, hint: str = "") -> None:
        super().__init__(f"{why}. {hint}".strip() if hint else f"{why}.")
        self.field, self.why, self.hint = field, why, hint


class Line(Struct, frozen=True):
    """One value that came out. ``value.entered`` is how it is shown, rounded to digits that mean
    something; ``value.value`` is the same rounded number, so what is seen is what is taken over.
    ``filled`` is the formula with the numbers in."""

    name: str
    title: str
    value: Quantity
    formula: str
    filled: str

    @property
    def shown(self) -> str:
        return self.value.entered


class Given(Struct, frozen=True):
    """One number or choice that went in, as it was entered."""

    name: str
    title: str
    text: str


class Worked(Struct, frozen=True):
    """A sum done. ``notes`` say what the numbers leave out: scatter, assumptions, what was not checked."""

    title: str
    lines: tuple[Line, ...]
    source: str
    notes: tuple[str, ...] = ()
    given: tuple[Given, ...] = ()

    def __getitem__(self, name: str) -> Quantity:
        """The value of the line called ``name``; ``KeyError`` if there is none."""
        for line in self.lines:
            if line.name == name:
                return line.value
        raise KeyError(name)


class Field(Struct, frozen=True):
    """One thing to ask for. ``dimension`` as benchflow.quantity names it; "" is a bare number, ``None``
    a text (a thread's name) or one of ``choices``. ``unit`` is what a screen shows beside the field."""

    name: str
    ask: str
    unit: str = ""
    dimension: str | None = None
    optional: bool = False
    choices: tuple[str, ...] = ()
    example: str = ""
    many: bool = False  # several, separated by semicolons


class Answers:
    """What was entered, by field name: quantities, texts, and which of the optional ones are there."""

    def __init__(self, quantities: Mapping[str, tuple[Quantity, ...]], texts: Mapping[str, str]) -> None:
        self._quantities, self._texts = quantities, texts

    def quantity(self, name: str) -> Quantity:
        """A required quantity (or one known to be there)."""
        return self._quantities[name][0]

    def maybe(self, name: str) -> Quantity | None:
        """An optional quantity."""
        found = self._quantities.get(name)
        return found[0] if found else None

    def many(self, name: str) -> tuple[Quantity, ...]:
        """The quantities of a field that takes several; empty where it was left out."""
        return self._quantities.get(name, ())

    def text(self, name: str) -> str:
        """A text or choice; "" where it was left out."""
        return self._texts.get(name, "")

    def __contains__(self, name: str) -> bool:
        return name in self._quantities or name in self._texts


class SumSpec(Struct, frozen=True):
    """A sum that can be asked for by name, from a command or from a screen alike.

    ``run`` gets answers whose required fields are all there and whose dimensions are right; it raises
    :class:`SumError` where the numbers make no sense together.
    """

    name: str
    title: str
    fields: tuple[Field, ...]
    run: Callable[[Answers], Worked]
    source: str


# --- making lines -----------------------------------------------------------------------------------


def line(
    name: str,
    title: str,
    value: Fraction | Decimal | float,
    unit: str,
    formula: str,
    filled: str,
    *,
    digits: int | None = None,
    decimals: int | None = None,
) -> Line:
    """A line with its value rounded to ``digits`` significant digits, or to ``decimals`` places."""
    number = places(value, decimals) if decimals is not None else significant(value, digits or 3)
    quantity = Quantity(number, unit, "")
    shown = show(quantity)
    return Line(name, title, Quantity(number, unit, shown), formula, f"{filled} = {shown}")


def digits_of(*quantities: Quantity, least: int = 3) -> int:
    """How many digits an answer from these deserves: as many as the roughest has, at least ``least``."""
    return max(least, min(len(q.value.as_tuple().digits) for q in quantities))


def positive(field: str, quantity: Quantity, what: str) -> Quantity:
    """``quantity``, or a :class:`SumError` when it is not above zero."""
    if quantity.value <= 0:
        raise SumError(field, f"{what} must be above zero, not {show(quantity)}")
    return quantity
