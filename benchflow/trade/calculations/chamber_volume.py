"""Chamber volume or milling for a wanted compression ratio, and the squish clearance."""

from fractions import Fraction
from math import pi

from benchflow.base.plaintext import with_article
from benchflow.procedure.model import Caution
from benchflow.quantity import Quantity, base, parse_quantity, show, show_converted
from benchflow.trade.calculations.input_checks import require_within
from benchflow.trade.calculations.inputs import (
    Calculation,
    InputField,
    Inputs,
    QuantityInput,
    WordInput,
    length_field,
    number_field,
)
from benchflow.trade.calculations.result import (
    CalculationError,
    CalculationResult,
    ResultLine,
    decimals_of,
    decimals_that_tell,
    line,
)
from benchflow.trade.rounding import amount, in_unit

GEOMETRY = "geometry"


def _cylinder(diameter: Quantity, height: Quantity) -> float:
    """Return π/4 × diameter² × height in cm³."""
    return pi / 4 * float(amount(diameter, "cm")) ** 2 * float(amount(height, "cm"))


def chamber_for_ratio(
    bore: Quantity,
    stroke: Quantity,
    ratio: Quantity,
    crown: Quantity,
    gasket_bore: Quantity,
    gasket: Quantity,
    deck: Quantity,
    head: Quantity | None = None,
    area: Quantity | None = None,
) -> CalculationResult:
    """Return the chamber volume for a wanted compression ratio in cm³, and the depth to mill.

    The volume at top dead centre is swept / (ratio − 1). ``crown``, ``gasket_bore``, ``gasket`` and ``deck`` are those
    of the compression ratio. With ``head``, the volume of the chamber now, the result has the difference. With
    ``area`` of the chamber at the face of the head as well, it has the depth to mill in the unit of ``gasket``.
    Source: geometry.

    Raises:
        CalculationError: an input is outside its range, the ratio cannot be reached, or there is an area without a
            volume.
    """
    _check_cylinder(bore, stroke, ratio, crown, gasket_bore, gasket, deck)
    if area is not None and head is None:
        raise CalculationError("head", "The area of the chamber is given, but not its volume now", "Enter both.")
    swept = _cylinder(bore, stroke)
    total = swept / (float(ratio.value) - 1)
    others = (float(amount(crown, "cm³")), _cylinder(gasket_bore, gasket), _cylinder(bore, deck))
    chamber = total - sum(others)
    if chamber <= 0:
        raise CalculationError(
            "ratio", f"A ratio of {show(ratio)} allows {total:.1f} cm³, but crown, gasket and deck have "
            f"{sum(others):.1f} cm³", "Choose a lower ratio, a thinner gasket or another piston.",
        )  # fmt: skip
    filled = f"{total:.2f} − " + " − ".join(f"{each:.2f}" for each in others).replace("− -", "+ ") + " cm³"
    lines = [
        line("chamber", "Chamber volume", chamber, "cm³", "volume at top − crown − gasket − deck", filled, decimals=1),
        line("clearance", "Volume at top dead centre", total, "cm³", "swept / (ratio − 1)",
             f"{swept:.1f} cm³ / ({show(ratio)} − 1)", decimals=2),
    ]  # fmt: skip
    notes = ["Assumed: the static ratio, without valve timing and without the gap beside the piston above its ring.",
             "Measure the volume of each chamber. Castings differ by several cm³."]  # fmt: skip
    if head is not None:
        notes += _milling(lines, chamber, head, area, gasket.unit, bore)
    return CalculationResult(f"Chamber volume for a ratio of {show(ratio)}", tuple(lines), GEOMETRY, tuple(notes))


