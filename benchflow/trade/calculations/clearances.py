"""Bearing clearance, ring gap, piston-to-valve clearance and flatness, with the usual rules of thumb.

The rules of thumb are common practice without a source. Makers differ, and the maker's figure comes first: the
rules are for finding a mistake in a measurement, not for specifying.
"""

from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from benchflow.quantity import Quantity, base, show
from benchflow.trade.calculations.inputs import (
    Calculation,
    InputField,
    Inputs,
    WordInput,
    length_field,
    number_field,
)
from benchflow.trade.calculations.result import (
    CalculationError,
    CalculationResult,
    ResultLine,
    decimals_of,
    line,
    positive,
)
from benchflow.trade.rounding import in_unit

COMMON = "common practice, no source; the maker's figure comes first"


def bearing(bore: Quantity, journal: Quantity) -> CalculationResult:
    """Clearance of a plain bearing in the unit of ``bore``, and the rule of 0.001 in per inch of journal."""
    positive("journal", journal, "The journal")
    clearance = in_unit(base(bore) - base(journal), bore.unit)
    lines = (
        line("clearance", "Clearance", clearance.value, bore.unit, "bore − journal", f"{show(bore)} − {show(journal)}",
             decimals=decimals_of(bore, journal)),
        line("rule", "Rule of thumb", in_unit(base(journal) / 1000, bore.unit).value, bore.unit, "0.001 × journal",
             f"0.001 × {show(journal)}", digits=2),
    )  # fmt: skip
    notes = ["Measure both at the same temperature, with the shells in place and the cap torqued."]
    if clearance.value <= 0:
        notes.insert(0, "There is no clearance: the journal is as large as the bore, or larger.")
    return CalculationResult("Bearing clearance", lines, COMMON, tuple(notes))


# --- ring gaps --------------------------------------------------------------------------------------


class _RingGap(NamedTuple):
    """Ring gap as a share of the bore, of the top and the second ring."""

    top: Fraction
    second: Fraction


RING_GAPS: dict[str, _RingGap] = {
    "street": _RingGap(Fraction("0.0040"), Fraction("0.0050")),
    "modified": _RingGap(Fraction("0.0050"), Fraction("0.0055")),
    "racing": _RingGap(Fraction("0.0055"), Fraction("0.0053")),
    "nitrous-or-turbo-race": _RingGap(Fraction("0.0060"), Fraction("0.0057")),
    "blower": _RingGap(Fraction("0.0070"), Fraction("0.0063")),
}
"""One maker's rule as quoted. Another maker gives 0.0045 for street, and 1.25 times the top gap for the second."""


def ring_gap(bore: Quantity, use: str, factor: Quantity | None = None) -> CalculationResult:
    """Minimum ring gaps for a bore: by ``use``, a key of ``RING_GAPS``, or for the top ring by the maker's factor."""
    positive("bore", bore, "The bore")
    rule = RING_GAPS.get(use)
    lines: list[ResultLine] = []
    if factor is not None:
        lines.append(_gap("top", "Top ring, at least", bore, Fraction(factor.value)))
    elif rule is not None:
        lines.append(_gap("top", "Top ring, at least", bore, rule.top))
        lines.append(_gap("second", "Second ring, at least", bore, rule.second))
    else:
        why = f"There is no rule for “{use}”" if use else "Give the use, or the factor of the ring's maker"
        raise CalculationError("use", why, f"Known: {', '.join(RING_GAPS)}.")
    notes = (
        "Measure the ring square in its own bore. A gap too wide loses little; a gap too tight seizes the engine.",
        "Oil rails: at least 0.015 in (0.38 mm).",
    )
    return CalculationResult("Ring end gap", tuple(lines), COMMON, notes)


def _gap(name: str, title: str, bore: Quantity, factor: Fraction) -> ResultLine:
    decimals = 3 if bore.unit == "in" else 2
    return line(name, title, Fraction(bore.value) * factor, bore.unit, "factor × bore",
                f"{float(factor):.4f} × {show(bore)}", decimals=decimals)  # fmt: skip


# --- piston to valve --------------------------------------------------------------------------------

PISTON_TO_VALVE: dict[str, Quantity] = {
    "intake": Quantity(Decimal("0.080"), "in", "0.080 in"),
    "exhaust": Quantity(Decimal("0.100"), "in", "0.100 in"),
}
"""Minimum clearances often printed. Makers differ: some give 0.080 in for both, more with aluminium rods."""


