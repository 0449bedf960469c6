"""Bolts tightened by angle and judged by stretch.

Elastic and ideal: the joint is taken as rigid, so a real joint needs a larger angle for the same stretch, and a
real angle gives less preload than these sums say.
"""

from math import pi, sqrt
from typing import Literal

from msgspec import Struct

from benchflow.quantity import Limit, Quantity, position, show
from benchflow.trade.rounding import amount
from benchflow.trade.threads import Thread
from benchflow.trade.worked import SumError, Worked, line, positive

STEEL_MPA = 205_000.0
"""Young's modulus of steel, MPa; 200 to 210 GPa is usual (common practice, no source)."""

HANDBOOK = "MIL-HDBK-60 form, as rendered in an engineering reference: θ = 360 × f × L / (E × lead)"
IDEAL = "The joint is taken as rigid: it needs more angle than this in practice."


def _modulus(value: Quantity | None) -> float:
    if value is None:
        return STEEL_MPA
    return float(amount(positive("modulus", value, "Young's modulus"), "MPa"))


def _mm(quantity: Quantity) -> float:
    return float(amount(quantity, "mm"))


def effective_length(
    thread: Thread, shank: float, grip: float, head: float, nut: float, shank_diameter: float | None = None
) -> float:
    """LB = (dts/d)² (LS + HB/2) + LJ − LS + HN/2, in the unit of its arguments (MIL-HDBK-60 form, as quoted).

    ``shank`` LS is the plain length within the grip, ``grip`` LJ the joint's thickness, ``head`` HB and
    ``nut`` HN their heights. dts is the diameter whose area is the stress area.
    """
    if not 0 <= shank <= grip:
        raise SumError("shank", "The plain shank cannot be longer than the grip")
    stress_diameter = sqrt(4 * thread.stress_area / pi)
    ratio = stress_diameter / (shank_diameter or thread.diameter)
    return ratio**2 * (shank + head / 2) + grip - shank + nut / 2


def stretch_of(
    force: Quantity, thread: Thread, length: Quantity, modulus: Quantity | None = None, unit: str = "mm"
) -> Worked:
    """Elastic stretch of a bolt threaded over its length: δ = F L / (A E)."""
    newtons = float(amount(positive("force", force, "The force"), "N"))
    e = _modulus(modulus)
    stretch = newtons * _mm(positive("length", length, "The length")) / (thread.stress_area_mm2 * e)
    filled = f"{show(force)} × {show(length)} / ({thread.area_words} × {e:,.0f} MPa)".replace(",", " ")
    lines = (
        line("stretch", "Stretch", stretch / _mm(Quantity(length.value * 0 + 1, unit, "")), unit, "δ = F × L / (A × E)",
             filled),
        line("stress", "Stress", newtons / thread.stress_area_mm2, "MPa", "σ = F / A",
             f"{show(force)} / {thread.area_words}"),
    )  # fmt: skip
    return Worked(f"Stretch of {thread.name} under {show(force)}", lines, "Hooke's law", (IDEAL,))


def force_from_stretch(
    stretch: Quantity, thread: Thread, length: Quantity, modulus: Quantity | None = None, unit: str = "kN"
) -> Worked:
    """The preload that a measured stretch means: F = δ A E / L. Far surer than torque: friction has no say."""
    positive("stretch", stretch, "The stretch")
    e = _modulus(modulus)
    newtons = _mm(stretch) / _mm(positive("length", length, "The length")) * thread.stress_area_mm2 * e
    one = float(amount(Quantity(stretch.value * 0 + 1, unit, ""), "N"))
    filled = f"{show(stretch)} × {thread.area_words} × {e:,.0f} MPa / {show(length)}".replace(",", " ")
    first = line("preload", "Preload", newtons / one, unit, "F = δ × A × E / L", filled)
    return Worked(f"Preload of {thread.name} from its stretch", (first,), "Hooke's law", (IDEAL,))


