"""Torque and preload of a bolt: T = K d F in both directions, the nut factor K, and the effect of a lubricant.

Most of the torque is lost to friction, so the preload is uncertain. Each preload is given with the scatter that is
usual for torque wrenches.
"""

from decimal import Decimal
from fractions import Fraction
from math import cos, pi, radians, sin
from typing import NamedTuple

from msgspec import Struct

from benchflow.quantity import Quantity, show
from benchflow.trade.calculations.bolt_load import (
    CLASS_FIELD,
    NECK_FIELD,
    check_load,
    check_stress,
    of_section,
    section_of_neck,
)
from benchflow.trade.calculations.bolt_resilience import WeakestSection, weakest_section
from benchflow.trade.calculations.bolt_strength import find_strength, proof_newtons
from benchflow.trade.calculations.input_checks import require_within
from benchflow.trade.calculations.inputs import (
    FORCE_UNIT_FIELD,
    THREAD_FIELD,
    TORQUE_UNIT_FIELD,
    Calculation,
    InputField,
    QuantityInput,
    WordInput,
    number_field,
    torque_field,
)
from benchflow.trade.calculations.result import (
    CalculationError,
    CalculationResult,
    ResultLine,
    digits_of,
    line,
    rounded_text,
)
from benchflow.trade.calculations.threads import Thread
from benchflow.trade.rounding import amount, unit_amount

SCATTER = Fraction(25, 100)
"""Preload scatter of a torque wrench: ±25 % (IFI Technical Data N-12 / N-16, as quoted)."""

SHORT_SOURCE = "T = K d F; scatter ±25 % after IFI Technical Data N-12 / N-16, as quoted"
_SCATTER_NOTE = (
    "Assumed: the nut factor of this lubricant and surface. Even then a torque wrench gives the preload only within "
    "about ±25 %."
)


def torque_for(
    preload: Quantity,
    thread: Thread,
    nut_factor: Decimal,
    unit: str = "N·m",
    grade: str = "",
    section: WeakestSection | None = None,
) -> CalculationResult:
    """Return the torque in ``unit`` that gives ``preload`` on average: T = K d F.

    ``nut_factor`` K has no unit. With a property class or ``grade``, the result includes the share of the proof load of
    ``section``, by default the thread. Source: IFI Technical Data N-12 / N-16, as quoted.

    Raises:
        CalculationError: the preload is not from 1 N to 10 MN, no bolt can carry it, the nut factor is not from 0.03 to
            0.6, or the class does not belong to the thread.
    """
    require_within("preload", preload, "The preload", "1 N", "10000000 N")
    newtons, weakest = float(amount(preload, "N")), section or weakest_section(thread)
    check_stress("preload", newtons / weakest.area, f"A preload of {show(preload)}")
    compared = check_load(newtons, thread, weakest, grade, preload.unit)
    k = _checked_nut_factor("nut-factor", nut_factor)
    torque = k * thread.diameter_mm / 1000 * newtons / unit_amount(unit, "N·m")
    filled = f"{nut_factor} × {thread.diameter:.4g} {thread.unit} × {show(preload)}"
    one = line("torque", "Torque", torque, unit, "T = K × d × F", filled, digits=digits_of(preload))
    title = f"Torque for a preload of {show(preload)} in {thread.name}"
    notes = (_SCATTER_NOTE, *compared.notes)
    return CalculationResult(title, (one, *compared.lines), SHORT_SOURCE, notes, cautions=compared.cautions)


def _checked_nut_factor(field: str, value: Decimal) -> float:
    if not Decimal("0.03") <= value <= Decimal("0.6"):
        hint = "It must be from 0.03 to 0.6. 0.1 to 0.3 is usual, 0.2 for dry steel."
        raise CalculationError(field, f"{value} cannot be a nut factor", hint)
    return float(value)


class _Preload(Struct, frozen=True):
    """A preload in N, and as a share of the proof load. The share is ``None`` if the class is not known."""

    newtons: float
    share: float | None


