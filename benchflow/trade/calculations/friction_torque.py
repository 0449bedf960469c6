"""Torque and preload with the friction of thread and head apart, and the real diameters of head and hole.

MA = F × (P/2π + 0.577 × d2 × µG + DKm/2 × µK), with DKm as the mean of bearing face and hole. The first part stretches
the bolt, the second is lost in the thread, the third below the head or nut that is turned.
"""

from math import cos, pi, radians, sqrt

from msgspec import Struct

from benchflow.procedure.model import Caution
from benchflow.quantity import Quantity, show
from benchflow.trade.calculations.bolt_load import CLASS_FIELD, NECK_FIELD, check_load, check_stress, section_of_neck
from benchflow.trade.calculations.bolt_resilience import WeakestSection
from benchflow.trade.calculations.bolt_strength import strength
from benchflow.trade.calculations.input_checks import require_within
from benchflow.trade.calculations.inputs import (
    FORCE_UNIT_FIELD,
    THREAD_FIELD,
    TORQUE_UNIT_FIELD,
    Calculation,
    InputField,
    Inputs,
    QuantityInput,
    length_field,
    number_field,
    torque_field,
)
from benchflow.trade.calculations.result import CalculationResult, ResultLine, line, rounded_text
from benchflow.trade.calculations.threads import MM_PER_INCH, Thread
from benchflow.trade.calculations.tightening_angle import check_head_and_hole
from benchflow.trade.rounding import amount, unit_amount

FRICTION_SOURCE = "VDI 2230 part 1, tightening torque (from memory)"

YIELD_SHARE = 0.9
"""Share of the yield stress that tension and torsion together may use (VDI 2230, table A1; from memory)."""


class Friction(Struct, frozen=True):
    """Friction and geometry of one bolt. Lengths are in mm."""

    thread: Thread
    thread_friction: float
    head_friction: float
    head_mean: float
    weakest: WeakestSection

    @property
    def pitch_lever(self) -> float:
        """P/2π in mm: torque per preload that stretches the bolt."""
        return self.thread.pitch_mm / (2 * pi)

    @property
    def thread_lever(self) -> float:
        """0.577 d2 µG in mm: torque per preload that is lost in the thread."""
        return _pitch_diameter(self.thread) / (2 * cos(radians(30))) * self.thread_friction

    @property
    def head_lever(self) -> float:
        """DKm/2 µK in mm: torque per preload that is lost below the head."""
        return self.head_mean / 2 * self.head_friction

    @property
    def lever(self) -> float:
        """MA / F in mm."""
        return self.pitch_lever + self.thread_lever + self.head_lever

    def highest_preload(self, yield_stress: float) -> float:
        """Return the preload in N at which tension and torsion use 90 % of ``yield_stress`` (MPa).

        FM = 0.9 Rp0.2 A0 / √(1 + 3 k²), k = 3/2 × d2/d0 × (P/(π d2) + 1.155 µG). A0 is the smallest cross-section: As
        of the thread, or that of a neck. d0 is the diameter of a circle with that area. Source: VDI 2230 part 1, table
        A1 (from memory).
        """
        d2 = _pitch_diameter(self.thread)
        area = self.weakest.area
        d0 = sqrt(4 / pi * area)
        torsion = 1.5 * d2 / d0 * (self.thread.pitch_mm / (pi * d2) + self.thread_friction / cos(radians(30)))
        return YIELD_SHARE * yield_stress * area / sqrt(1 + 3 * torsion**2)


def _pitch_diameter(thread: Thread) -> float:
    return thread.pitch_diameter * (1 if thread.system == "metric" else MM_PER_INCH)


def friction_of(inputs: Inputs) -> Friction:
    """Return the friction of the fields of a calculation.

    Raises:
        CalculationError: a coefficient is not from 0.01 to 1, or a diameter does not belong to the thread.
    """
    thread = inputs.thread()
    for name in ("thread-friction", "head-friction"):
        require_within(name, inputs.quantity(name), "A coefficient of friction", "0.01", "1",
                       "0.08 to 0.20 is usual: about 0.12 oiled.")  # fmt: skip
    bearing, hole = inputs.quantities("bearing-diameter", "hole-diameter")
    check_head_and_hole(thread, bearing, hole)
    mean = (float(amount(bearing, "mm")) + float(amount(hole, "mm"))) / 2
    return Friction(
        thread, float(inputs.quantity("thread-friction").value), float(inputs.quantity("head-friction").value), mean,
        section_of_neck(inputs),
    )  # fmt: skip


