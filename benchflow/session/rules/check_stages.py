"""The verdict on a tick: its readings compared with the band of the stage."""

from msgspec import Struct

from benchflow.procedure.model import CheckStage, Joint, Stage, Tighten
from benchflow.procedure.stage_figures import figure_shown
from benchflow.quantity import Limit, Quantity, dimension_of, position
from benchflow.session.rules.measurements import from_stored
from benchflow.session.state.events import CheckAnswer
from benchflow.session.state.state import Tick
from benchflow.trade.tick_bands import TickBand, TickVerdict, band_of_stage
from benchflow.trade.verdict import OUT_OF_LIMIT, VERDICT_TEXT, Verdict


class TickReadings(Struct, frozen=True):
    """What was read at one fastener: a value, at some check stages also a stretch, or the ``answer`` instead."""

    value: Quantity | None = None
    stretch: Quantity | None = None
    answer: CheckAnswer = ""

    @property
    def shown(self) -> str:
        """The readings as text: ``96 N·m and 0.12 mm``; empty if nothing was read."""
        parts = [figure_shown(reading) for reading in (self.value, self.stretch) if reading is not None]
        return " and ".join([*([self.answer] if self.answer else []), *parts])


class TickResult(Struct, frozen=True):
    """The verdict on one fastener. ``limit`` is the text of the band that it was judged by.

    ``corner`` is the combination of torque and stretch, and ``reason`` its usual cause. Both are empty if the stage
    does not ask for both.
    """

    verdict: Verdict
    limit: str = ""
    corner: str = ""
    reason: str = ""


def limit_unit(limit: Limit) -> str:
    """The unit of a limit."""
    edge = limit.low or limit.high
    assert edge is not None  # a limit has at least one end
    return edge.unit


def quantity_name(limit: Limit) -> str:
    """The name of the quantity that a check stage limits: torque, angle, or for a length, stretch."""
    kind = dimension_of(limit_unit(limit))
    return "stretch" if kind == "length" else kind


def band_in_force(joint: Joint, tighten: Tighten, stage: Stage) -> TickBand | None:
    """The band of a stage: with the tolerance of ``tighten``, else of the joint, else of the program.

    ``None`` for a stage without a figure.
    """
    return band_of_stage(stage, tighten.tolerance, joint.tolerance)


def judge_tick(joint: Joint, tighten: Tighten, stage: Stage, read: TickReadings) -> TickResult:
    """The verdict on one fastener, by simple acceptance; ``none`` if nothing was read.

    A torque that is read in an angle stage has no band, so it is not judged.
    """
    band = band_in_force(joint, tighten, stage)
    by_value: TickVerdict | None = None
    if read.answer:
        by_value = "ok" if read.answer == "held" else "low"
    elif band is not None and read.value is not None and dimension_of(read.value.unit) == dimension_of(band.unit):
        by_value = band.judge(read.value)
    if band is None or by_value is None:
        return TickResult("none")
    if not isinstance(stage, CheckStage) or stage.stretch is None or read.stretch is None:
        return TickResult(by_value, band.shown)
    from benchflow.trade.torque_and_stretch import diagnosis  # imported late: few joints need it

    limit, by_stretch = f"{band.shown} and {stage.stretch.text}", position(stage.stretch, read.stretch)
    both = diagnosis("within" if by_value == "ok" else by_value, by_stretch)
    if both.corner == "ok":
        return TickResult("ok", limit, "ok")
    verdict = by_value if by_value != "ok" else "low" if by_stretch == "low" else "high"
    return TickResult(verdict, limit, both.corner, both.meaning)


def readings_of(tick: Tick) -> TickReadings:
    """The readings of a tick. One out of its band without a reading was tightened to the torque of its time."""
    read = tick.quantity or (tick.torque if tick.verdict in OUT_OF_LIMIT else None)
    value = None if read is None else from_stored(read)
    return TickReadings(value, None if tick.stretch is None else from_stored(tick.stretch), tick.answer)


def out_of_band_text(joint: Joint, tighten: Tighten, tick: Tick) -> str:
    """The readings of a tick that is out of its band, the band and the reason.

    For example ``96 N·m and 0.12 mm LOW, limit 95 .. 120 N·m and 0.14 .. 0.16 mm: the torque was lost to friction``.
    """
    read = readings_of(tick)
    found = judge_tick(joint, tighten, tighten.stages[tick.stage - 1], read)
    reason = f": {found.reason}" if found.reason else ""
    return f"{read.shown} {VERDICT_TEXT[tick.verdict]}, limit {found.limit}{reason}"
