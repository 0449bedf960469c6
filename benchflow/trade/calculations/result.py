"""The result of a calculation, with its formula, the numbers filled in, and its source."""

from decimal import Decimal
from fractions import Fraction
from math import ceil, floor, isclose, log10

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import sentence
from benchflow.procedure.model import Caution
from benchflow.quantity import Limit, Quantity, difference_factor, show
from benchflow.trade.rounding import amount, round_to_digits, round_to_places


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
    """A finished calculation. ``notes`` are sentences about scatter, assumptions and checks that remain to be done.

    ``cautions`` are the hazards of the work that the calculation is for, and of a bad result.
    """

    title: str
    lines: tuple[ResultLine, ...]
    source: str
    notes: tuple[str, ...] = ()
    given: tuple[GivenInput, ...] = ()
    cautions: tuple[Caution, ...] = ()

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
    equals = "=" if _is_exact(value, number) else "≈"
    return ResultLine(name, title, Quantity(number, unit, shown), formula, f"{filled} {equals} {shown}".lstrip())


_Number = Fraction | Decimal | float


def decimals_that_tell(value: _Number, decimals: int, low: _Number | None = None, high: _Number | None = None) -> int:
    """Return ``decimals``, or more if the rounded value would be within ``low`` and ``high`` and ``value`` is not.

    The same holds the other way round. A result that is just outside its limit is so shown outside it. At most six
    decimals are added. ``None`` is an open end. A value equal to an end is within.
    """

    def within(number: _Number) -> bool:
        return (low is None or number >= low) and (high is None or number <= high)

    counts = range(decimals, decimals + 7)
    return next((count for count in counts if within(round_to_places(value, count)) == within(value)), decimals)


def limit_ends(limit: Limit | None, unit: str) -> tuple[Fraction | None, Fraction | None]:
    """Return the two ends of a limit in ``unit``. An open end is ``None``, as are both ends without a limit."""
    if limit is None:
        return None, None
    low, high = (None if end is None else amount(end, unit) for end in (limit.low, limit.high))
    return low, high


def rounded_text(value: Fraction | Decimal | float, unit: str, digits: int = 3) -> str:
    """Return ``value`` rounded to significant digits as text with its unit, never with an exponent: ``4900 lbf``."""
    return show(Quantity(round_to_digits(value, digits), unit, ""))


def _is_exact(value: Fraction | Decimal | float, rounded: Decimal) -> bool:
    """Return true if rounding did not change the value. The last bits of a float do not count."""
    if isinstance(value, float):
        return isclose(value, float(rounded), rel_tol=1e-12)
    return Fraction(value) == Fraction(rounded)


def digits_of(*quantities: Quantity, least: int = 3) -> int:
    """Return the significant digits for a result: those of the least precise input, but not fewer than ``least``."""
    return max(least, min(len(q.value.as_tuple().digits) for q in quantities))


def decimals_of(*quantities: Quantity, unit: str = "") -> int:
    """Return the number of decimals in ``unit`` of the most precise input. That is enough for an exact sum in one unit.

    ``unit`` is by default the unit of the first quantity. A quantity in another unit gets so many decimals that its
    last digit stays visible: 0.01 mm has 4 decimals in inches.
    """
    target = unit or quantities[0].unit
    return max(0, *(_decimals_in(quantity, target) for quantity in quantities))


def _decimals_in(quantity: Quantity, unit: str) -> int:
    exponent = quantity.value.as_tuple().exponent
    decimals = -exponent if isinstance(exponent, int) else 0
    if quantity.unit == unit:
        return decimals
    return ceil(decimals - log10(difference_factor(quantity.unit) / difference_factor(unit)) - 1e-9)


def shop_decimals(unit: str) -> int:
    """Return the decimals at which a length is read in a workshop: 0.01 mm, 0.001 in. -1 means tens (of µm).

    Source: common practice, no source.
    """
    return floor(log10(difference_factor(unit) / Fraction("0.00001")))


def require_positive(field: str, quantity: Quantity, label: str) -> Quantity:
    """Return ``quantity`` if it is above zero. ``label`` is its name in the message, such as ``The torque``.

    Raises:
        CalculationError: it is not above zero.
    """
    if quantity.value <= 0:
        raise CalculationError(field, f"{label} must be above zero, not {show(quantity)}")
    return quantity