def _check_cylinder(
    bore: Quantity,
    stroke: Quantity,
    ratio: Quantity,
    crown: Quantity,
    gasket_bore: Quantity,
    gasket: Quantity,
    deck: Quantity,
) -> None:
    require_within("bore", bore, "The bore", "20 mm", "600 mm")
    require_within("stroke", stroke, "The stroke", "10 mm", "1000 mm")
    require_within("ratio", ratio, "The compression ratio", "2", "30", "Write it like 10.5, without “:1”.")
    require_within("gasket", gasket, "The thickness of the gasket", "0 mm", "10 mm")
    require_within("deck", deck, "The distance to the deck", "-15 mm", "30 mm",
                   "Enter it positive if the piston is below the deck, negative if it is above.")  # fmt: skip
    if not base(bore) <= base(gasket_bore) <= base(bore) * Fraction(14, 10):
        raise CalculationError(
            "gasket-bore", f"The hole of the gasket ({show(gasket_bore)}) does not fit a bore of {show(bore)}",
            "It must not be smaller than the bore, and is seldom 10 % larger.",
        )  # fmt: skip
    if abs(float(amount(crown, "cm³"))) > _cylinder(bore, stroke):
        raise CalculationError("crown", f"A crown of {show(crown)} is more than the swept volume", "Check its unit.")


def _milling(
    lines: list[ResultLine], wanted: float, head: Quantity, area: Quantity | None, unit: str, bore: Quantity
) -> list[str]:
    """Add the difference of the volume and the depth to mill to ``lines``. Return the notes about them."""
    require_within("head", head, "The chamber volume", "1 cm³", "2000 cm³")
    difference = float(amount(head, "cm³")) - wanted
    lines.append(line("difference", "Chamber now larger than wanted by", difference, "cm³", "now − wanted",
                      f"{show(head)} − {wanted:.1f} cm³", decimals=1))  # fmt: skip
    if difference < 0:
        return ["The chamber is smaller than wanted. Milling cannot help: use a thicker gasket or enlarge the chamber."]
    if area is None:
        return ["To get the depth to mill, enter the area of the chamber at the face of the head as well."]
    if not Fraction(1, 20) <= base(area) / base(bore) ** 2 <= 1:
        raise CalculationError(
            "area", f"A chamber of {show(area)} at the face does not fit a bore of {show(bore)}",
            "Trace the edge of the chamber and measure its area. Check the unit.",
        )  # fmt: skip
    depth = float(amount(in_unit(Fraction(difference) / 10**6 / base(area), unit), unit))
    lines.append(line("mill", "Depth to mill", depth, unit, "difference / area",
                      f"{difference:.1f} cm³ / {show(area)}", decimals=3 if unit == "in" else 2))  # fmt: skip
    return [
        "Assumed: the wall of the chamber is square to the face over this depth. Mill less, measure, mill again.",
        "Milling brings the valves closer to the pistons and reduces the squish. Check both again, "
        "and the fit of the intake manifold on a V engine.",
    ]


# --- squish -----------------------------------------------------------------------------------------

LEAST_SQUISH: dict[str, Quantity] = {
    "steel": parse_quantity("0.040 in (1.0 mm)"),
    "aluminium": parse_quantity("0.060 in (1.5 mm)"),
}
"""Usual minimum squish by the material of the rod (common practice, no source; makers differ)."""
_SQUISH_SOURCE = "arithmetic; minimum: common practice, no source; the maker's figure comes first"


