"""Strengths of property classes and grades, proof loads of bolts, and whether class and thread belong together.

A metric thread has the property classes of ISO 898-1. An inch thread has the grades of SAE J429 and of ASTM.
"""

import re
from typing import Literal

from msgspec import Struct

from benchflow.base.plaintext import sentence
from benchflow.trade.calculations.bolt_resilience import WeakestSection
from benchflow.trade.calculations.inputs import THREAD_FIELD, Calculation, InputField, TextInput
from benchflow.trade.calculations.proof_loads import PROOF_LOADS
from benchflow.trade.calculations.result import CalculationError, CalculationResult, line
from benchflow.trade.calculations.thread_series import special_hint, thread_problem
from benchflow.trade.calculations.threads import Thread, ThreadError, parse_thread

MPA_PER_KSI = 6.894757293168361


class BoltStrength(Struct, frozen=True):
    """Strengths of a bolt in MPa. ``yield_stress`` is the yield stress or the 0.2 % proof stress."""

    name: str
    proof: float
    tensile: float
    yield_stress: float
    source: str
    key: str = ""


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
    "1": (_Row(0.2499, 1.5, 33, 60, 36),),
    "2": (_Row(0.2499, 0.75, 55, 74, 57), _Row(0.75, 1.5, 33, 60, 36)),
    "4": (_Row(0.2499, 1.5, 65, 115, 100),),
    "5": (_Row(0.2499, 1, 85, 120, 92), _Row(1, 1.5, 74, 105, 81)),
    "5.2": (_Row(0.2499, 1, 85, 120, 92),),
    "7": (_Row(0.2499, 1.5, 105, 133, 115),),
    "8": (_Row(0.2499, 1.5, 120, 150, 130),),
    "8.2": (_Row(0.2499, 1, 120, 150, 130),),
}
"""ksi, by diameter in inches (SAE J429: grades 2, 5 and 8 as two distributors print them; the rest, and grade 2 above
3/4 in, as Shigley table 8-9, from memory)."""

_ASTM: dict[str, tuple[_Row, ...]] = {
    "A307": (_Row(0.2499, 1.5, 33, 60, 36),),
    "A325": (_Row(0.4999, 1, 85, 120, 92), _Row(1, 1.5, 74, 105, 81)),
    "A354 BC": (_Row(0.2499, 2.5, 105, 125, 109), _Row(2.5, 4, 95, 115, 99)),
    "A354 BD": (_Row(0.2499, 4, 120, 150, 130),),
    "A449": (_Row(0.2499, 1, 85, 120, 92), _Row(1, 1.5, 74, 105, 81), _Row(1.5, 3, 55, 90, 58)),
    "A490": (_Row(0.4999, 1.5, 120, 150, 130),),
}
"""ksi, by diameter in inches (ASTM, as Shigley table 8-10; from memory)."""

_NUT_CLASSES = ("04", "05", "4", "5", "6", "8", "9", "10", "12")
"""Classes of metric nuts (ISO 898-2; from memory)."""

_STAINLESS = re.compile(r"[ACFD]\d-\d{2,3}")
_ISO_NAMES = ", ".join(_ISO)
_INCH_NAMES = f"{', '.join(f'grade {name}' for name in _SAE)}, {', '.join(_ASTM)}"
_WORDS = re.compile(r"^(?:PROPERTY CLASS|CLASS|SAE|ASTM|J429|GRADE|GR\.?|ISO)\b\.?\s*")
_NUT = re.compile(r"^NUTS?\b\s*")

Family = Literal["iso", "sae", "astm", "nut", "stainless", ""]


class _ClassName(Struct, frozen=True):
    """A class as written: its key in a table, whether it says ``nut``, and whether it says ``grade`` or ``SAE``."""

    key: str
    nut: bool
    inch: bool


def _class_name(text: str) -> _ClassName:
    key, inch = " ".join(text.upper().split()), False
    nut = _NUT.match(key) is not None
    key = _NUT.sub("", key)
    while found := _WORDS.match(key):
        inch = inch or found[0].startswith(("SAE", "GR", "J429", "ASTM"))
        key = key[found.end() :]
    key = re.sub(r"^(A\d{3})[- ]?(?:GRADE |GR\.? ?|TYPE )?(.*)$", lambda m: f"{m[1]} {m[2]}".strip(), key)
    return _ClassName(key, nut, inch)


