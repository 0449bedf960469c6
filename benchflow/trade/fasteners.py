"""What a torque does to a bolt: strengths, proof loads, T = K d F both ways, what a lubricant changes.

Torque says little about preload: most of it goes into friction. So every preload here comes with the
scatter that the trade states for it, and a share of proof load that is as wide.
"""

from decimal import Decimal
from fractions import Fraction
from math import cos, pi, radians, sin

from msgspec import Struct

from benchflow.procedure.model import Joint
from benchflow.quantity import Quantity, convert, show
from benchflow.trade.rounding import amount
from benchflow.trade.threads import Thread, ThreadError, parse_thread
from benchflow.trade.worked import Line, SumError, Worked, digits_of, line, positive

SCATTER = Fraction(25, 100)
"""Preload scatter of a torque wrench: ±25 % (IFI Technical Data N-12 / N-16, as quoted)."""

MPA_PER_KSI = 6.894757293168361


class Strength(Struct, frozen=True):
    """Least strengths in MPa. ``yield_`` is yield or 0.2 % proof stress where known."""

    name: str
    proof: float
    tensile: float
    yield_: float | None
    source: str


class _Row(Struct, frozen=True):
    """A class over a span of diameters: above ``over``, up to ``upto`` (in the system's unit)."""

    over: float
    upto: float
    proof: float
    tensile: float
    yield_: float | None = None


_ANY = 1e9
_ISO: dict[str, tuple[_Row, ...]] = {
    "4.6": (_Row(0, 39, 225, 400, 240),),
    "4.8": (_Row(0, 39, 310, 420, 340),),
    "5.6": (_Row(0, 39, 280, 500, 300),),
    "5.8": (_Row(0, 39, 380, 520, 420),),
    "6.8": (_Row(0, 39, 440, 600, 480),),
    "8.8": (_Row(0, 16, 580, 800, 640), _Row(16, 39, 600, 830, 660)),
    "9.8": (_Row(0, 16, 650, 900, 720),),
    "10.9": (_Row(0, 39, 830, 1040, 940),),
    "12.9": (_Row(0, 39, 970, 1220, 1100),),
}
"""MPa by diameter in mm. ISO 898-1: proof 600/650/830/970 as quoted, 580 and the rest from memory."""

_SAE: dict[str, tuple[_Row, ...]] = {
    "2": (_Row(0.2499, 0.75, 55, 74, 57), _Row(0.75, 1.5, 33, 60, 36)),
    "5": (_Row(0.2499, 1, 85, 120, 92), _Row(1, 1.5, 74, 105, 81)),
    "8": (_Row(0.2499, 1.5, 120, 150, 130),),
}
"""ksi by diameter in inches. SAE J429; grade 2 above 3/4 in from memory."""


def strength(grade: str, thread: Thread) -> Strength | None:
    """The strengths of a property class (``10.9``) or SAE grade (``grade 8``) in this thread's size;
    ``None`` where the class is not known here or does not cover the size. Nothing is guessed."""
    name = grade.strip().lower()
    for word in ("property class", "class", "sae", "grade", "gr.", "gr"):
        name = name.removeprefix(word).strip()
    for table, size, factor, source in (
        (_ISO, thread.diameter_mm, 1.0, "ISO 898-1"),
        (_SAE, thread.diameter_mm / 25.4, MPA_PER_KSI, "SAE J429"),
    ):
        for row in table.get(name, ()):
            if row.over < size <= row.upto:
                yields = None if row.yield_ is None else row.yield_ * factor
                label = f"class {name}" if table is _ISO else f"grade {name}"
                return Strength(label, row.proof * factor, row.tensile * factor, yields, source)
    return None


def proof_load(thread: Thread, grade: str) -> Worked:
    """Proof load and least breaking load, in N. Raises :class:`SumError` for an unknown class."""
    found = _strength(grade, thread)
    area = thread.stress_area_mm2
    lines = (
        line("proof", "Proof load", area * found.proof, "N", "Fp = As × Sp",
             f"{area:.4g} mm² × {found.proof:.4g} MPa", digits=4),
        line("breaking", "Least breaking load", area * found.tensile, "N", "Fm = As × Rm",
             f"{area:.4g} mm² × {found.tensile:.4g} MPa", digits=4),
    )  # fmt: skip
    notes = (f"Stress area of {thread.name}: {thread.area_words}.", "Printed tables round these as they please.")
    return Worked(f"Proof load of {thread.name}, {found.name}", lines, found.source, notes)


def _strength(grade: str, thread: Thread) -> Strength:
    found = strength(grade, thread)
    if found is None:
        known = ", ".join([*_ISO, *(f"grade {name}" for name in _SAE)])
        raise SumError("class", f"The strength of “{grade}” at {thread.name} is not known here", f"Known: {known}.")
    return found