def squish(deck: Quantity, gasket: Quantity, step: Quantity | None = None, rod: str = "steel") -> CalculationResult:
    """Return the clearance of the flat of the piston to the head at top dead centre, and its margin, as ``gasket``.

    ``deck`` is the distance of the flat of the piston below the deck, negative above it. ``gasket`` is the thickness
    when tightened. ``step`` is the distance of the flat of the head above its face. ``rod`` is a key of
    ``LEAST_SQUISH``. The result is in the unit of ``gasket``. Source: arithmetic; the minimums are common practice.

    Raises:
        CalculationError: an input is outside its range.
        KeyError: there is no such material.
    """
    require_within("deck", deck, "The distance to the deck", "-15 mm", "30 mm",
                   "Enter it positive if the piston is below the deck, negative if it is above.")  # fmt: skip
    require_within("gasket", gasket, "The thickness of the gasket", "0 mm", "10 mm")
    least = LEAST_SQUISH[rod]
    parts = [deck, gasket]
    if step is not None:
        parts.append(require_within("step", step, "The step of the head", "-10 mm", "10 mm"))
    clearance = in_unit(sum((base(part) for part in parts), Fraction(0)), gasket.unit)
    decimals = decimals_of(*parts)
    spare = in_unit(base(clearance) - base(least), gasket.unit)
    lines = (
        line("squish", "Squish clearance", clearance.value, gasket.unit, "deck + gasket + step",
             " + ".join(map(show, parts)).replace("+ -", "− "), decimals=decimals),
        line("spare", "Above the usual minimum by", spare.value, gasket.unit, "squish − usual minimum",
             f"squish − {show_converted(least, gasket.unit)}",
             decimals=decimals_that_tell(spare.value, max(decimals, 2), 0)),
    )  # fmt: skip
    notes = (
        "Assumed: cold, at slow speed. A running engine closes part of it: the rod stretches and the piston rocks.",
        f"Usual minimum with {with_article(rod)} rod: {least.entered}.",
        "Check it with solder on the flat of the piston.",
    )
    cautions: tuple[Caution, ...] = ()
    if clearance.value <= 0:
        cautions = (Caution("caution", "The piston hits the head. Do not turn the engine."),)
    elif spare.value < 0:
        text = f"This is less than the usual minimum of {least.entered}. Use a thicker gasket, or ask the maker."
        cautions = (Caution("caution", text),)
    return CalculationResult("Squish clearance", lines, _SQUISH_SOURCE, notes, cautions=cautions)


def _chamber(inputs: Inputs) -> CalculationResult:
    names = ("bore", "stroke", "ratio", "crown", "gasket-bore", "gasket", "deck")
    bore, stroke, ratio, crown, gasket_bore, gasket, deck = inputs.quantities(*names)
    head, area = inputs.optional_quantity("head"), inputs.optional_quantity("area")
    return chamber_for_ratio(bore, stroke, ratio, crown, gasket_bore, gasket, deck, head, area)


_DECK = length_field("deck", "Piston below the deck at top (negative: above)", "0.13 mm")
_GASKET = length_field("gasket", "Gasket, tightened", "0.90 mm")

CHAMBER_CALCULATIONS = (
    Calculation(
        "chamber", "Chamber volume or milling for a compression ratio",
        (
            length_field("bore", "Bore", "102.4 mm"), length_field("stroke", "Stroke", "88.4 mm"),
            number_field("ratio", "Compression ratio wanted", "9.5"),
            InputField("crown", "Crown volume: dish positive, dome negative", QuantityInput("volume", "cm³"), "7 cm³"),
            length_field("gasket-bore", "Bore of the gasket", "105.8 mm"), _GASKET, _DECK,
            InputField("head", "Chamber volume now", QuantityInput("volume", "cm³"), "76 cm³", optional=True),
            InputField("area", "Area of the chamber at the face", QuantityInput("area", "cm²"), "52 cm²",
                       optional=True),
        ),
        _chamber, GEOMETRY,
    ),
    Calculation(
        "squish", "Squish clearance",
        (
            _DECK, _GASKET, length_field("step", "Flat of the head above its face", "0 mm", optional=True),
            InputField("rod", "Material of the rod (default: steel)", WordInput(tuple(LEAST_SQUISH)), "steel",
                       optional=True),
        ),
        lambda inputs: squish(
            inputs.quantity("deck"), inputs.quantity("gasket"), inputs.optional_quantity("step"),
            inputs.text("rod", "steel"),
        ),
        _SQUISH_SOURCE,
    ),
)  # fmt: skip
