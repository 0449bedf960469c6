"""The band of a stage: the readings with which a tick of a fastener is accepted. Exact, by fractions.

A stage that is a limit is its own band. A stage that is one quantity gets a tolerance: of ``tighten``, of the joint, or
the program's own.
"""

import re
from collections.abc import Iterator
from decimal import ROUND_CEILING, ROUND_FLOOR, Context, Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Literal

from msgspec import Struct

from benchflow.procedure.model import CheckStage, HandStage, OpenStage, Stage, TickTolerance, single_quantity
from benchflow.quantity import (
    Interval,
    Limit,
    Quantity,
    QuantityError,
    base,
    dimension_of,
    interval,
    parse_limit,
    parse_quantity,
    show_limit,
    show_short,
)
from benchflow.quantity.arithmetic import decimal, from_base
from benchflow.quantity.shown import decimals_shown

PROGRAM_TOLERANCE = TickTolerance(Quantity(Decimal(6), "%", "6 %"), Quantity(Decimal(5), "°", "5°"))
"""The tolerance where the procedure states none: 6 % of a torque, 5° of an angle. Source: own rule, which takes the
6 % from the permitted deviation of a torque wrench below 10 N·m (ISO 6789-1, from memory)."""

_SECOND_COLUMN = re.compile(r"\(\s*(?!about\b)([^()]+)\)\s*$", re.IGNORECASE)
_MOST_DIGITS = 6
"""An end of a band with more digits is rounded when it is shown (own rule)."""
TickVerdict = Literal["ok", "low", "high"]
_VERDICTS: dict[str, TickVerdict] = {"within": "ok", "low": "low", "high": "high"}


class TickBand(Struct, frozen=True):
    """The band of a stage.

    ``exact`` has its ends in the base unit. ``text`` shows it in the unit of the stage, as the log keeps it.
    ``printed`` shows only the band of the figure that is printed in this unit, with as many decimals at both ends: a
    second printed column makes ``exact`` wider. ``tolerance`` is empty for a stage that is a limit. ``by_program`` is
    true if the tolerance is the program's, because the procedure has none.
    """

    exact: Interval
    unit: str
    text: str
    printed: str
    tolerance: str = ""
    by_program: bool = False

    def judge(self, reading: Quantity) -> TickVerdict:
        """The verdict on a reading, by simple acceptance. Its unit may differ from that of the stage."""
        return _VERDICTS[self.exact.position(base(reading))]

    @property
    def shown(self) -> str:
        """The band and where it comes from: ``75.2 .. 84.8 ft-lb (80 ft-lb ± 6 %, the program's tolerance)``."""
        return f"{self.text} ({self.tolerance})" if self.tolerance else self.text

    @property
    def printed_with_tolerance(self) -> str:
        """The band of the printed figure, and where it comes from, for the bench."""
        return f"{self.printed} ({self.tolerance})" if self.tolerance else self.printed


@lru_cache(256)  # the same for every fastener of the stage
def band_of_stage(stage: Stage, *tolerances: TickTolerance) -> TickBand | None:
    """The band of the torque, angle or stretch of ``stage``; ``None`` for a stage without a figure (``by hand``).

    The first of the ``tolerances`` that states one for this kind of quantity applies.
    """
    nominal = single_quantity(stage)
    if nominal is None:
        if isinstance(stage, HandStage | OpenStage):
            return None
        limit = stage.limit if isinstance(stage, CheckStage) else stage.band
        return None if limit is None else TickBand(interval(limit), _unit(limit), limit.text, limit.text)
    kind = dimension_of(nominal.unit)
    tolerance = next((found for each in tolerances if (found := each.of_kind(kind)) is not None), None)
    by_program = tolerance is None
    if tolerance is None:
        tolerance = PROGRAM_TOLERANCE.of_kind(kind) or _half_last_digit(nominal)
    columns = tuple(_columns(nominal))
    own = Interval(*_ends(nominal, tolerance))
    exact = _hull(Interval(*_ends(column, tolerance)) for column in columns)
    figure = nominal.entered if len(columns) > 1 else nominal.entered.partition("(")[0]
    words = f"{figure.strip().lstrip('+')} ± {show_short(tolerance)}"
    words += ", the program's tolerance" if by_program else ""
    text, printed = _text(exact, nominal.unit, tolerance.unit), _printed_text(own, nominal.unit, tolerance.unit)
    return TickBand(exact, nominal.unit, text, printed, words, by_program)


def _printed_text(band: Interval, unit: str, tolerance_unit: str) -> str:
    """The band with as many decimals at both ends: ``11.75 .. 13.25 N·m``. What has to be rounded is, inwards."""
    shown = parse_limit(_text(band, unit, tolerance_unit))
    assert shown.low is not None  # a band with a tolerance has two ends
    assert shown.high is not None
    decimals = decimals_shown(shown.low), decimals_shown(shown.high)
    step = Decimal(1).scaleb(-(max(decimals) if interval(shown) == band else min(decimals)))
    low, high = shown.low.value.quantize(step, ROUND_CEILING), shown.high.value.quantize(step, ROUND_FLOOR)
    return _limit_text([low, high], shown.low.unit)


def _unit(limit: Limit) -> str:
    end = limit.low or limit.high
    assert end is not None  # a limit has at least one end
    return end.unit


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


def _text(band: Interval, unit: str, tolerance_unit: str) -> str:
    """The band in ``unit``, or in the unit of the tolerance if its ends are shorter there: ``355 .. 365°``.

    An end that is long in both is rounded to four digits, inwards, so that every value shown is accepted.
    """
    for shown_in in (unit, tolerance_unit):
        if dimension_of(shown_in) == dimension_of(unit):
            ends = [None if end is None else decimal(from_base(end, shown_in)) for end in (band.low, band.high)]
            if all(end is None or len(end.as_tuple().digits) <= _MOST_DIGITS for end in ends):
                return _limit_text(ends, shown_in)
    low, high = (None if end is None else from_base(end, unit) for end in (band.low, band.high))
    return _limit_text([_four_digits(low, ROUND_CEILING), _four_digits(high, ROUND_FLOOR)], unit)


def _limit_text(ends: list[Decimal | None], unit: str) -> str:
    low, high = (None if end is None else Quantity(end, unit, "") for end in ends)
    return show_limit(Limit(low, high, ""))


def _four_digits(value: Fraction | None, rounding: str) -> Decimal | None:
    return None if value is None else Context(prec=4, rounding=rounding).plus(decimal(value))