def _preload(
    torque: Quantity, thread: Thread, nut_factor: Decimal, grade: str, section: WeakestSection | None = None
) -> _Preload:
    newtons = float(amount(torque, "N·m")) / (_checked_nut_factor("nut-factor", nut_factor) * thread.diameter_mm / 1000)
    found = find_strength(grade, thread) if grade else None
    return _Preload(newtons, None if found is None else newtons / proof_newtons(thread, found, section))


def preload_of(
    torque: Quantity, thread: Thread, nut_factor: Decimal, grade: str, section: WeakestSection | None = None
) -> tuple[float, float | None]:
    """Return the preload in N, and its share of the proof load, ``None`` if ``grade`` is not known.

    ``section`` is the weakest cross-section of the bolt, by default the thread. The formula and its source are those of
    :func:`preload`.

    Raises:
        CalculationError: the nut factor is not within 0.03 to 0.6.
    """
    found = _preload(torque, thread, nut_factor, grade, section)
    return found.newtons, found.share


def preload(
    torque: Quantity,
    thread: Thread,
    nut_factor: Decimal,
    grade: str = "",
    unit: str = "kN",
    section: WeakestSection | None = None,
) -> CalculationResult:
    """Return the preload in ``unit`` that ``torque`` gives on average, F = T / (K d), and its scatter.

    With a property class or ``grade``, the result includes the share of the proof load of ``section`` in %, by default
    the thread. Source: IFI Technical Data
    N-12 / N-16 for the formula and the scatter of ±25 %, as quoted.

    Raises:
        CalculationError: the torque is not from 0.001 N·m to 100 kN·m, no bolt can carry the preload, the nut factor is
            not from 0.03 to 0.6, or the class does not belong to the thread.
    """
    _check_torque("torque", torque)
    weakest = section or weakest_section(thread)
    newtons = _preload(torque, thread, nut_factor, "").newtons
    check_stress("torque", newtons / weakest.area, f"A torque of {show(torque)}")
    compared = check_load(newtons, thread, weakest, grade, unit)
    average = newtons / unit_amount(unit, "N")
    low, high = float(1 - SCATTER), float(1 + SCATTER)
    filled = f"{show(torque)} / ({nut_factor} × {thread.diameter:.4g} {thread.unit})"
    about = rounded_text(average, unit)
    lines: list[ResultLine] = [
        line("preload", "Preload, about", average, unit, "F = T / (K × d)", filled),
        line("low", "Lowest with the scatter", average * low, unit, "0.75 × F", f"0.75 × {about}"),
        line("high", "Highest with the scatter", average * high, unit, "1.25 × F", f"1.25 × {about}"),
    ]
    notes = [_SCATTER_NOTE]
    if compared.share is not None and 1 / high < compared.share <= 1:
        notes.append("The highest preload is above the proof load.")
    return CalculationResult(
        f"Preload of {thread.name} at {show(torque)}", (*lines, *compared.lines), SHORT_SOURCE,
        (*notes, *compared.notes), cautions=compared.cautions,
    )  # fmt: skip


def _check_torque(field: str, torque: Quantity) -> None:
    require_within(field, torque, "The torque", "0.001 N·m", "100000 N·m")


def preload_text(
    torque: Quantity, thread: Thread, nut_factor: Decimal, grade: str = "", section: WeakestSection | None = None
) -> str:
    """Return the preload as one line for the bench: ``Preload about 46 kN ± 25 %, 91 % of proof load``.

    ``section`` is the weakest cross-section of the bolt, by default the thread. The formula and its source are those of
    :func:`preload`. An unknown ``grade`` leaves out the share.

    Raises:
        CalculationError: the nut factor is not within 0.03 to 0.6.
    """
    found = _preload(torque, thread, nut_factor, grade, section)
    decimals = 0 if found.newtons >= 10000 else 1
    text = f"Preload about {found.newtons / 1000:.{decimals}f} kN ± 25 %"
    if found.share is None:
        return text
    return f"{text}, {100 * found.share:.0f} % of proof load{'' if section is None else of_section(section)}"