def angle_for(stress: Quantity, thread: Thread, length: Quantity, modulus: Quantity | None = None) -> Worked:
    """The turn from snug that brings a bolt of effective length ``length`` to ``stress``."""
    mpa = float(amount(positive("stress", stress, "The stress"), "MPa"))
    e, effective = _modulus(modulus), _mm(positive("length", length, "The length"))
    degrees = 360 * mpa * effective / (e * thread.pitch_mm)
    lines = (
        line("angle", "Angle from snug", degrees, "°", "θ = 360° × f × L / (E × P)",
             f"360° × {show(stress)} × {show(length)} / ({e:.0f} MPa × {thread.pitch:.4g} {thread.unit})"),
        line("stretch", "Stretch", mpa * effective / e, "mm", "δ = f × L / E",
             f"{show(stress)} × {show(length)} / {e:.0f} MPa"),
        line("preload", "Preload", mpa * thread.stress_area_mm2 / 1000, "kN", "F = f × As",
             f"{show(stress)} × {thread.area_words}"),
    )  # fmt: skip
    return Worked(f"Angle for {thread.name}", lines, HANDBOOK, (IDEAL,))


def advance(thread: Thread, angle: Quantity) -> Worked:
    """How far the nut travels along the thread over ``angle``."""
    turned = float(amount(angle, "°"))
    first = line("advance", "The nut travels", thread.pitch * turned / 360, thread.unit, "P × θ / 360°",
                 f"{thread.pitch:.4g} {thread.unit} × {show(angle)} / 360°")  # fmt: skip
    return Worked(f"Travel of {thread.name} over {show(angle)}", (first,), "the thread's lead", (IDEAL,))


class BoltPart(Struct, frozen=True):
    """A length of a bolt with one area, in mm and mm²."""

    length: float
    area: float


def stretch_in_parts(newtons: float, parts: tuple[BoltPart, ...], modulus_mpa: float = STEEL_MPA) -> float:
    """ΔL = F Σ L / (E A), in mm: a necked or part-threaded bolt (Bickford, as rendered in an engineering reference)."""
    return newtons * sum(part.length / (modulus_mpa * part.area) for part in parts)


# --- torque and stretch together --------------------------------------------------------------------

Corner = Literal["in", "friction-high", "friction-low", "loose", "overtightened"]


class TwoWay(Struct, frozen=True):
    """Where a fastener lies by torque and by stretch, and what that usually means."""

    corner: Corner
    torque: Literal["low", "in", "high"]
    stretch: Literal["low", "in", "high"]
    words: str


_MEANINGS: dict[tuple[str, str], tuple[Corner, str]] = {
    ("in", "in"): ("in", "torque and stretch are both within their limits"),
    ("low", "low"): ("loose", "not tight yet: neither torque nor stretch is reached"),
    ("in", "low"): ("friction-high", "the torque went into friction: take it out, look at threads and lubricant"),
    ("high", "low"): ("friction-high", "the torque went into friction: take it out, look at threads and lubricant"),
    ("high", "in"): ("friction-high", "the stretch is right and the torque too high: friction is more than assumed"),
    ("low", "in"): ("friction-low", "the stretch is right and the torque too low: friction is less than assumed"),
    ("low", "high"): ("friction-low", "stretched too far at too little torque: yielded, or slippery; replace it"),
    ("in", "high"): ("overtightened", "stretched too far: it may have yielded; replace it"),
    ("high", "high"): ("overtightened", "past both limits: replace it"),
}


def judge_both(torque: Quantity, stretch: Quantity, torque_limit: Limit, stretch_limit: Limit) -> TwoWay:
    """Two-dimensional acceptance: only where both lie within their limits is the fastener accepted.

    The meanings of the other fields are common practice, no source.
    """
    by_torque, by_stretch = position(torque_limit, torque), position(stretch_limit, stretch)
    corner, words = _MEANINGS[by_torque, by_stretch]
    return TwoWay(corner, by_torque, by_stretch, words)