def _family(name: _ClassName, thread: Thread) -> Family:
    """Return the family of a class. The thread decides whether ``8`` is a nut class or a grade of SAE J429."""
    if name.key in _ISO:
        return "iso"
    if name.key in _ASTM:
        return "astm"
    if _STAINLESS.fullmatch(name.key):
        return "stainless"
    if name.key in _SAE and (name.inch or (thread.system == "unified" and not name.nut)):
        return "sae"
    if name.key in _NUT_CLASSES:
        return "nut"
    return "sae" if name.key in _SAE else ""


def find_strength(grade: str, thread: Thread) -> BoltStrength | None:
    """Return the strengths in MPa of a property class (``10.9``) or a grade (``grade 8``, ``A449``) in a thread size.

    ``None`` means that the tables do not have the class, or not in this size, or that it does not belong to the thread.
    Source: ISO 898-1 for metric threads; SAE J429 and ASTM for inch threads.
    """
    name = _class_name(grade)
    family = _family(name, thread)
    if name.nut or (thread.system == "metric") != (family == "iso"):
        return None
    table, size, factor, source, label = {
        "iso": (_ISO, thread.diameter_mm, 1.0, "ISO 898-1 (from memory)", f"class {name.key}"),
        "sae": (_SAE, thread.diameter, MPA_PER_KSI, "SAE J429 (from memory)", f"grade {name.key}"),
        "astm": (_ASTM, thread.diameter, MPA_PER_KSI, "ASTM, as Shigley table 8-10 (from memory)", name.key),
    }.get(family, ({}, 0.0, 1.0, "", ""))
    for row in table.get(name.key, ()):
        if row.over < size <= row.upto:
            return BoltStrength(
                label, row.proof * factor, row.tensile * factor, row.yield_stress * factor, source, name.key
            )
    return None


# --- class and thread together ----------------------------------------------------------------------


class FastenerProblem(Struct, frozen=True):
    """Something wrong with the thread or the class of a fastener. ``why`` and ``hint`` are sentences."""

    field: Literal["thread", "class"]
    why: str
    hint: str


def class_problem(grade: str, thread: Thread) -> FastenerProblem | None:
    """Return why ``grade`` cannot be the class of a bolt with this thread, ``None`` if it can.

    Nut classes (``nut 8``) and stainless classes (``A2-70``) belong to a metric thread, but have no proof load here.
    Source: ISO 898-1, ISO 898-2, ISO 3506-1, SAE J429 and ASTM (from memory).
    """
    name = _class_name(grade)
    family = _family(name, thread)
    metric = thread.system == "metric"
    if find_strength(grade, thread) is not None:
        return None
    if metric and (family == "stainless" or (name.nut and family == "nut")):
        return None
    why, hint = f"The strength of “{grade}” at {thread.name} is not known", f"Known: {_names(metric)}."
    if metric and family in ("sae", "astm"):
        book = "a grade of SAE J429" if family == "sae" else "an ASTM grade"
        why = f"“{grade}” is {book} for inch threads, but {thread.name} is metric"
        hint = f"Metric bolts have the classes {_ISO_NAMES}."
    elif metric and family == "nut":
        why = (
            f"“{grade}” is a class of metric nuts (ISO 898-2). The class of a metric bolt has two numbers, such as 8.8"
        )
        hint = f"Write the class of the bolt, or “nut {name.key}” for a nut."
    elif not metric and family in ("iso", "stainless"):
        why = f"“{grade}” is a metric class, but {thread.name} is an inch thread"
        hint = f"Inch bolts have: {_INCH_NAMES}."
    elif family in ("iso", "sae", "astm"):
        hint = f"The tables have it {_sizes(family, name.key)}."
    return FastenerProblem("class", sentence(why), hint)


def _names(metric: bool) -> str:
    return _ISO_NAMES if metric else _INCH_NAMES


def _sizes(family: Family, key: str) -> str:
    rows = {"iso": _ISO, "sae": _SAE, "astm": _ASTM}[family][key]
    if family == "iso":
        return f"up to M{rows[-1].upto:g}"
    return f"from {rows[0].over + 0.0001:g} to {rows[-1].upto:g} in"