def lubricant_change(torque: Quantity, assumed: Decimal, actual: Decimal) -> CalculationResult:
    """Return the torque that gives the same preload with another lubricant: T2 = T1 K2 / K1.

    ``assumed`` K1 and ``actual`` K2 are nut factors. The result is in the unit of ``torque``. Source: T = K d F at the
    same preload F.

    Raises:
        CalculationError: the torque is not from 0.001 N·m to 100 kN·m, or a nut factor is not from 0.03 to 0.6.
    """
    _check_torque("torque", torque)
    for field, value in (("assumed", assumed), ("actual", actual)):
        _checked_nut_factor(field, value)
    filled = f"{show(torque)} × {actual} / {assumed}"
    one = line("torque", "Torque", Fraction(torque.value) * Fraction(actual) / Fraction(assumed), torque.unit,
               "T2 = T1 × K2 / K1", filled, digits=digits_of(torque))  # fmt: skip
    notes = (
        "Assumed: the same preload, thread and surfaces. This is an estimate, because both nut factors scatter by a "
        "quarter and more. Prefer the maker's torque for this lubricant.",
    )
    return CalculationResult("Torque for another lubricant", (one,), "T = K d F at equal F", notes)


# --- nut factors ------------------------------------------------------------------------------------


class _NutFactors(NamedTuple):
    low: float
    high: float
    source: str


_DISTRIBUTOR = "a distributor's engineering data"
NUT_FACTORS: dict[str, _NutFactors] = {
    "dry-steel": _NutFactors(0.18, 0.27, f"{_DISTRIBUTOR}; 0.20 is the usual figure"),
    "machine-oil": _NutFactors(0.10, 0.26, f"{_DISTRIBUTOR}; 0.15 is the usual figure"),
    "cadmium-plated": _NutFactors(0.15, 0.19, _DISTRIBUTOR),
    "phosphated-and-oiled": _NutFactors(0.15, 0.22, _DISTRIBUTOR),
    "zinc-plated": _NutFactors(0.17, 0.35, _DISTRIBUTOR),
    "stainless-steel": _NutFactors(0.30, 0.50, _DISTRIBUTOR),
    "anti-seize": _NutFactors(0.12, 0.12, "a textbook's table, from memory"),
}
"""Published ranges of the nut factor K by the state of the threads, with their sources."""


def nut_factor_range(surface: str) -> CalculationResult:
    """Return the published range of the nut factor for ``surface``, a key of ``NUT_FACTORS``.

    The source is part of each entry of ``NUT_FACTORS``.

    Raises:
        KeyError: there is no such key.
    """
    found = NUT_FACTORS[surface]
    lines = (
        line("low", "Nut factor, from", found.low, "", "published range", surface, decimals=2),
        line("high", "Nut factor, to", found.high, "", "published range", surface, decimals=2),
    )
    notes = (
        "Assumed: steel threads of good finish. The ranges are wide. A nut factor from the maker, or a test on the "
        "joint itself, is better.",
    )
    return CalculationResult(f"Nut factor for {surface}", lines, found.source, notes)


LONG_SOURCE = "Shigley, 5th ed., eq. 8-19, and MIL-HDBK-60, eq. 100.5.1, both as quoted"


