"""The error found in an instrument afterwards: what it was allowed at the time, and what it does to a joint.

Torque T = K d F: with the same nut factor the clamp load F follows the torque in proportion.
"""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Final

from msgspec import Struct

from benchflow.procedure.stage_figures import parse_figure
from benchflow.quantity import Quantity, QuantityError, base, dimension_of, parse_quantity
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.formatting import count
from benchflow.review.log.facts import InstrumentFact, ReadingFact, StageFact
from benchflow.review.log.margin import number

USUAL_TORQUE: Final = 0.04
SMALL_TORQUE: Final = 0.06
"""What a torque wrench may be off if the log states no uncertainty: 4 %, below 10 N·m 6 % (ISO 6789-1, from memory)."""
SMALL_BELOW: Final = Decimal(10)  # N·m
TURNED_SHARE: Final = 0.3
"""The part of a torque error that is left in the clamp load if a later stage turns by an angle (own rule): most of the
clamp load then comes from the turn."""


class Allowance(Struct, frozen=True):
    """The error that an instrument was allowed, as a part of the reading. ``stated`` is how the log states it; "" if it
    does not."""

    share: float
    stated: str = ""


def wrench_allowance(stage: StageFact, instruments: Sequence[InstrumentFact]) -> Allowance:
    """The error that the wrench of ``stage`` was allowed at that time: its stated uncertainty, or the usual one."""
    torque = _torque_of(stage)
    stated = _stated(stage.serial, stage.seq, instruments)
    share = None if stated is None else _share(stated.uncertainty, torque)
    if stated is not None and share is not None:
        return Allowance(share, stated.uncertainty)
    small = torque is not None and base(torque) < SMALL_BELOW
    return Allowance(SMALL_TORQUE if small else USUAL_TORQUE)


def reading_allowance(reading: ReadingFact, serial: str, instruments: Sequence[InstrumentFact]) -> Allowance:
    """The error that the instrument ``serial`` of a reading was allowed at that time; 0 if the log states none."""
    value = number(reading.value)
    stated = _stated(serial, reading.seq, instruments)
    if value:
        share = None if stated is None else _share(stated.uncertainty, Quantity(value, reading.unit, reading.entered))
        if stated is not None and share is not None:
            return Allowance(share, stated.uncertainty)
    return Allowance(0.0)


def _stated(serial: str, seq: int, instruments: Sequence[InstrumentFact]) -> InstrumentFact | None:
    """The last description of the instrument up to the event ``seq``."""
    of_serial = [one for one in instruments if one.serial == serial and one.uncertainty]
    before = [one for one in of_serial if one.seq <= seq]
    known = before or of_serial
    return known[-1] if known else None


def _share(uncertainty: str, at: Quantity | None) -> float | None:
    """An expanded uncertainty as a part of the reading ``at``; ``None`` if it cannot be compared with it."""
    try:
        width = parse_quantity(uncertainty)
    except QuantityError:
        return None
    if dimension_of(width.unit) == "fraction":
        return float(base(width))
    if at is None or not at.value or not at.unit or dimension_of(at.unit) != dimension_of(width.unit):
        return None
    return abs(float(base(width) / base(at)))


def _torque_of(stage: StageFact) -> Quantity | None:
    try:
        return parse_figure(stage.torque, "torque").quantity if stage.torque else None
    except QuantityError:
        return None


def torque_point(stage: StageFact, fasteners: int, reads_high: Decimal, allowed: Allowance) -> WeakPoint:
    """What the error does to the joint of ``stage``. An error that the wrench was allowed is only mentioned.

    ``stage`` is the last stage of torque with this wrench.
    """
    true = 1 / (1 + Fraction(reads_high))
    words = (
        f"{count(fasteners, 'fastener')} of {stage.joint} ({stage.operation}), "
        f"tightened to about {part_of_set(float(true))} of the set torque"
    )
    change, found = float(true - 1), abs(float(reads_high))
    if found <= allowed.share * (1 + 1e-9):
        return WeakPoint("error-allowed", f"{words}: {_allowed_words(allowed)}", stage.seq, stage.joint)
    direction = "lower" if change < 0 else "higher"
    tolerance = stage.allowed_low if change < 0 else stage.allowed_high
    words += f"; clamp load about {percent(abs(change))} {direction}"
    if tolerance is None:
        size = abs(change)
    elif abs(change) <= tolerance:
        words += f", within the tolerance of the joint, {percent(tolerance)}"
        size = found - allowed.share
    else:
        words += f", beyond the tolerance of the joint, {percent(tolerance)}"
        size = abs(change)
    if stage.turned:
        words += "; a later stage turns further by an angle, which sets most of the clamp load"
        size *= TURNED_SHARE
    return WeakPoint("off-torque", words, stage.seq, stage.joint, size)


def figure_point(stage: StageFact, fasteners: int, reads_high: Decimal, allowed: Allowance) -> WeakPoint:
    """As :func:`torque_point`, for a turn by an angle, and for a check, which does not change the joint."""
    true, found = 1 / (1 + Fraction(reads_high)), abs(float(reads_high))
    how = "turned with it" if stage.kind == "angle" else "checked with it"
    words = (
        f"{count(fasteners, 'fastener')} of {stage.joint} ({stage.operation}), {how}: "
        f"about {part_of_set(float(true))} of what it showed"
    )
    if found <= allowed.share * (1 + 1e-9):
        words += f"; the error is within the {allowed.stated or percent(allowed.share)} that the instrument may have"
        return WeakPoint("error-allowed", words, stage.seq, stage.joint)
    if stage.kind == "angle":
        return WeakPoint("off-torque", words, stage.seq, stage.joint, found - allowed.share)
    return WeakPoint("instrument-bad", words, stage.seq, stage.joint, found - allowed.share)


def _allowed_words(allowed: Allowance) -> str:
    if allowed.stated:
        return f"the error is within the {allowed.stated} that the wrench states"
    return f"the error is within the {percent(allowed.share)} that is usual for a wrench (ISO 6789-1)"


def percent(share: float) -> str:
    """A part as per cent, with two digits: ``94 %``, ``5.7 %``, ``0.99 %``."""
    value = share * 100
    return f"{value:.0f} %" if value >= 9.95 else f"{value:.2g} %"


def part_of_set(share: float) -> str:
    """A part near the whole as per cent: ``94 %``; with one decimal if it is within 1 % of the whole."""
    return f"{share * 100:.0f} %" if abs(share - 1) >= 0.0095 else f"{share * 100:.1f} %"
