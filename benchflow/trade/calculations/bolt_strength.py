"""Strengths of property classes and SAE grades, and proof loads of bolts."""

from msgspec import Struct

from benchflow.trade.calculations.inputs import THREAD_FIELD, Calculation, InputField, TextInput
from benchflow.trade.calculations.result import CalculationError, CalculationResult, line
from benchflow.trade.calculations.threads import Thread

MPA_PER_KSI = 6.894757293168361


class BoltStrength(Struct, frozen=True):
    """Strengths of a bolt in MPa. ``yield_stress`` is the yield stress or the 0.2 % proof stress."""

    name: str
    proof: float
    tensile: float
    yield_stress: float
    source: str


class _Row(Struct, frozen=True):
    """Strengths for diameters above ``over``, up to and including ``upto``, in the unit of the table."""

    over: float
    upto: float
    proof: float
    tensile: float
    yield_stress: float


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
"""MPa, by diameter in mm (ISO 898-1; proof stresses 600, 650, 830 and 970 as quoted, 580 and the rest from memory)."""

_SAE: dict[str, tuple[_Row, ...]] = {
    "2": (_Row(0.2499, 0.75, 55, 74, 57), _Row(0.75, 1.5, 33, 60, 36)),
    "5": (_Row(0.2499, 1, 85, 120, 92), _Row(1, 1.5, 74, 105, 81)),
    "8": (_Row(0.2499, 1.5, 120, 150, 130),),
}
"""ksi, by diameter in inches (SAE J429 as two distributors print it; grade 2 above 3/4 in from memory)."""


def find_strength(grade: str, thread: Thread) -> BoltStrength | None:
    """Return the strengths in MPa of a property class (``10.9``) or an SAE grade (``grade 8``) in a thread size.

    ``None`` means that the tables do not have the class, or not in this size. Source: ISO 898-1 and SAE J429.
    """
    name = grade.strip().lower()
    for word in ("property class", "class", "sae", "grade", "gr.", "gr"):
        name = name.removeprefix(word).strip()
    for table, size, factor, source in (
        (_ISO, thread.diameter_mm, 1.0, "ISO 898-1"),
        (_SAE, thread.diameter_mm / 25.4, MPA_PER_KSI, "SAE J429"),
    ):
        for row in table.get(name, ()):
            if row.over < size <= row.upto:
                label = f"class {name}" if table is _ISO else f"grade {name}"
                return BoltStrength(label, row.proof * factor, row.tensile * factor, row.yield_stress * factor, source)
    return None


def strength(grade: str, thread: Thread) -> BoltStrength:
    """Return the same strengths as :func:`find_strength`, but never ``None``.

    Raises:
        CalculationError: the tables do not have the class, or not in this size.
    """
    found = find_strength(grade, thread)
    if found is None:
        known = ", ".join([*_ISO, *(f"grade {name}" for name in _SAE)])
        raise CalculationError("class", f"The strength of “{grade}” at {thread.name} is not known", f"Known: {known}.")
    return found


def proof_newtons(thread: Thread, found: BoltStrength) -> float:
    """Return the proof load in N: stress area times proof stress."""
    return found.proof * thread.stress_area_mm2


def proof_load(thread: Thread, grade: str) -> CalculationResult:
    """Return the proof load, load at yield and breaking load in N: stress area times strength.

    Source: ISO 898-1 and SAE J429 for the strengths.

    Raises:
        CalculationError: the tables do not have the class, or not in this size.
    """
    found = strength(grade, thread)
    area = thread.stress_area_mm2
    loads = (
        ("proof", "Proof load", "Fp = As × Sp", found.proof),
        ("yield", "Load at yield, at least", "Fy = As × Rp0.2", found.yield_stress),
        ("breaking", "Breaking load, at least", "Fm = As × Rm", found.tensile),
    )
    lines = tuple(
        line(name, title, area * stress, "N", formula, f"{area:.4g} mm² × {stress:.4g} MPa", digits=4)
        for name, title, formula, stress in loads
    )
    notes = (f"Stress area of {thread.name}: {thread.area_text}.", "Printed tables round these values differently.")
    return CalculationResult(f"Proof load of {thread.name}, {found.name}", lines, found.source, notes)


STRENGTH_CALCULATIONS = (
    Calculation(
        "proof-load",
        "Proof load of a bolt",
        (THREAD_FIELD, InputField("class", "Property class or grade", TextInput(), "10.9")),
        lambda inputs: proof_load(inputs.thread(), inputs.text("class")),
        "ISO 898-1; SAE J429",
    ),
)