def nut_factor_from_friction(thread: Thread, thread_friction: Decimal, head_friction: Decimal) -> CalculationResult:
    """Return the nut factor K from the coefficients of friction in the thread and under the head, by two formulas.

    They apply to a thread with a 60° profile and a head that bears on a mean diameter of 1.25 d. The first formula uses
    the pitch diameter, the second is an approximation. They agree within about 1 %. Source: Shigley, 5th ed., eq. 8-19,
    and MIL-HDBK-60, eq. 100.5.1, both as quoted.

    Raises:
        CalculationError: a coefficient is not within 0.01 to 1.
    """
    for field, value in (("thread-friction", thread_friction), ("head-friction", head_friction)):
        if not Decimal("0.01") <= value <= Decimal(1):
            raise CalculationError(field, f"{value} is not a coefficient of friction", "0.08 to 0.20 is usual.")
    d, p, dp, mu = thread.diameter, thread.pitch, thread.pitch_diameter, float(thread_friction)
    slope, secant, sine = p / (pi * dp), 1 / cos(radians(30)), sin(radians(60))
    head = 0.625 * float(head_friction) * d
    by_pitch_diameter = (0.5 * dp * (slope + mu * secant) / (1 - mu * slope * secant) + head) / d
    by_handbook = (0.5 * p / pi + 0.5 * mu * (d - 0.75 * p * sine) / sine + head) / d
    filled = f"thread {thread_friction}, head {head_friction}, {thread.name}"
    lines = (
        line("nut-factor", "Nut factor K", by_pitch_diameter, "",
             "K = [d2/2 × (tan λ + μt sec β) / (1 − μt tan λ sec β) + 0.625 μc d] / d", filled),
        line("check", "Nut factor by the handbook formula", by_handbook, "",
             "K = [P/2π + μt/2 × (d − 0.75 P sin α) / sin α + 0.625 μc d] / d", filled),
    )  # fmt: skip
    notes = (
        "Assumed: a thread with a 60° profile, and a head that bears on a mean diameter of 1.25 d. With the real "
        "diameters of head and hole, use torque-by-friction.",
    )
    return CalculationResult(f"Nut factor of {thread.name}", lines, LONG_SOURCE, notes)


_NUT_FACTOR_FIELD = number_field("nut-factor", "Nut factor K (usual: 0.20 dry, 0.15 oiled)", "0.15")

TORQUE_CALCULATIONS = (
    Calculation(
        "preload", "Preload from torque, with its scatter",
        (
            torque_field("torque", "Torque", "60 N·m"), THREAD_FIELD, _NUT_FACTOR_FIELD,
            CLASS_FIELD, NECK_FIELD, FORCE_UNIT_FIELD,
        ),
        lambda inputs: preload(
            inputs.quantity("torque"), inputs.thread(), inputs.quantity("nut-factor").value, inputs.text("class"),
            inputs.text("unit", "kN"), section_of_neck(inputs),
        ),
        SHORT_SOURCE,
    ),
    Calculation(
        "torque-for-preload", "Torque for a preload",
        (
            InputField("preload", "Preload", QuantityInput("force", "kN"), "40 kN"), THREAD_FIELD, _NUT_FACTOR_FIELD,
            CLASS_FIELD, NECK_FIELD, TORQUE_UNIT_FIELD,
        ),
        lambda inputs: torque_for(
            inputs.quantity("preload"), inputs.thread(), inputs.quantity("nut-factor").value,
            inputs.text("unit", "N·m"), inputs.text("class"), section_of_neck(inputs),
        ),
        SHORT_SOURCE,
    ),
    Calculation(
        "nut-factor", "Nut factor from friction in the thread and under the head",
        (
            THREAD_FIELD, number_field("thread-friction", "Friction in the thread", "0.12"),
            number_field("head-friction", "Friction under the head", "0.12"),
        ),
        lambda inputs: nut_factor_from_friction(
            inputs.thread(), inputs.quantity("thread-friction").value, inputs.quantity("head-friction").value
        ),
        LONG_SOURCE,
    ),
    Calculation(
        "nut-factor-range", "Published range of the nut factor",
        (InputField("surface", "State of the threads", WordInput(tuple(NUT_FACTORS)), "dry-steel"),),
        lambda inputs: nut_factor_range(inputs.text("surface")),
        _DISTRIBUTOR,
    ),
    Calculation(
        "lubricant", "Torque for another lubricant",
        (
            torque_field("torque", "Torque as specified", "100 N·m"),
            number_field("assumed", "Nut factor of the specified lubricant", "0.20"),
            number_field("actual", "Nut factor of the lubricant used", "0.15"),
        ),
        lambda inputs: lubricant_change(
            inputs.quantity("torque"), inputs.quantity("assumed").value, inputs.quantity("actual").value
        ),
        "T = K d F",
    ),
)  # fmt: skip