def piston_to_valve(measured: Quantity, valve: str, lash: Quantity | None = None) -> CalculationResult:
    """The smallest clearance of piston and valve, measured with clay or a dial gauge, and its margin to the usual
    minimum.

    ``lash`` is added where the measurement was made at zero lash: a running valve stays that much further away.
    ``valve`` is a key of ``PISTON_TO_VALVE``.
    """
    minimum = PISTON_TO_VALVE[valve]
    clearance = base(measured) + (Fraction(0) if lash is None else base(lash))
    decimals = decimals_of(measured) if lash is None else decimals_of(measured, lash)
    filled = show(measured) if lash is None else f"{show(measured)} + {show(lash)}"
    margin = in_unit(clearance - base(minimum), measured.unit).value
    lines = (
        line("clearance", "Clearance", in_unit(clearance, measured.unit).value, measured.unit, "measured + lash",
             filled, decimals=decimals),
        line("spare", "Above the usual minimum by", margin, measured.unit, "clearance − usual minimum",
             f"clearance − {show(minimum)}", decimals=max(decimals, 2)),
    )  # fmt: skip
    notes = ["Measure from 20° before to 20° after top dead centre: the smallest clearance is not at top dead centre.",
             "Check the side clearance as well: 0.050 in around the valve is usual."]  # fmt: skip
    if margin < 0:
        notes.insert(0, "This is less than the usual minimum. Turn the engine only by hand.")
    return CalculationResult(f"Piston to {valve} valve", lines, COMMON, tuple(notes))


# --- flatness ---------------------------------------------------------------------------------------

FLATNESS = Fraction("0.00075")
"""Permitted flatness error per length, one maker's figure."""


def flatness(span: Quantity, ratio: Fraction = FLATNESS) -> CalculationResult:
    """The permitted flatness error of a surface of length ``span``, where the maker gives it per length."""
    positive("span", span, "The length")
    if not 0 < ratio < Fraction(1, 10):
        raise CalculationError("ratio", f"{float(ratio):g} is not a flatness error per length", "0.00075 is usual.")
    first = line("allowed", "Flatness error, at most", Fraction(span.value) * ratio, span.unit, "ratio × length",
                 f"{float(ratio):.5g} × {show(span)}", digits=2)  # fmt: skip
    notes = ("Measure along, across and corner to corner. Makers differ widely: 0.03 mm to 0.2 mm have been printed.",)
    return CalculationResult("Flatness", (first,), "one maker's manual", notes)


def _flatness(inputs: Inputs) -> CalculationResult:
    ratio = inputs.optional_quantity("ratio")
    return flatness(inputs.quantity("span"), FLATNESS if ratio is None else Fraction(ratio.value))


CLEARANCE_CALCULATIONS = (
    Calculation(
        "bearing", "Bearing clearance",
        (
            length_field("bore", "Bore, shells in, cap torqued", "52.010 mm"),
            length_field("journal", "Journal", "51.970 mm"),
        ),
        lambda inputs: bearing(*inputs.quantities("bore", "journal")),
        COMMON,
    ),
    Calculation(
        "ring-gap", "Ring end gap",
        (
            length_field("bore", "Bore", "4.000 in"),
            InputField("use", "Use of the engine", WordInput(tuple(RING_GAPS)), "street", optional=True),
            number_field("factor", "Factor of the ring's maker", "0.0045", optional=True),
        ),
        lambda inputs: ring_gap(inputs.quantity("bore"), inputs.text("use"), inputs.optional_quantity("factor")),
        COMMON,
    ),
    Calculation(
        "piston-to-valve", "Piston to valve clearance",
        (
            length_field("measured", "Smallest clearance measured", "0.090 in"),
            InputField("valve", "Valve", WordInput(tuple(PISTON_TO_VALVE)), "intake"),
            length_field("lash", "Lash, where it was measured at zero lash", "0.010 in", optional=True),
        ),
        lambda inputs: piston_to_valve(
            inputs.quantity("measured"), inputs.text("valve"), inputs.optional_quantity("lash")
        ),
        COMMON,
    ),
    Calculation(
        "flatness", "Permitted flatness error of a surface",
        (
            length_field("span", "Length of the surface", "12 in"),
            number_field("ratio", "Flatness error per length", "0.00075", optional=True),
        ),
        _flatness, "one maker's manual",
    ),
)  # fmt: skip
