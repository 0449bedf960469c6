"""The band of a stage: the readings with which a tick of a fastener is accepted. Exact, by fractions.

A stage that is a limit is its own band. A stage that is one quantity gets a tolerance: of ``tighten``, of the joint, or
the program's own.
"""

import re
from collections.abc import Iterator
from decimal import ROUND_HALF_UP, Context, Decimal
from fractions import Fraction
from typing import Literal

from msgspec import Struct

from benchflow.procedure.model import CheckStage, HandStage, Stage, TickTolerance, TorqueStage
from benchflow.quantity import (
    Interval,
    Limit,
    Quantity,
    QuantityError,
    base,
    dimension_of,
    interval,
    parse_quantity,
    show_limit,
    show_short,
)
from benchflow.quantity.arithmetic import decimal, from_base

PROGRAM_TOLERANCE = TickTolerance(Quantity(Decimal(6), "%", "6 %"), Quantity(Decimal(5), "°", "5°"))
"""The tolerance where the procedure states none: 6 % of a torque, 5° of an angle. Source: own rule, which takes the
6 % from the permitted deviation of a torque wrench below 10 N·m (ISO 6789-1, from memory)."""

_SECOND_COLUMN = re.compile(r"\(\s*(?!about\b)([^()]+)\)\s*$", re.IGNORECASE)
TickVerdict = Literal["ok", "low", "high"]
_VERDICTS: dict[str, TickVerdict] = {"within": "ok", "low": "low", "high": "high"}


class TickBand(Struct, frozen=True):
    """The band of a stage.

    ``exact`` has its ends in the base unit. ``text`` shows it in the unit of the stage. ``tolerance`` is empty for a
    stage that is a limit. ``by_program`` is true if the tolerance is the program's, because the procedure has none.
    """

    exact: Interval
    unit: str
    text: str
    tolerance: str = ""
    by_program: bool = False

    def judge(self, reading: Quantity) -> TickVerdict:
        """The verdict on a reading, by simple acceptance. Its unit may differ from that of the stage."""
        return _VERDICTS[self.exact.position(base(reading))]

    @property
    def shown(self) -> str:
        """The band and where it comes from: ``75.2 .. 84.8 ft-lb (80 ft-lb ± 6 %, the program's tolerance)``."""
        return f"{self.text} ({self.tolerance})" if self.tolerance else self.text


def band_of_stage(stage: Stage, *tolerances: TickTolerance) -> TickBand | None:
    """The band of the torque, angle or stretch of ``stage``; ``None`` for a stage without a figure (``by hand``).

    The first of the ``tolerances`` that states one for this kind of quantity applies.
    """
    nominal = _nominal(stage)
    if nominal is None:
        limit = None if isinstance(stage, HandStage) else stage.limit if isinstance(stage, CheckStage) else stage.band
        return None if limit is None else TickBand(interval(limit), _unit(limit), limit.text)
    kind = dimension_of(nominal.unit)
    tolerance = next((found for each in tolerances if (found := _of_kind(each, kind)) is not None), None)
    by_program = tolerance is None
    if tolerance is None:
        tolerance = _of_kind(PROGRAM_TOLERANCE, kind) or _half_last_digit(nominal)
    exact = _hull(Interval(*_ends(column, tolerance)) for column in _columns(nominal))
    words = f"{nominal.entered.partition('(')[0].strip().lstrip('+')} ± {show_short(tolerance)}"
    words += ", the program's tolerance" if by_program else ""
    return TickBand(exact, nominal.unit, _text(exact, nominal.unit), words, by_program)


def _nominal(stage: Stage) -> Quantity | None:
    """The quantity of a stage that is one quantity; ``None`` for a stage that is a limit."""
    if isinstance(stage, CheckStage):
        return stage.nominal
    if isinstance(stage, HandStage):
        return None
    if stage.band is not None:
        return None
    return stage.torque if isinstance(stage, TorqueStage) else stage.angle


def _unit(limit: Limit) -> str:
    end = limit.low or limit.high
    assert end is not None  # a limit has at least one end
    return end.unit


def _of_kind(tolerance: TickTolerance, kind: str) -> Quantity | None:
    by_kind = {"torque": tolerance.torque, "angle": tolerance.angle, "length": tolerance.length}
    return by_kind.get(kind)


def _half_last_digit(quantity: Quantity) -> Quantity:
    """The tolerance of a stretch without a stated one: half of its last written digit, as for a nominal limit."""
    exponent = quantity.value.as_tuple().exponent
    step = Decimal(1).scaleb(exponent if isinstance(exponent, int) else 0)
    return Quantity(step / 2, quantity.unit, f"{step / 2} {quantity.unit}")


def _columns(quantity: Quantity) -> Iterator[Quantity]:
    """The quantity, and the same in its second unit if it is printed twice: ``40 N·m (30 ft-lb)``."""
    yield quantity
    second = _SECOND_COLUMN.search(quantity.entered)
    if second is not None:
        try:
            yield parse_quantity(second[1], dimension=dimension_of(quantity.unit))
        except QuantityError:
            return


def _ends(nominal: Quantity, tolerance: Quantity) -> tuple[Fraction, Fraction]:
    middle = base(nominal)
    half = abs(middle) * base(tolerance) if dimension_of(tolerance.unit) == "fraction" else base(tolerance)
    return middle - half, middle + half


def _hull(intervals: Iterator[Interval]) -> Interval:
    found = list(intervals)
    lows, highs = [each.low for each in found], [each.high for each in found]
    return Interval(min(low for low in lows if low is not None), max(high for high in highs if high is not None))


def _text(band: Interval, unit: str) -> str:
    """The band in ``unit``. An end whose decimal is long is shown with six digits."""
    ends = [
        None if end is None else Quantity(_six_digits(decimal(from_base(end, unit))), unit, "")
        for end in (band.low, band.high)
    ]
    return show_limit(Limit(ends[0], ends[1], ""))


def _six_digits(value: Decimal) -> Decimal:
    return value if len(value.as_tuple().digits) <= 10 else Context(prec=6, rounding=ROUND_HALF_UP).plus(value)
