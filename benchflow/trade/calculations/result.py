"""The result of a calculation, with what a person needs to check it: formula, numbers filled in, source."""

from decimal import Decimal
from fractions import Fraction

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.quantity import Quantity, show
from benchflow.trade.rounding import places, significant


class CalculationError(BenchflowError):
    """An input that a calculation cannot use. ``field`` names it; "" where several inputs do not go together."""

    def __init__(self, field: str, why: str, hint: str = "") -> None:
        super().__init__(f"{why}. {hint}".strip() if hint else f"{why}.")
        self.field, self.why, self.hint = field, why, hint


class ResultLine(Struct, frozen=True):
    """One value of a result.

    ``value.value`` is rounded to the digits that mean something, and ``value.entered`` is the same number as
    text. ``filled`` is the formula with the numbers filled in.
    """

    name: str
    title: str
    value: Quantity
    formula: str
    filled: str

    @property
    def shown(self) -> str:
        """The value as text, with its unit."""
        return self.value.entered


class GivenInput(Struct, frozen=True):
    """One input as it was entered."""

    name: str
    title: str
    text: str


class CalculationResult(Struct, frozen=True):
    """A finished calculation. ``notes`` state what the numbers leave out: scatter, assumptions, open checks."""

    title: str
    lines: tuple[ResultLine, ...]
    source: str
    notes: tuple[str, ...] = ()
    given: tuple[GivenInput, ...] = ()

    def __getitem__(self, name: str) -> Quantity:
        """The value of the line called ``name``; ``KeyError`` where there is none."""
        for line in self.lines:
            if line.name == name:
                return line.value
        raise KeyError(name)


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
) -> ResultLine:
    """A line with its value rounded to ``digits`` significant digits (3 by default) or to ``decimals`` places."""
    number = places(value, decimals) if decimals is not None else significant(value, digits or 3)
    quantity = Quantity(number, unit, "")
    shown = show(quantity)
    return ResultLine(name, title, Quantity(number, unit, shown), formula, f"{filled} = {shown}")


def digits_of(*quantities: Quantity, least: int = 3) -> int:
    """Significant digits for a result: as many as the least precise input has, at least ``least``."""
    return max(least, min(len(q.value.as_tuple().digits) for q in quantities))


def decimals_of(*quantities: Quantity) -> int:
    """Decimals of the most precise input: enough for an exact sum or difference in one unit."""
    exponents = [quantity.value.as_tuple().exponent for quantity in quantities]
    return max(0, *(-exponent for exponent in exponents if isinstance(exponent, int)))


def positive(field: str, quantity: Quantity, what: str) -> Quantity:
    """``quantity`` itself.

    Raises:
        CalculationError: it is not above zero.
    """
    if quantity.value <= 0:
        raise CalculationError(field, f"{what} must be above zero, not {show(quantity)}")
    return quantity