def fastener_problems(thread_text: str, grade: str) -> tuple[FastenerProblem, ...]:
    """Return what is wrong with the thread and the class of a joint, as its author wrote them.

    "" for either means that it was not given. The problems are warnings: the procedure can be followed without a
    preload estimate. Source: ISO 261, ASME B1.1, and the sources of :func:`class_problem`.
    """
    if not thread_text:
        return ()
    try:
        thread = parse_thread(thread_text)
    except ThreadError as error:
        return (FastenerProblem("thread", sentence(str(error)), ""),)
    found = []
    problem = thread_problem(thread)
    if problem:
        found.append(FastenerProblem("thread", sentence(problem), special_hint(thread)))
    wrong_class = class_problem(grade, thread) if grade else None
    if wrong_class is not None:
        found.append(wrong_class)
    return tuple(found)


def strength(grade: str, thread: Thread) -> BoltStrength:
    """Return the same strengths as :func:`find_strength`, but never ``None``.

    Raises:
        CalculationError: the class does not belong to the thread, or the tables do not have it in this size.
    """
    found = find_strength(grade, thread)
    if found is None:
        problem = class_problem(grade, thread) or FastenerProblem(
            "class", f"The proof load of “{grade}” is not known", f"Known: {_names(thread.system == 'metric')}."
        )
        raise CalculationError("class", problem.why, problem.hint)
    return found


# --- proof load -------------------------------------------------------------------------------------


def proof_newtons(thread: Thread, found: BoltStrength, section: WeakestSection | None = None) -> float:
    """Return the proof load in N: the printed value of ISO 898-1 if there is one, or stress area times proof stress.

    A neck or thin shank as the weakest ``section`` carries its area times the proof stress.
    """
    printed = PROOF_LOADS.get((thread.name, found.key))
    of_thread = found.proof * thread.stress_area_mm2 if printed is None else float(printed)
    if section is None or section.name == "thread":
        return of_thread
    return min(of_thread, found.proof * section.area)


def proof_load(thread: Thread, grade: str) -> CalculationResult:
    """Return the proof load, load at yield and breaking load in N.

    The proof load is the printed value of ISO 898-1 if there is one. All other loads are stress area times strength.

    Source: ISO 898-1, SAE J429 and ASTM for the strengths.

    Raises:
        CalculationError: the class does not belong to the thread, or the tables do not have it in this size.
    """
    found = strength(grade, thread)
    area = thread.stress_area_mm2
    printed = PROOF_LOADS.get((thread.name, found.key))
    calculated = line("proof", "Proof load", area * found.proof, "N", "Fp = As × Sp",
                      f"{area:.4g} mm² × {found.proof:.4g} MPa", digits=4)  # fmt: skip
    lines = [calculated]
    if printed is None:
        assumed = "Assumed: proof load as stress area × proof stress, because no printed value is known."
    else:
        lines = [
            line("proof", "Proof load", float(printed), "N", "as ISO 898-1 prints it", f"{thread.name}, {found.name}",
                 decimals=0),
            line("calculated", "Stress area × proof stress", area * found.proof, "N", calculated.formula,
                 f"{area:.4g} mm² × {found.proof:.4g} MPa", digits=4),
        ]  # fmt: skip
        assumed = "Assumed: the printed proof load counts. It is rounded, by up to 0.6 %."
    lines += [
        line(name, title, area * stress, "N", formula, f"{area:.4g} mm² × {stress:.4g} MPa", digits=4)
        for name, title, formula, stress in (
            ("yield", "Load at yield, at least", "Fy = As × Rp0.2", found.yield_stress),
            ("breaking", "Breaking load, at least", "Fm = As × Rm", found.tensile),
        )
    ]
    notes = (assumed, f"Stress area of {thread.name}: {thread.area_text}. Tension only, no torsion, full thread.")
    return CalculationResult(f"Proof load of {thread.name}, {found.name}", tuple(lines), found.source, notes)


STRENGTH_CALCULATIONS = (
    Calculation(
        "proof-load",
        "Proof load of a bolt",
        (THREAD_FIELD, InputField("class", "Property class or grade", TextInput(), "10.9")),
        lambda inputs: proof_load(inputs.thread(), inputs.text("class")),
        "ISO 898-1; SAE J429; ASTM (from memory)",
    ),
)
