"""The result of a calculation, with its formula, the numbers filled in, and its source."""

from decimal import Decimal
from fractions import Fraction

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import sentence
from benchflow.quantity import Quantity, show
from benchflow.trade.rounding import round_to_digits, round_to_places


class CalculationError(BenchflowError):
    """An input that a calculation cannot use. ``field`` is "" if several inputs contradict each other."""

    def __init__(self, field: str, why: str, hint: str = "") -> None:
        super().__init__(" ".join(sentence(clause) for clause in (why, hint) if clause))
        self.field, self.why, self.hint = field, why, hint


class ResultLine(Struct, frozen=True):
    """One value of a result.

    ``value.value`` is rounded to its significant digits, and ``value.entered`` is the same value as text. ``filled`` is
    the formula with the numbers filled in. It has ``≈`` before a rounded value.
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
    """A finished calculation. ``notes`` are sentences about scatter, assumptions and checks that remain to be done."""

    title: str
    lines: tuple[ResultLine, ...]
    source: str
    notes: tuple[str, ...] = ()
    given: tuple[GivenInput, ...] = ()

    def __getitem__(self, name: str) -> Quantity:
        """Return the value of the line called ``name``.

        Raises:
            KeyError: there is no such line.
        """
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
    """Return a line, its value rounded to ``decimals`` places or to ``digits`` significant digits (default: 3).

    A rounded value has ``≈`` before it, an exact one ``=``.
    """
    number = round_to_places(value, decimals) if decimals is not None else round_to_digits(value, digits or 3)
    quantity = Quantity(number, unit, "")
    shown = show(quantity)
    equals = "=" if Fraction(value) == Fraction(number) else "≈"
    return ResultLine(name, title, Quantity(number, unit, shown), formula, f"{filled} {equals} {shown}".lstrip())


def digits_of(*quantities: Quantity, least: int = 3) -> int:
    """Return the significant digits for a result: those of the least precise input, but not fewer than ``least``."""
    return max(least, min(len(q.value.as_tuple().digits) for q in quantities))


def decimals_of(*quantities: Quantity) -> int:
    """Return the number of decimals of the most precise input. That is enough for an exact sum in one unit."""
    exponents = [quantity.value.as_tuple().exponent for quantity in quantities]
    return max(0, *(-exponent for exponent in exponents if isinstance(exponent, int)))


def require_positive(field: str, quantity: Quantity, label: str) -> Quantity:
    """Return ``quantity`` if it is above zero. ``label`` is its name in the message, such as ``The torque``.

    Raises:
        CalculationError: it is not above zero.
    """
    if quantity.value <= 0:
        raise CalculationError(field, f"{label} must be above zero, not {show(quantity)}")
    return quantity