def _lever_text(friction: Friction) -> str:
    pitch, pitch_diameter = friction.thread.pitch_mm, _pitch_diameter(friction.thread)
    return (
        f"({pitch:.4g}/2π + 0.577 × {pitch_diameter:.4g} × {friction.thread_friction:g} + "
        f"{friction.head_mean:.4g}/2 × {friction.head_friction:g}) mm"
    )


def _limit_lines(friction: Friction, grade: str, newtons: float, force_unit: str, torque_unit: str) -> list[ResultLine]:
    """Return the highest preload and torque of the class, and the share of it that ``newtons`` use."""
    found = strength(grade, friction.thread)
    highest, weakest = friction.highest_preload(found.yield_stress), friction.weakest
    area = friction.thread.area_text if weakest.name == "thread" else f"{weakest.area:.4g} mm² of the {weakest.name}"
    torque = highest * friction.lever / 1000 / unit_amount(torque_unit, "N·m")
    first = line("highest", "Preload at 90 % of yield, at most", highest / unit_amount(force_unit, "N"), force_unit,
                 "0.9 × Rp0.2 × A0 / √(1 + 3 k²)",
                 f"0.9 × {found.yield_stress:.4g} MPa × {area} with torsion")  # fmt: skip
    return [
        first,
        line("highest-torque", "Torque at that preload", torque, torque_unit, "MA = F × (...)",
             f"{first.shown} × {friction.lever:.4g} mm"),
        line("share", "Share of that preload", 100 * newtons / highest, "%", "F / highest preload",
             f"{rounded_text(newtons / unit_amount(force_unit, 'N'), force_unit)} / {first.shown}", decimals=0),
    ]  # fmt: skip


def _parts(friction: Friction, newtons: float, unit: str) -> list[ResultLine]:
    per_unit = 1000 * unit_amount(unit, "N·m")
    force = rounded_text(newtons / 1000, "kN", 4)
    nut_factor = friction.lever / friction.thread.diameter_mm
    return [
        line("stretching", "Of it stretches the bolt", newtons * friction.pitch_lever / per_unit, unit, "F × P/2π",
             f"{force} × {friction.pitch_lever:.4g} mm"),
        line("thread-loss", "Lost in the thread", newtons * friction.thread_lever / per_unit, unit,
             "F × 0.577 × d2 × µG", f"{force} × {friction.thread_lever:.4g} mm"),
        line("head-loss", "Lost below the head", newtons * friction.head_lever / per_unit, unit, "F × DKm/2 × µK",
             f"{force} × {friction.head_lever:.4g} mm"),
        line("nut-factor", "Nut factor K with this friction", nut_factor, "", "K = MA / (F × d)",
             f"{friction.lever:.4g} mm / {friction.thread.diameter_mm:.4g} mm"),
    ]  # fmt: skip


_NOTES = (
    "Assumed: a thread with a 60° profile, a flat bearing face, DKm as the mean of face and hole, and no prevailing "
    "torque of a self-locking nut.",
    "Friction scatters by a third and more: measure it, or take the maker's torque.",
)
_OVER = Caution(
    "caution", "This is above 90 % of the yield load with torsion: too much for a bolt that must not yield."
)
_NO_CLASS = "Without a property class, nothing compares the preload with the yield load."


