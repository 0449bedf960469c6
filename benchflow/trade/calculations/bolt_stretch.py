"""Stretch of a bolt, preload from stretch, and the tightening angle.

The formulas assume an elastic bolt and a rigid joint. A real joint is compressed as well. It needs a larger
angle for the same stretch, and the same angle gives it less preload.
"""

from decimal import Decimal
from math import pi, sqrt

from benchflow.quantity import Quantity, show
from benchflow.trade.calculations.inputs import (
    FORCE_UNIT_FIELD,
    THREAD_FIELD,
    Calculation,
    InputField,
    Inputs,
    QuantityInput,
    angle_field,
    length_field,
)
from benchflow.trade.calculations.result import CalculationError, CalculationResult, line, require_positive
from benchflow.trade.calculations.threads import Thread
from benchflow.trade.rounding import amount

STEEL_MPA = 205_000.0
"""Young's modulus of steel in MPa. 200 to 210 GPa is usual (common practice, no source)."""

HANDBOOK = "MIL-HDBK-60 form, as an engineering reference prints it: θ = 360 × f × L / (E × lead)"
_RIGID = "The joint is assumed to be rigid. In practice it needs more angle than this."


def _modulus(value: Quantity | None) -> float:
    if value is None:
        return STEEL_MPA
    return float(amount(require_positive("modulus", value, "Young's modulus"), "MPa"))


def _mm(quantity: Quantity) -> float:
    return float(amount(quantity, "mm"))


def _conversion_factor(unit: str, base_unit: str) -> float:
    """Return the number of ``base_unit`` in one ``unit``."""
    return float(amount(Quantity(Decimal(1), unit, ""), base_unit))


def stretch_of(
    force: Quantity, thread: Thread, length: Quantity, modulus: Quantity | None = None, unit: str = "mm"
) -> CalculationResult:
    """Return the elastic stretch in ``unit`` of a bolt under ``force``, δ = F L / (A E), and its stress in MPa.

    The formula assumes thread over the whole length. Inputs can have any unit of their dimension. ``modulus`` is
    Young's modulus, by default that of steel. Source: Hooke's law.

    Raises:
        CalculationError: the force, length or modulus is not above zero.
    """
    newtons = float(amount(require_positive("force", force, "The force"), "N"))
    e = _modulus(modulus)
    stretch = newtons * _mm(require_positive("length", length, "The length")) / (thread.stress_area_mm2 * e)
    filled = f"{show(force)} × {show(length)} / ({thread.area_text} × {e:,.0f} MPa)".replace(",", " ")
    lines = (
        line("stretch", "Stretch", stretch / _conversion_factor(unit, "mm"), unit, "δ = F × L / (A × E)", filled),
        line("stress", "Stress", newtons / thread.stress_area_mm2, "MPa", "σ = F / A",
             f"{show(force)} / {thread.area_text}"),
    )  # fmt: skip
    return CalculationResult(f"Stretch of {thread.name} under {show(force)}", lines, "Hooke's law", (_RIGID,))


def preload_from_stretch(
    stretch: Quantity, thread: Thread, length: Quantity, modulus: Quantity | None = None, unit: str = "kN"
) -> CalculationResult:
    """Return the preload in ``unit`` from a measured stretch: F = δ A E / L. Friction does not change it.

    The formula assumes thread over the whole length. ``modulus`` is Young's modulus, by default that of steel. Source:
    Hooke's law.

    Raises:
        CalculationError: the stretch, length or modulus is not above zero.
    """
    require_positive("stretch", stretch, "The stretch")
    e = _modulus(modulus)
    newtons = _mm(stretch) / _mm(require_positive("length", length, "The length")) * thread.stress_area_mm2 * e
    filled = f"{show(stretch)} × {thread.area_text} × {e:,.0f} MPa / {show(length)}".replace(",", " ")
    first = line("preload", "Preload", newtons / _conversion_factor(unit, "N"), unit, "F = δ × A × E / L", filled)
    return CalculationResult(f"Preload of {thread.name} from its stretch", (first,), "Hooke's law", (_RIGID,))


def angle_for(stress: Quantity, thread: Thread, length: Quantity, modulus: Quantity | None = None) -> CalculationResult:
    """Return the angle from snug to ``stress`` in degrees, and the stretch in mm and the preload in kN at that stress.

    ``length`` is the effective length, see :func:`effective_length`. ``modulus`` is Young's modulus, by default that of
    steel. Source: MIL-HDBK-60 form, θ = 360° f L / (E P), as an engineering reference prints it.

    Raises:
        CalculationError: the stress, length or modulus is not above zero.
    """
    mpa = float(amount(require_positive("stress", stress, "The stress"), "MPa"))
    e, effective = _modulus(modulus), _mm(require_positive("length", length, "The length"))
    degrees = 360 * mpa * effective / (e * thread.pitch_mm)
    lines = (
        line("angle", "Angle from snug", degrees, "°", "θ = 360° × f × L / (E × P)",
             f"360° × {show(stress)} × {show(length)} / ({e:.0f} MPa × {thread.pitch:.4g} {thread.unit})"),
        line("stretch", "Stretch", mpa * effective / e, "mm", "δ = f × L / E",
             f"{show(stress)} × {show(length)} / {e:.0f} MPa"),
        line("preload", "Preload", mpa * thread.stress_area_mm2 / 1000, "kN", "F = f × As",
             f"{show(stress)} × {thread.area_text}"),
    )  # fmt: skip
    return CalculationResult(f"Angle for {thread.name}", lines, HANDBOOK, (_RIGID,))


