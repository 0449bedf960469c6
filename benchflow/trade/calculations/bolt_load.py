"""The load of a bolt compared with its proof load, in the weakest cross-section: thread, neck or thin shank."""

from math import pi

from msgspec import Struct

from benchflow.procedure.model import Caution
from benchflow.quantity import show
from benchflow.trade.calculations.bolt_resilience import WeakestSection, weakest_section
from benchflow.trade.calculations.bolt_strength import proof_newtons, strength
from benchflow.trade.calculations.inputs import InputField, Inputs, QuantityInput, TextInput
from benchflow.trade.calculations.result import CalculationError, ResultLine, line, rounded_text
from benchflow.trade.calculations.threads import Thread
from benchflow.trade.rounding import amount, unit_amount

HIGHEST_PROOF_STRESS = 970
"""MPa. Proof stress of class 12.9, the strongest class of ISO 898-1."""

_MOST_STRESS = 2500
"""MPa. No bolt carries more, so a higher stress is a wrong input (own rule)."""

NO_CLASS = "Without a property class, the preload is not compared with the proof load."

CLASS_FIELD = InputField("class", "Property class or grade", TextInput(), "10.9", optional=True)
NECK_FIELD = InputField(
    "neck-diameter", "Neck or shank thinner than the thread, diameter", QuantityInput("length", "mm"), "8.5 mm",
    optional=True,
)  # fmt: skip


def check_stress(field: str, megapascals: float, label: str) -> None:
    """Check that a stress is one that a bolt can have.

    Raises:
        CalculationError: it is above 2500 MPa.
    """
    if megapascals > _MOST_STRESS:
        raise CalculationError(
            field, f"{label} would mean a stress of {rounded_text(megapascals, 'MPa')} in the bolt",
            "No bolt carries that. Check the number and its unit, the thread and the lengths.",
        )  # fmt: skip


def section_of_neck(inputs: Inputs) -> WeakestSection:
    """Return the weakest cross-section of a bolt with the optional field :data:`NECK_FIELD`.

    Raises:
        CalculationError: the neck is not from 0.4 to 1 times the thread size.
    """
    thread, neck = inputs.thread(), inputs.optional_quantity(NECK_FIELD.name)
    if neck is None:
        return weakest_section(thread)
    diameter = float(amount(neck, "mm"))
    if not 0.4 <= diameter / thread.diameter_mm <= 1:
        raise CalculationError(
            NECK_FIELD.name, f"A neck of {show(neck)} does not belong to a bolt {thread.name}",
            "It has 0.4 to 1 times the thread size. Check the number and its unit.",
        )  # fmt: skip
    area = pi / 4 * diameter**2
    thread_area = thread.stress_area_mm2
    return WeakestSection("neck", area) if area < thread_area else weakest_section(thread)


class LoadCheck(Struct, frozen=True):
    """A load compared with the proof load: lines, notes and cautions for the result of a calculation.

    ``share`` is the load as a share of the proof load. It is ``None`` without a property class.
    """

    share: float | None
    lines: tuple[ResultLine, ...]
    notes: tuple[str, ...]
    cautions: tuple[Caution, ...]


def check_load(newtons: float, thread: Thread, section: WeakestSection, grade: str, unit: str) -> LoadCheck:
    """Compare a load with the proof load of ``section``. ``unit`` is the unit of force for the lines.

    Without a ``grade``, a stress above the proof stress of class 12.9 gives a caution. Source: ISO 898-1, SAE J429 and
    ASTM for the strengths; a neck carries its area times the proof stress of the class.

    Raises:
        CalculationError: the class does not belong to the thread, or the tables do not have it in this size.
    """
    stress = newtons / section.area
    if not grade:
        cautions = () if stress <= HIGHEST_PROOF_STRESS else (_no_class_caution(stress, section),)
        return LoadCheck(None, (), (NO_CLASS,), cautions)
    found = strength(grade, thread)
    limit = proof_newtons(thread, found, section)
    if section.name == "thread":
        formula, filled = "proof load of the class", f"{thread.name}, {found.name}"
    else:
        formula = f"area of the {section.name} × proof stress"
        filled = f"{section.area:.4g} mm² × {found.proof:.4g} MPa"
    per_unit = unit_amount(unit, "N")
    proof = line("proof", f"Proof load{of_section(section)}, at most", limit / per_unit, unit, formula, filled)
    share = newtons / limit
    percent = line("share", "Share of proof load", 100 * share, "%", "F / proof load",
                   f"{rounded_text(newtons / per_unit, unit)} / {proof.shown}", decimals=0)  # fmt: skip
    cautions = () if share <= 1 else (_over_caution(percent.shown, section),)
    return LoadCheck(share, (proof, percent), (), cautions)


def of_section(section: WeakestSection) -> str:
    """Return `` of the neck`` for a neck or a thin shank, "" for the thread."""
    return "" if section.name == "thread" else f" of the {section.name}"


def _over_caution(percent: str, section: WeakestSection) -> Caution:
    text = (
        f"This is {percent} of the proof load{of_section(section)}: above the proof load, the bolt may yield, and the "
        "preload is then less than calculated. Check the inputs. Tighten so only where the maker tightens into yield."
    )
    return Caution("caution", text)


def _no_class_caution(stress: float, section: WeakestSection) -> Caution:
    text = (
        f"The stress in the {section.name} is {rounded_text(stress, 'MPa')}, more than the proof stress of class 12.9 "
        f"({HIGHEST_PROOF_STRESS} MPa). Most bolts yield. Enter the property class, or use the maker's strength."
    )
    return Caution("caution", text)
