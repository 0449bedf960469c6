"""A sum that can be shown: what came out, by which formula, from which numbers, and where it is from."""

from decimal import Decimal
from fractions import Fraction

from msgspec import Struct

from benchflow.base.errors import BenchflowError
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


def decimals_of(*quantities: Quantity) -> int:
    """The decimals of the finest of them: an exact sum or difference in one unit loses nothing."""
    found = [quantity.value.as_tuple().exponent for quantity in quantities]
    return max(0, *(-one for one in found if isinstance(one, int)))


def positive(field: str, quantity: Quantity, what: str) -> Quantity:
    """``quantity``, or a :class:`SumError` when it is not above zero."""
    if quantity.value <= 0:
        raise SumError(field, f"{what} must be above zero, not {show(quantity)}")
    return quantity
