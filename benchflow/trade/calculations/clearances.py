"""Bearing clearance, ring gap, piston-to-valve clearance and flatness, with the usual rules of thumb.

The rules of thumb are common practice without a source. They help to find a mistake in a measurement. They are not a
specification: makers differ, and the maker's figure comes first.
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
    require_positive,
)
from benchflow.trade.rounding import in_unit

COMMON = "common practice, no source; the maker's figure comes first"


def bearing(bore: Quantity, journal: Quantity) -> CalculationResult:
    """Return the clearance of a plain bearing, and the usual clearance, in the unit of ``bore``.

    The usual clearance is 0.001 of the diameter of the journal.

    Source: common practice, no source; a trade magazine prints the same rule.

    Raises:
        CalculationError: the journal is not above zero.
    """
    require_positive("journal", journal, "The journal")
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
    """The smallest gaps of the top and the second ring, as shares of the bore."""

    top: Fraction
    second: Fraction


RING_GAPS: dict[str, _RingGap] = {
    "street": _RingGap(Fraction("0.0040"), Fraction("0.0050")),
    "modified": _RingGap(Fraction("0.0050"), Fraction("0.0055")),
    "racing": _RingGap(Fraction("0.0055"), Fraction("0.0053")),
    "nitrous-or-turbo-race": _RingGap(Fraction("0.0060"), Fraction("0.0057")),
    "blower": _RingGap(Fraction("0.0070"), Fraction("0.0063")),
}
"""Ring gaps by the use of the engine (one ring maker's rule, as quoted).

Another maker has 0.0045 for street use, and 1.25 times the top gap for the second ring.
"""


def ring_gap(bore: Quantity, use: str, factor: Quantity | None = None) -> CalculationResult:
    """Return the smallest ring gaps for a bore, in the unit of the bore.

    ``factor`` is the maker's gap of the top ring as a share of the bore. Without it, ``use`` is a key of ``RING_GAPS``.
    Source: one ring maker's rule, as quoted.

    Raises:
        CalculationError: the bore is not above zero, or there is neither a factor nor a known use.
    """
    require_positive("bore", bore, "The bore")
    rule = RING_GAPS.get(use)
    lines: list[ResultLine] = []
    if factor is not None:
        lines.append(_gap("top", "Top ring, at least", bore, Fraction(factor.value)))
    elif rule is not None:
        lines.append(_gap("top", "Top ring, at least", bore, rule.top))
        lines.append(_gap("second", "Second ring, at least", bore, rule.second))
    else:
        why = f"There is no rule for “{use}”" if use else "Enter the use, or the gap factor from the ring's maker"
        raise CalculationError("use", why, f"Known: {', '.join(RING_GAPS)}.")
    notes = (
        "Measure the ring square in its own bore. "
        "A gap that is too wide loses little pressure. A gap that is too small can seize the engine.",
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
"""Usual minimum clearances. Makers differ: some print 0.080 in for both valves, and more for aluminium rods."""


def piston_to_valve(measured: Quantity, valve: str, lash: Quantity | None = None) -> CalculationResult:
    """Return the smallest piston-to-valve clearance and its margin to the usual minimum, in the unit of ``measured``.

    ``measured`` is the reading with clay or a dial gauge. If it was taken at zero lash, give the ``lash``. It is added,
    because it moves the running valve away from the piston. ``valve`` is a key of ``PISTON_TO_VALVE``. Source: common
    practice; trade pages print these minimums.

    Raises:
        KeyError: there is no such valve.
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
    notes = ["Measure from 20° before to 20° after top dead centre. The smallest clearance is not at top dead centre.",
             "Check the side clearance as well. Usually it is 0.050 in all round the valve."]  # fmt: skip
    if margin < 0:
        notes.insert(0, "This is less than the usual minimum. Turn the engine only by hand.")
    return CalculationResult(f"Piston to {valve} valve", lines, COMMON, tuple(notes))


# --- flatness ---------------------------------------------------------------------------------------

FLATNESS = Fraction("0.00075")
"""Permitted flatness error per length (one maker's manual of 2000)."""


def flatness(span: Quantity, ratio: Fraction = FLATNESS) -> CalculationResult:
    """Return the permitted flatness error of a surface of length ``span``, in the unit of ``span``.

    ``ratio`` is the permitted error per length. Source: one maker's manual of 2000 for the default ratio.

    Raises:
        CalculationError: the length is not above zero, or the ratio is not between 0 and 0.1.
    """
    require_positive("span", span, "The length")
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
            number_field("factor", "Gap factor from the ring's maker", "0.0045", optional=True),
        ),
        lambda inputs: ring_gap(inputs.quantity("bore"), inputs.text("use"), inputs.optional_quantity("factor")),
        COMMON,
    ),
    Calculation(
        "piston-to-valve", "Piston to valve clearance",
        (
            length_field("measured", "Smallest clearance measured", "0.090 in"),
            InputField("valve", "Valve", WordInput(tuple(PISTON_TO_VALVE)), "intake"),
            length_field("lash", "Lash, if measured at zero lash", "0.010 in", optional=True),
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