def torque_with_friction(
    preload: Quantity, friction: Friction, grade: str = "", unit: str = "N·m"
) -> CalculationResult:
    """Return the torque in ``unit`` that gives ``preload``: MA = F × (P/2π + 0.577 d2 µG + DKm/2 µK).

    With a property class or ``grade``, the result includes the highest preload (90 % of yield with torsion). Source:
    VDI 2230 part 1 (from memory).

    Raises:
        CalculationError: the preload is not from 1 N to 10 MN, no bolt can carry it, or the class does not belong to
            the thread.
    """
    require_within("preload", preload, "The preload", "1 N", "10000000 N")
    newtons = float(amount(preload, "N"))
    check_stress("preload", newtons / friction.weakest.area, f"A preload of {show(preload)}")
    torque = newtons * friction.lever / 1000 / unit_amount(unit, "N·m")
    lines = [
        line("torque", "Torque", torque, unit, "MA = F × (P/2π + 0.577 × d2 × µG + DKm/2 × µK)",
             f"{show(preload)} × {_lever_text(friction)}"),
        *_parts(friction, newtons, unit),
    ]  # fmt: skip
    title = f"Torque for a preload of {show(preload)} in {friction.thread.name}"
    return _result(title, lines, friction, grade, newtons, preload.unit, unit)


def preload_with_friction(torque: Quantity, friction: Friction, grade: str = "", unit: str = "kN") -> CalculationResult:
    """Return the preload in ``unit`` that ``torque`` gives: F = MA / (P/2π + 0.577 d2 µG + DKm/2 µK).

    With a property class or ``grade``, the result includes the highest preload (90 % of yield with torsion). Source:
    VDI 2230 part 1 (from memory).

    Raises:
        CalculationError: the torque is not from 0.01 N·m to 100 kN·m, no bolt can carry the preload, or the class does
            not belong to the thread.
    """
    require_within("torque", torque, "The torque", "0.01 N·m", "100000 N·m")
    newtons = float(amount(torque, "N·m")) * 1000 / friction.lever
    check_stress("torque", newtons / friction.weakest.area, f"A torque of {show(torque)}")
    lines = [
        line("preload", "Preload", newtons / unit_amount(unit, "N"), unit,
             "F = MA / (P/2π + 0.577 × d2 × µG + DKm/2 × µK)", f"{show(torque)} / {_lever_text(friction)}"),
        *_parts(friction, newtons, torque.unit),
    ]  # fmt: skip
    title = f"Preload of {friction.thread.name} at {show(torque)}"
    return _result(title, lines, friction, grade, newtons, unit, torque.unit)


def _result(
    title: str, lines: list[ResultLine], friction: Friction, grade: str, newtons: float, force: str, torque: str
) -> CalculationResult:
    notes = [*_NOTES]
    cautions: tuple[Caution, ...] = ()
    if not grade:
        notes.append(_NO_CLASS)
        cautions = check_load(newtons, friction.thread, friction.weakest, "", force).cautions
    else:
        limits = _limit_lines(friction, grade, newtons, force, torque)
        lines = [*lines, *limits]
        if limits[-1].value.value > 100:
            cautions = (_OVER,)
    return CalculationResult(title, tuple(lines), FRICTION_SOURCE, tuple(notes), cautions=cautions)


_FRICTION_FIELDS = (
    THREAD_FIELD,
    number_field("thread-friction", "Friction in the thread µG", "0.12"),
    number_field("head-friction", "Friction below the head µK", "0.12"),
    length_field("bearing-diameter", "Bearing face below the head, outer diameter", "14.6 mm"),
    length_field("hole-diameter", "Hole below the head", "11 mm"),
    CLASS_FIELD,
    NECK_FIELD,
)

FRICTION_CALCULATIONS = (
    Calculation(
        "torque-by-friction", "Torque for a preload, with friction and real diameters",
        (InputField("preload", "Preload", QuantityInput("force", "kN"), "40 kN"), *_FRICTION_FIELDS, TORQUE_UNIT_FIELD),
        lambda inputs: torque_with_friction(
            inputs.quantity("preload"), friction_of(inputs), inputs.text("class"), inputs.text("unit", "N·m")
        ),
        FRICTION_SOURCE,
    ),
    Calculation(
        "preload-by-friction", "Preload from torque, with friction and real diameters",
        (torque_field("torque", "Torque", "60 N·m"), *_FRICTION_FIELDS, FORCE_UNIT_FIELD),
        lambda inputs: preload_with_friction(
            inputs.quantity("torque"), friction_of(inputs), inputs.text("class"), inputs.text("unit", "kN")
        ),
        FRICTION_SOURCE,
    ),
)  # fmt: skip
