"""Figures, limits and stages in both unit systems, for the customer's copy of the build sheet."""

from decimal import Decimal
from fractions import Fraction
from typing import Final

from benchflow.procedure.model import CheckStage, Stage, TorqueStage
from benchflow.procedure.stage_figures import is_limit
from benchflow.quantity import Quantity, QuantityError, base, difference_factor, show_converted
from benchflow.quantity.arithmetic import from_base
from benchflow.quantity.shown import decimals_converted, round_half_up, with_unit
from benchflow.review.log.facts import ReadingFact
from benchflow.review.log.margin import Band

_OTHER_UNIT: Final = {
    "mm": "in", "cm": "in", "m": "ft", "µm": "thou", "in": "mm", "thou": "mm", "ft": "m",
    "N·m": "ft-lb", "N·cm": "in-lb", "kgf·m": "ft-lb", "ft-lb": "N·m", "in-lb": "N·m",
    "bar": "psi", "kPa": "psi", "MPa": "psi", "psi": "bar", "mbar": "inHg", "inHg": "mbar",
    "°C": "°F", "°F": "°C", "kg": "lb", "g": "oz", "lb": "kg", "oz": "g", "N": "lbf", "kN": "lbf", "lbf": "N",
    "L": "US qt", "mL": "US fl oz", "US qt": "L", "cm³": "in³", "in³": "cm³", "N/mm": "lbf/in", "lbf/in": "N/mm",
}  # fmt: skip
"""The unit of the other system that the trade uses for the same measurement. Common practice, no source."""

_SMALL_TORQUE = Decimal(15)
"""Below this many N·m, a torque in the other system is in in-lb. Common practice, no source."""


def other_unit(unit: str, largest: Decimal | None = None) -> str:
    """The unit of the other system, "" if there is none. ``largest`` is the largest figure to be shown."""
    if unit == "N·m" and largest is not None and abs(largest) < _SMALL_TORQUE:
        return "in-lb"
    return _OTHER_UNIT.get(unit, "")


_MOST_PLACES: Final = {"in": 4}
"""The trade reads inches to a tenth of a thou. Common practice, no source."""


def converted(readings: tuple[ReadingFact, ...], within: Band, to: str) -> tuple[str, str]:
    """The readings and the limit ``within`` in the unit ``to``, with the same number of decimals.

    The readings are one figure, or the smallest and the largest: ``0.0138 .. 0.0146 in``. A limit without ends is "".
    """
    quantities = [Quantity(Decimal(reading.value), reading.unit, reading.entered) for reading in readings]
    unit, difference = readings[0].unit, readings[0].difference
    ends = [None if end is None else Quantity(end, unit, "") for end in (within.low, within.high)]
    precise = (*quantities, *(end for end in ends if end is not None))
    places = min(max(decimals_converted(each, to) for each in precise), _MOST_PLACES.get(to, 3))

    def figure(value: Decimal) -> str:
        start = Fraction(value) * difference_factor(unit) if difference else base(Quantity(value, unit, ""))
        return f"{round_half_up(from_base(start, to, difference=difference), places):f}"

    values = sorted(each.value for each in quantities)
    low, high = figure(values[0]), figure(values[-1])
    shown = with_unit(high if low == high else f"{low} .. {high}", to)
    match [None if end is None else figure(end.value) for end in ends]:
        case [None, None]:
            return shown, ""
        case [None, most]:
            return shown, with_unit(f"at most {most}", to)
        case [least, None]:
            return shown, with_unit(f"at least {least}", to)
        case limits:
            return shown, with_unit(" .. ".join(filter(None, limits)), to)


def stage_in_two_units(text: str, stage: Stage) -> str:
    """The ``text`` of a stage with its torque in the other system, unless the author has written both.

    ``text`` begins with the author's text of the stage. What follows that, such as its source, comes last.
    """
    torque = stage.torque if isinstance(stage, TorqueStage) else None
    if isinstance(stage, CheckStage) or torque is None or "(" in stage.text:
        return text
    to = other_unit(torque.unit, torque.value)
    try:
        words = text.removeprefix(stage.text)
        return f"{stage.text} ({_torque_converted(stage, torque, to)}){words}" if to else text
    except QuantityError:  # a figure given at the bench can be in a unit that no table has
        return text


def _torque_converted(stage: Stage, torque: Quantity, to: str) -> str:
    """The torque of a stage in another unit; a limit that states no torque, ``20 .. 30 N·m``, with both of its ends."""
    band = stage.band if isinstance(stage, TorqueStage) and is_limit(torque.entered) else None
    if band is None:
        return show_converted(torque, to)
    low, high = (None if end is None else show_converted(end, to) for end in (band.low, band.high))
    if low is not None and high is not None:
        return f"{low.removesuffix(f' {to}')} .. {high}"
    return f"at least {low}" if high is None else f"at most {high}"
