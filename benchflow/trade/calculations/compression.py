"""Compression ratio from measured volumes and lengths."""

from math import pi

from benchflow.quantity import Quantity, show
from benchflow.trade.calculations.inputs import Calculation, InputField, QuantityInput, length_field
from benchflow.trade.calculations.result import CalculationError, CalculationResult, line, require_positive
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
        CalculationError: the bore or stroke is not above zero, or no volume is left at top dead centre.
    """
    for field, value, label in (("bore", bore, "The bore"), ("stroke", stroke, "The stroke")):
        require_positive(field, value, label)
    swept = _cylinder_volume(bore, stroke)
    volumes = (
        float(amount(head, "cm³")),
        float(amount(crown, "cm³")),
        _cylinder_volume(gasket_bore, gasket),
        _cylinder_volume(bore, deck),
    )
    clearance = sum(volumes)
    if clearance <= 0:
        raise CalculationError("", "The volume above the piston is zero or less", "Check the volumes and lengths.")
    filled = " + ".join(f"{volume:.2f}" for volume in volumes).replace("+ -", "− ")
    lines = (
        line("swept", "Swept volume", swept, "cm³", "π/4 × bore² × stroke",
             f"π/4 × ({show(bore)})² × {show(stroke)}", digits=5),
        line("clearance", "Volume at top dead centre", clearance, "cm³", "chamber + crown + gasket + deck",
             f"{filled} cm³", digits=4),
        line("ratio", "Compression ratio", (swept + clearance) / clearance, "", "(swept + clearance) / clearance",
             f"({swept:.1f} + {clearance:.2f}) / {clearance:.2f}", decimals=2),
    )  # fmt: skip
    notes = ("This is the static ratio, without the effect of valve timing.",)
    return CalculationResult("Compression ratio", lines, "geometry", notes)


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