# --- T = K d F --------------------------------------------------------------------------------------

SHORT_SOURCE = "T = K d F; scatter ±25 % after IFI Technical Data N-12 / N-16"

NUT_FACTORS: dict[str, tuple[float, float, str]] = {
    "dry steel": (0.18, 0.27, "a distributor's engineering data; 0.20 is the usual figure"),
    "machine oil": (0.10, 0.26, "a distributor's engineering data; 0.15 is the usual figure"),
    "cadmium plated": (0.15, 0.19, "a distributor's engineering data"),
    "phosphated and oiled": (0.15, 0.22, "a distributor's engineering data"),
    "zinc plated": (0.17, 0.35, "a distributor's engineering data"),
    "austenitic stainless": (0.30, 0.50, "a distributor's engineering data"),
    "anti-seize": (0.12, 0.12, "a textbook's table, from memory"),
}
"""Nut factor K, from and to, by the state of the threads. Ranges this wide are why the maker's own
figure, or a test on the joint itself, comes first."""


def torque_for(preload: Quantity, thread: Thread, nut_factor: Decimal, unit: str = "N·m") -> Worked:
    """The torque that gives ``preload`` on average, in ``unit``."""
    positive("preload", preload, "The preload")
    k = _nut_factor(nut_factor)
    newton_metres = k * thread.diameter_mm / 1000 * float(amount(preload, "N"))
    torque = newton_metres / float(amount(Quantity(Decimal(1), unit, ""), "N·m"))
    filled = f"{nut_factor} × {thread.diameter:.4g} {thread.unit} × {show(preload)}"
    one = line("torque", "Torque", torque, unit, "T = K × d × F", filled, digits=digits_of(preload))
    return Worked(f"Torque for a preload of {show(preload)} in {thread.name}", (one,), SHORT_SOURCE, (_SCATTER_NOTE,))


_SCATTER_NOTE = "A torque wrench gives the preload within about ±25 %, if the lubricant is as assumed."


def _nut_factor(value: Decimal) -> float:
    if not Decimal("0.03") <= value <= Decimal("0.6"):
        hint = "Between 0.1 and 0.3 is usual, 0.2 for dry steel."
        raise SumError("nut-factor", f"{value} cannot be a nut factor", hint)
    return float(value)


class Preload(Struct, frozen=True):
    """Preload by torque, in N: on average, and over the stated scatter. Shares of proof load where the
    class is known."""

    newtons: float
    low: float
    high: float
    share: float | None
    share_low: float | None
    share_high: float | None
    stress: float  # MPa


def preload_of(torque: Quantity, thread: Thread, nut_factor: Decimal, grade: str = "") -> Preload:
    """F = T / (K d), and its share of proof load."""
    newtons = float(amount(torque, "N·m")) / (_nut_factor(nut_factor) * thread.diameter_mm / 1000)
    found = strength(grade, thread) if grade else None
    share = None if found is None else newtons / (found.proof * thread.stress_area_mm2)
    low, high = float(1 - SCATTER), float(1 + SCATTER)
    return Preload(
        newtons, newtons * low, newtons * high,
        share, None if share is None else share * low, None if share is None else share * high,
        newtons / thread.stress_area_mm2,
    )  # fmt: skip


def preload(torque: Quantity, thread: Thread, nut_factor: Decimal, grade: str = "", unit: str = "kN") -> Worked:
    """The preload that ``torque`` gives, with its scatter and its share of proof load, shown."""
    positive("torque", torque, "The torque")
    if grade:
        _strength(grade, thread)
    found = preload_of(torque, thread, nut_factor, grade)
    one = float(amount(Quantity(Decimal(1), unit, ""), "N"))
    filled = f"{show(torque)} / ({nut_factor} × {thread.diameter:.4g} {thread.unit})"
    about = f"{found.newtons / one:.3g} {unit}"
    lines: list[Line] = [
        line("preload", "Preload, about", found.newtons / one, unit, "F = T / (K × d)", filled),
        line("low", "It may be as low as", found.low / one, unit, "0.75 × F", f"0.75 × {about}"),
        line("high", "or as high as", found.high / one, unit, "1.25 × F", f"1.25 × {about}"),
    ]
    notes = [_SCATTER_NOTE]
    if found.share is not None and found.share_high is not None:
        proof = f"{_strength(grade, thread).proof:.4g} MPa"
        lines.append(
            line("share", "Share of proof load", 100 * found.share, "%", "F / (As × Sp)",
                 f"{about} / ({thread.area_words} × {proof})", decimals=0)
        )  # fmt: skip
        if found.share > 1:
            notes.append("That is past the proof load: torque, thread, class or nut factor is wrong.")
        elif found.share_high > 1:
            notes.append("With the scatter against it, this goes past the proof load.")
    return Worked(f"Preload of {thread.name} at {show(torque)}", tuple(lines), SHORT_SOURCE, tuple(notes))