def nut_travel(thread: Thread, angle: Quantity) -> CalculationResult:
    """Return the travel of a nut along the thread when it is turned by ``angle``, in the unit of the thread.

    Source: geometry (the lead of the thread).
    """
    degrees = float(amount(angle, "°"))
    travel = line("travel", "Travel of the nut", thread.pitch * degrees / 360, thread.unit, "P × θ / 360°",
                  f"{thread.pitch:.4g} {thread.unit} × {show(angle)} / 360°")  # fmt: skip
    return CalculationResult(f"Travel of {thread.name} over {show(angle)}", (travel,), "lead of the thread", (_RIGID,))


def effective_length(
    thread: Thread, grip: Quantity, shank: Quantity, head: Quantity, nut: Quantity, shank_diameter: Quantity | None
) -> CalculationResult:
    """Return the length of a threaded rod that stretches as much as the bolt, in the unit of ``grip``.

    LB = (dts/d)² (LS + HB/2) + LJ − LS + HN/2. ``grip`` LJ is the thickness of the joint, ``shank`` LS the plain length
    of the bolt in it. ``head`` HB and ``nut`` HN are their heights. dts is the diameter of a circle with the stress
    area. ``shank_diameter`` d is by default that of the thread. Source: MIL-HDBK-60 form, as an engineering reference
    prints it.

    Raises:
        CalculationError: the grip or shank diameter is not above zero, a height is below zero, or the shank is below
            zero or longer than the grip.
    """
    require_positive("grip", grip, "The grip")
    lj, ls, hb, hn = _mm(grip), _mm(shank), _mm(head), _mm(nut)
    if not 0 <= ls <= lj:
        raise CalculationError("shank", "The plain shank must be from zero to the grip")
    if hb < 0 or hn < 0:
        raise CalculationError("head" if hb < 0 else "nut", "A height cannot be below zero")
    stress_diameter = sqrt(4 * thread.stress_area_mm2 / pi)
    d = (
        thread.diameter_mm
        if shank_diameter is None
        else _mm(require_positive("shank-diameter", shank_diameter, "The shank"))
    )
    ratio = stress_diameter / d
    value = (ratio**2 * (ls + hb / 2) + lj - ls + hn / 2) / _conversion_factor(grip.unit, "mm")
    filled = f"{ratio:.3f}² × ({show(shank)} + {show(head)} / 2) + {show(grip)} − {show(shank)} + {show(nut)} / 2"
    first = line("length", "Effective length", value, grip.unit, "(dts/d)² × (LS + HB/2) + LJ − LS + HN/2", filled)
    return CalculationResult(f"Effective length of {thread.name}", (first,), HANDBOOK)


_LENGTH = length_field("length", "Length that stretches", "100 mm")
_MODULUS = InputField(
    "modulus", "Young's modulus (default: steel)", QuantityInput("pressure", "MPa"), "205000 MPa", optional=True
)


def _effective_length(inputs: Inputs) -> CalculationResult:
    grip, shank, head, nut = inputs.quantities("grip", "shank", "head", "nut")
    return effective_length(inputs.thread(), grip, shank, head, nut, inputs.optional_quantity("shank-diameter"))


STRETCH_CALCULATIONS = (
    Calculation(
        "stretch", "Stretch of a bolt under load",
        (InputField("force", "Load", QuantityInput("force", "kN"), "45 kN"), THREAD_FIELD, _LENGTH, _MODULUS),
        lambda inputs: stretch_of(
            inputs.quantity("force"), inputs.thread(), inputs.quantity("length"), inputs.optional_quantity("modulus"),
            inputs.quantity("length").unit,
        ),
        "Hooke's law",
    ),
    Calculation(
        "preload-from-stretch", "Preload from measured stretch",
        (length_field("stretch", "Measured stretch", "0.15 mm"), THREAD_FIELD, _LENGTH, _MODULUS, FORCE_UNIT_FIELD),
        lambda inputs: preload_from_stretch(
            inputs.quantity("stretch"), inputs.thread(), inputs.quantity("length"), inputs.optional_quantity("modulus"),
            inputs.text("unit", "kN"),
        ),
        "Hooke's law",
    ),
    Calculation(
        "angle", "Angle from snug for a stress",
        (InputField("stress", "Stress", QuantityInput("pressure", "MPa"), "620 MPa"), THREAD_FIELD, _LENGTH, _MODULUS),
        lambda inputs: angle_for(
            inputs.quantity("stress"), inputs.thread(), inputs.quantity("length"), inputs.optional_quantity("modulus")
        ),
        HANDBOOK,
    ),
    Calculation(
        "nut-travel", "Travel of a nut along the thread",
        (THREAD_FIELD, angle_field("angle", "Angle", "90°")),
        lambda inputs: nut_travel(inputs.thread(), inputs.quantity("angle")),
        "lead of the thread",
    ),
    Calculation(
        "effective-length", "Length of a bolt that stretches",
        (
            THREAD_FIELD, length_field("grip", "Grip: thickness of the joint", "80 mm"),
            length_field("shank", "Plain shank within the grip", "50 mm"),
            length_field("head", "Height of the head", "6.4 mm"), length_field("nut", "Height of the nut", "8.0 mm"),
            length_field("shank-diameter", "Diameter of the shank (default: thread size)", "10 mm", optional=True),
        ),
        _effective_length, HANDBOOK,
    ),
)  # fmt: skip
