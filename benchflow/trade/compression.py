"""Compression ratio from what is measured. Volumes in cm³ inside, exact but for pi."""

from math import pi

from benchflow.quantity import Quantity, show
from benchflow.trade.rounding import amount
from benchflow.trade.worked import SumError, Worked, line, positive


def cylinder_volume(bore: Quantity, height: Quantity) -> float:
    """π/4 × bore² × height, in cm³."""
    return pi / 4 * float(amount(bore, "cm")) ** 2 * float(amount(height, "cm"))


def compression_ratio(
    bore: Quantity,
    stroke: Quantity,
    head: Quantity,
    crown: Quantity,
    gasket_bore: Quantity,
    gasket: Quantity,
    deck: Quantity,
) -> Worked:
    """CR = (swept + clearance) / clearance.

    ``head`` is the chamber's volume; ``crown`` the piston's: a dish or valve pockets count up, a dome down
    (negative). ``gasket_bore`` and ``gasket`` are the gasket's hole and its thickness when tightened; ``deck``
    is how far the piston stays below the deck at top dead centre, negative where it stands proud.
    """
    for field, value, what in (("bore", bore, "The bore"), ("stroke", stroke, "The stroke")):
        positive(field, value, what)
    swept = cylinder_volume(bore, stroke)
    parts = {
        "the chamber": float(amount(head, "cm³")),
        "the crown": float(amount(crown, "cm³")),
        "the gasket": cylinder_volume(gasket_bore, gasket),
        "the deck": cylinder_volume(bore, deck),
    }
    clearance = sum(parts.values())
    if clearance <= 0:
        raise SumError("", "Nothing is left above the piston: the volumes add up to nought or less")
    told = " + ".join(f"{volume:.2f}" for volume in parts.values()).replace("+ -", "− ")
    lines = (
        line("swept", "Swept volume", swept, "cm³", "π/4 × bore² × stroke",
             f"π/4 × ({show(bore)})² × {show(stroke)}", digits=5),
        line("clearance", "Volume at top dead centre", clearance, "cm³", "chamber + crown + gasket + deck",
             f"{told} cm³", digits=4),
        line("ratio", "Compression ratio", (swept + clearance) / clearance, "", "(swept + clearance) / clearance",
             f"({swept:.1f} + {clearance:.2f}) / {clearance:.2f}", decimals=2),
    )  # fmt: skip
    notes = ("Static ratio: valve timing has no part in it.",)
    return Worked("Compression ratio", lines, "geometry", notes)