def preload_words(torque: Quantity, thread: Thread, nut_factor: Decimal, grade: str = "") -> str:
    """One line for the bench: ``preload about 46 kN ± 25 %, 91 % of proof load``."""
    found = preload_of(torque, thread, nut_factor, grade)
    words = f"preload about {_round_kn(found.newtons)} kN ± 25 %"
    return words if found.share is None else f"{words}, {100 * found.share:.0f} % of proof load"


def joint_words(joint: Joint, torque: Quantity) -> str:
    """The same line for a joint of a procedure; "" where its thread or nut factor is not given or not known."""
    if joint.nut_factor is None or not joint.thread:
        return ""
    try:
        return preload_words(torque, parse_thread(joint.thread), joint.nut_factor, joint.grade)
    except (ThreadError, SumError):
        return ""


def _round_kn(newtons: float) -> str:
    return f"{newtons / 1000:.0f}" if newtons >= 10000 else f"{newtons / 1000:.1f}"


def lubricant_change(torque: Quantity, assumed: Decimal, actual: Decimal) -> Worked:
    """The torque that gives the same preload with another lubricant: T2 = T1 K2 / K1."""
    positive("torque", torque, "The torque")
    ratio = Fraction(_checked(actual)) / Fraction(_checked(assumed))
    filled = f"{show(torque)} × {actual} / {assumed}"
    one = line("torque", "Torque", Fraction(torque.value) * ratio, torque.unit, "T2 = T1 × K2 / K1", filled,
               digits=digits_of(torque))  # fmt: skip
    notes = ("Only an estimate: both factors scatter. The maker's figure for the lubricant in hand comes first.",)
    return Worked("Another lubricant", (one,), "T = K d F at equal F", notes)


def _checked(value: Decimal) -> Decimal:
    _nut_factor(value)
    return value


# --- the long form ----------------------------------------------------------------------------------

LONG_SOURCE = "Shigley, 5th ed., eq. 8-19, and MIL-HDBK-60, eq. 100.5.1, both as quoted"


def long_form(thread: Thread, thread_friction: float, head_friction: float) -> tuple[float, float]:
    """K by both long forms: Shigley's (pitch diameter) and MIL-HDBK-60's (an approximation of it).

    60° thread; the head bears on a mean diameter of 1.25 D. They agree within about 1 %.
    """
    d, p, dp = thread.diameter, thread.pitch, thread.pitch_diameter
    slope = p / (pi * dp)
    secant = 1 / cos(radians(30))
    head = 0.625 * head_friction * d
    screw = (slope + thread_friction * secant) / (1 - thread_friction * slope * secant)
    by_pitch = (0.5 * dp * screw + head) / d
    alpha = sin(radians(60))
    handbook = (0.5 * p / pi + 0.5 * thread_friction * (d - 0.75 * p * alpha) / alpha + head) / d
    return by_pitch, handbook


def nut_factor_from_friction(thread: Thread, thread_friction: Decimal, head_friction: Decimal) -> Worked:
    """K from the coefficients of friction in the thread and under the head."""
    for field, value in (("thread-friction", thread_friction), ("head-friction", head_friction)):
        if not Decimal("0.01") <= value <= Decimal(1):
            raise SumError(field, f"{value} is not a coefficient of friction", "0.08 to 0.20 is usual.")
    by_pitch, handbook = long_form(thread, float(thread_friction), float(head_friction))
    filled = f"thread {thread_friction}, head {head_friction}, {thread.name}"
    lines = (
        line("nut-factor", "Nut factor K", by_pitch, "",
             "K = [d2/2 × (tan λ + μt sec β) / (1 − μt tan λ sec β) + 0.625 μc d] / d", filled),
        line("check", "By the handbook's form", handbook, "",
             "K = [P/2π + μt/2 × (d − 0.75 P sin α) / sin α + 0.625 μc d] / d", filled),
    )  # fmt: skip
    return Worked(f"Nut factor of {thread.name}", lines, LONG_SOURCE)


def in_torque(torque: Quantity, unit: str) -> Worked:
    """A torque in another unit, exactly, and rounded to the digits it was given with."""
    exact = convert(torque, unit)
    one = line("torque", "Torque", exact.value, unit, "exact by definition of the units", show(torque),
               digits=digits_of(torque, least=3) + 1)  # fmt: skip
    return Worked("Torque in another unit", (one,), "NIST SP 811, App. B (exact factors)")
