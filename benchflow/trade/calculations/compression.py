"""Compression ratio from measured volumes and lengths."""

from math import pi

from benchflow.procedure.model import Caution
from benchflow.quantity import Quantity, show
from benchflow.trade.calculations.input_checks import require_not_negative, require_within
from benchflow.trade.calculations.inputs import Calculation, InputField, QuantityInput, length_field
from benchflow.trade.calculations.result import CalculationError, CalculationResult, line, rounded_text
from benchflow.trade.rounding import amount


def _cylinder_volume(bore: Quantity, height: Quantity) -> float:
    """Return π/4 × bore² × height in cm³."""
    return pi / 4 * float(amount(bore, "cm")) ** 2 * float(amount(height, "cm"))


def compression_ratio(
    bore: Quantity,
    stroke: Quantity,
    head: Quantity,
    crown: Quantity,
    gasket_bore: Quantity,
    gasket: Quantity,
    deck: Quantity,
) -> CalculationResult:
    """Return the swept volume and the volume at top dead centre in cm³, and the static compression ratio.

    The ratio is (swept + clearance) / clearance. ``head`` is the volume of the chamber. ``crown`` is the volume in the
    piston crown: positive for a dish or valve pockets, negative for a dome. ``gasket_bore`` is the hole of the gasket
    and ``gasket`` its thickness when tightened. ``deck`` is the distance from the piston to the deck at top dead
    centre, negative above the deck. Source: geometry.

    Raises:
        CalculationError: the bore or stroke is not from 10 mm to 1.1 or 3 m, the gasket is below zero or thicker than
            20 mm, its bore is not 1 to 1.5 times the bore, the deck is not from -20 to 50 mm, a volume is larger than
            the swept volume, or no volume is left at top dead centre.
    """
    require_within("bore", bore, "The bore", "10 mm", "1100 mm")
    require_within("stroke", stroke, "The stroke", "10 mm", "3000 mm")
    swept = _cylinder_volume(bore, stroke)
    _check_gasket(bore, gasket_bore, gasket)
    require_within("deck", deck, "The distance from the piston to the deck", "-20 mm", "50 mm")
    require_not_negative("head", head, "The volume of the chamber", "A flat head has 0 cm³.")
    for field, volume, label in (("head", head, "A chamber"), ("crown", crown, "A crown volume")):
        if abs(float(amount(volume, "cm³"))) > swept:
            raise CalculationError(
                field, f"{label} of {show(volume)} is larger than the swept volume of {rounded_text(swept, 'cm³')}",
                "Check the number and its unit, the bore and the stroke.",
            )  # fmt: skip
    volumes = (
        float(amount(head, "cm³")),
        float(amount(crown, "cm³")),
        _cylinder_volume(gasket_bore, gasket),
        _cylinder_volume(bore, deck),
    )
    clearance = sum(volumes)
    if clearance <= 0:
        raise CalculationError(
            "", "The volume above the piston at top dead centre would be zero or less: "
            f"{rounded_text(clearance, 'cm³')}",
            "Check the volumes and lengths. A dome and a piston above the deck are negative.",
        )  # fmt: skip
    filled = " + ".join(f"{volume:.2f}" for volume in volumes).replace("+ -", "− ")
    lines = (
        line("swept", "Swept volume", swept, "cm³", "π/4 × bore² × stroke",
             f"π/4 × ({show(bore)})² × {show(stroke)}", digits=5),
        line("clearance", "Volume at top dead centre", clearance, "cm³", "chamber + crown + gasket + deck",
             f"{filled} cm³", digits=4),
        line("ratio", "Compression ratio", (swept + clearance) / clearance, "", "(swept + clearance) / clearance",
             f"({swept:.1f} + {clearance:.2f}) / {clearance:.2f}", decimals=2),
    )  # fmt: skip
    notes = [
        "Assumed: round bores, a flat gasket of even thickness, and the crown volume below the edge of the piston. "
        "The volume round the piston above the top ring is left out.",
        "This is the static ratio, without the effect of valve timing.",
    ]
    cautions: tuple[Caution, ...] = ()
    gap = amount(deck, "mm") + amount(gasket, "mm")
    if gap <= 0:
        text = "The edge of the piston reaches the head: deck and gasket leave no gap. Do not turn the engine."
        cautions = (Caution("caution", text),)
    ratio = lines[-1].value.value
    if not 5 <= ratio <= 25:
        notes.insert(0, f"A ratio of {ratio} is unusual: 7 to 15 is common, up to 24 for a diesel. Check the inputs.")
    return CalculationResult("Compression ratio", lines, "geometry", tuple(notes), cautions=cautions)


def _check_gasket(bore: Quantity, gasket_bore: Quantity, gasket: Quantity) -> None:
    require_within("gasket", gasket, "The thickness of the gasket", "0 mm", "20 mm",
                   "Enter its thickness when tightened. Without a gasket it is 0 mm.")  # fmt: skip
    if not 1 <= amount(gasket_bore, "mm") / amount(bore, "mm") <= 1.5:
        raise CalculationError(
            "gasket-bore", f"A gasket with a bore of {show(gasket_bore)} does not belong to a bore of {show(bore)}",
            "It has 1 to 1.5 times the bore: it must not reach into the bore. Check the number and its unit.",
        )  # fmt: skip


COMPRESSION_CALCULATIONS = (
    Calculation(
        "compression", "Compression ratio",
        (
            length_field("bore", "Bore", "4.03 in"), length_field("stroke", "Stroke", "3.48 in"),
            InputField("head", "Chamber volume", QuantityInput("volume", "cm³"), "76 cm³"),
            InputField("crown", "Crown volume: dish positive, dome negative", QuantityInput("volume", "cm³"), "7 cm³"),
            length_field("gasket-bore", "Bore of the gasket", "4.166 in"),
            length_field("gasket", "Gasket, tightened", "0.035 in"),
            length_field("deck", "Piston below the deck (negative: above)", "0.005 in"),
        ),
        lambda inputs: compression_ratio(
            *inputs.quantities("bore", "stroke", "head", "crown", "gasket-bore", "gasket", "deck")
        ),
        "geometry",
    ),
)  # fmt: skip
