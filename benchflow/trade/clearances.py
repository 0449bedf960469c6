"""Clearances and gaps: what is there, and the rules of thumb that it is held against.

Rules of thumb are common practice without a source to stand on; makers differ, and the maker of the part comes
first. They are here to catch a slip, not to specify.
"""

from decimal import Decimal
from fractions import Fraction

from msgspec import Struct

from benchflow.quantity import Quantity, base, show
from benchflow.trade.rounding import in_unit
from benchflow.trade.worked import Line, SumError, Worked, decimals_of, line, positive

COMMON = "common practice, no source; the maker's figure comes first"


def bearing(bore: Quantity, journal: Quantity) -> Worked:
    """Clearance of a plain bearing, exact, in the bore's unit, beside the rule of 0.001 in to the inch."""
    positive("journal", journal, "The journal")
    clearance = in_unit(base(bore) - base(journal), bore.unit)
    rule = rule_of_thumb(journal)
    places = decimals_of(bore, journal)
    lines = (
        line("clearance", "Clearance", clearance.value, bore.unit, "bore − journal", f"{show(bore)} − {show(journal)}",
             decimals=places),
        line("rule", "Rule of thumb", in_unit(base(rule), bore.unit).value, bore.unit, "0.001 × journal",
             f"0.001 × {show(journal)}", digits=2),
    )  # fmt: skip
    notes = ["Both at one temperature; the shell crushed in its bore, cap torqued."]
    if clearance.value <= 0:
        notes.insert(0, "That is no clearance at all: the journal is as large as the bore, or larger.")
    return Worked("Bearing clearance", lines, COMMON, tuple(notes))


def rule_of_thumb(journal: Quantity) -> Quantity:
    """0.001 in of clearance to the inch of journal (common practice, no source)."""
    return in_unit(base(journal) / 1000, journal.unit)


# --- ring gaps --------------------------------------------------------------------------------------


class RingGap(Struct, frozen=True):
    """Gap to the bore, top and second ring."""

    top: Fraction
    second: Fraction


RING_GAPS: dict[str, RingGap] = {
    "street": RingGap(Fraction("0.0040"), Fraction("0.0050")),
    "modified": RingGap(Fraction("0.0050"), Fraction("0.0055")),
    "racing": RingGap(Fraction("0.0055"), Fraction("0.0053")),
    "nitrous-or-turbo-race": RingGap(Fraction("0.0060"), Fraction("0.0057")),
    "blower": RingGap(Fraction("0.0070"), Fraction("0.0063")),
}
"""One maker's rule as quoted; another gives 0.0045 for street and 1.25 times the top gap for the second."""


def ring_gap(bore: Quantity, use: str, factor: Quantity | None = None) -> Worked:
    """Least end gaps by the bore and the use, or by the factor of the ring's maker for the top ring."""
    positive("bore", bore, "The bore")
    chosen = RING_GAPS.get(use)
    if factor is None and chosen is None:
        raise SumError("use", f"No rule is known here for “{use}”", f"Known: {', '.join(RING_GAPS)}.")
    lines: list[Line] = []
    if factor is not None:
        lines.append(_gap("top", "Top ring, at least", bore, Fraction(factor.value)))
    elif chosen is not None:
        lines.append(_gap("top", "Top ring, at least", bore, chosen.top))
        lines.append(_gap("second", "Second ring, at least", bore, chosen.second))
    notes = (
        "Square in the bore it is for. Too wide loses a little; too tight seizes.",
        "Oil rails: at least 0.015 in (0.38 mm).",
    )
    return Worked("Ring end gap", tuple(lines), COMMON, notes)


def _gap(name: str, title: str, bore: Quantity, factor: Fraction) -> Line:
    decimals = 3 if bore.unit == "in" else 2
    return line(name, title, Fraction(bore.value) * factor, bore.unit, "factor × bore",
                f"{float(factor):.4f} × {show(bore)}", decimals=decimals)  # fmt: skip


# --- piston to valve --------------------------------------------------------------------------------

PISTON_TO_VALVE: dict[str, Quantity] = {
    "intake": Quantity(Decimal("0.080"), "in", "0.080 in"),
    "exhaust": Quantity(Decimal("0.100"), "in", "0.100 in"),
}
"""Least clearances often printed (makers differ; some ask 0.080 in of both, more with aluminium rods)."""


def piston_to_valve(measured: Quantity, valve: str, lash: Quantity | None = None) -> Worked:
    """Clearance at the closest, by clay or by pushing the valve down against a dial, held against the usual least.

    ``lash`` is added where the measurement was made without it (no clearance at the valve), since at work the
    valve stays that much further away.
    """
    least = PISTON_TO_VALVE.get(valve)
    if least is None:
        raise SumError("valve", f"“{valve}” is no valve here", "intake or exhaust.")
    clearance = base(measured) + (Fraction(0) if lash is None else base(lash))
    decimals = decimals_of(measured) if lash is None else decimals_of(measured, lash)
    told = show(measured) if lash is None else f"{show(measured)} + {show(lash)}"
    spare = in_unit(clearance - base(least), measured.unit).value
    lines = (
        line("clearance", "Clearance", in_unit(clearance, measured.unit).value, measured.unit, "measured + lash", told,
             decimals=decimals),
        line("spare", "More than the usual least by", spare, measured.unit, "clearance − usual least",
             f"clearance − {show(least)}", decimals=max(decimals, 2)),
    )  # fmt: skip
    notes = ["Look from 20° before to 20° after top: the closest is not at top itself.",
             "Look at the side as well: 0.050 in round the valve is usual."]  # fmt: skip
    if spare < 0:
        notes.insert(0, "That is less than the usual least. Do not turn it over by anything but hand.")
    return Worked(f"Piston to {valve} valve", lines, COMMON, tuple(notes))


# --- flatness ---------------------------------------------------------------------------------------


FLATNESS = Fraction("0.00075")
"""Out of flat to the length, one maker's figure."""


def flatness(span: Quantity, ratio: Fraction = FLATNESS) -> Worked:
    """What a surface of that length may be out by, where the maker gives it by the length."""
    positive("span", span, "The length")
    if not 0 < ratio < Fraction(1, 10):
        raise SumError("ratio", f"{float(ratio):g} to one is not flat at all", "Such as 0.00075.")
    first = line("allowed", "Out of flat, at most", Fraction(span.value) * ratio, span.unit, "ratio × length",
                 f"{float(ratio):.5g} × {show(span)}", digits=2)  # fmt: skip
    notes = ("Along, across and corner to corner. Makers differ widely: 0.03 mm to 0.2 mm have been printed.",)
    return Worked("Flatness", (first,), "one maker's manual", notes)
