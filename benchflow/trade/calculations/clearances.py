"""Bearing clearance, ring gap, piston-to-valve clearance and flatness, with the usual rules of thumb.

The rules of thumb are common practice without a source. They help to find a mistake in a measurement. They are not a
specification: makers differ, and the maker's figure comes first.
"""

from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from benchflow.procedure.model import Caution
from benchflow.quantity import Quantity, base, show
from benchflow.trade.calculations.input_checks import require_within
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
    decimals_that_tell,
    line,
    shop_decimals,
)
from benchflow.trade.rounding import in_unit

COMMON = "common practice, no source; the maker's figure comes first"


_BEARING_EXTRA = Quantity(Decimal("0.0005"), "in", "0.0005 in")
"""What many builders add to the rule of thumb (a trade magazine)."""


def bearing(bore: Quantity, journal: Quantity) -> CalculationResult:
    """Return the clearance of a plain bearing, and the usual clearance, in the unit of ``bore``.

    The usual clearance is 0.001 of the diameter of the journal, or up to 0.0005 in more.

    Source: common practice, no source; a trade magazine prints the same rule.

    Raises:
        CalculationError: a diameter is not from 5 mm to 1 m, or the two differ by more than 2 %.
    """
    require_within("bore", bore, "The bore", "5 mm", "1000 mm")
    require_within("journal", journal, "The journal", "5 mm", "1000 mm")
    difference = base(bore) - base(journal)
    if abs(difference) > base(journal) / 50:
        raise CalculationError(
            "journal", f"A journal of {show(journal)} does not belong in a bore of {show(bore)}",
            "They differ by more than 2 %. Check the readings and their units.",
        )  # fmt: skip
    clearance = in_unit(difference, bore.unit)
    low, high = base(journal) / 1000, base(journal) / 1000 + base(_BEARING_EXTRA)
    lines = (
        line("clearance", "Clearance", clearance.value, bore.unit, "bore − journal", f"{show(bore)} − {show(journal)}",
             decimals=decimals_of(bore, journal)),
        line("rule", "Usual, from", in_unit(low, bore.unit).value, bore.unit, "0.001 × journal",
             f"0.001 × {show(journal)}", digits=2),
        line("rule-high", "Usual, to", in_unit(high, bore.unit).value, bore.unit, "0.001 × journal + 0.0005 in",
             f"0.001 × {show(journal)} + 0.0005 in", digits=2),
    )  # fmt: skip
    cautions: tuple[Caution, ...] = ()
    if difference <= 0:
        verdict = "There is no clearance: the journal is as large as the bore, or larger."
        cautions = (Caution("caution", "There is no clearance. Do not turn the engine."),)
    elif low <= difference <= high:
        verdict = "The clearance is within the usual range. The maker's limits decide."
    else:
        verdict = (
            f"The clearance is {'below' if difference < low else 'above'} the usual range. The maker's limits decide."
        )
    notes = (verdict, "Assumed: both measured at the same temperature, with the shells in place and the cap torqued.")
    return CalculationResult("Bearing clearance", lines, COMMON, notes, cautions=cautions)


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

    ``factor`` is the maker's gap of the top ring as a share of the bore. ``use`` is a key of ``RING_GAPS``, or "". With
    a factor, it is only for the second ring. Source: one ring maker's rule, as quoted.

    Raises:
        CalculationError: the bore is not from 10 mm to 1.1 m, the factor is not from 0.001 to 0.02, or there is neither
            a factor nor a known use.
    """
    require_within("bore", bore, "The bore", "10 mm", "1100 mm")
    rule = RING_GAPS.get(use)
    if rule is None and (use or factor is None):
        why = f"There is no rule for “{use}”" if use else "Enter the use, or the gap factor from the ring's maker"
        raise CalculationError("use", why, f"Known uses: {', '.join(RING_GAPS)}.")
    lines: list[ResultLine] = []
    if factor is not None:
        require_within("factor", factor, "A gap factor", "0.001", "0.02",
                       "It is the gap per bore: 0.0045 is 0.0045 mm per mm, and 0.0045 in per in.")  # fmt: skip
        lines.append(_gap("top", "Top ring, at least", bore, Fraction(factor.value)))
    elif rule is not None:
        lines.append(_gap("top", "Top ring, at least", bore, rule.top))
    if rule is not None:
        lines.append(_gap("second", "Second ring, at least", bore, rule.second))
    rail = Quantity(Decimal("0.015"), "in", "")
    lines.append(_length_line("rail", "Oil rail, at least", rail, bore.unit, "0.015 in", "0.015 in"))
    if factor is None:
        assumed = f"one ring maker's rule for {use} use"
    else:
        second = (
            "no gap of the second ring without a use" if rule is None else f"the second ring by the rule for {use} use"
        )
        assumed = f"the top ring by the factor given, {second}"
    notes = (
        f"Assumed: {assumed}. Ring makers differ by 15 % and more.",
        "Measure the ring square in its own bore. "
        "A gap that is too wide loses little pressure. A gap that is too small can seize the engine.",
    )
    return CalculationResult("Ring end gap", tuple(lines), COMMON, notes)


def _gap(name: str, title: str, bore: Quantity, factor: Fraction) -> ResultLine:
    gap = in_unit(base(bore) * factor, bore.unit)
    return _length_line(name, title, gap, bore.unit, "factor × bore", f"{float(factor):.4f} × {show(bore)}")


def _length_line(name: str, title: str, length: Quantity, unit: str, formula: str, filled: str) -> ResultLine:
    """Return a line with a length in ``unit``, rounded to 0.01 mm or 0.001 in."""
    return line(name, title, in_unit(base(length), unit).value, unit, formula, filled, decimals=shop_decimals(unit))


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
        CalculationError: the reading is not from 0 to 25 mm, or the lash is not from 0 to 2 mm.
    """
    minimum = PISTON_TO_VALVE[valve]
    require_within("measured", measured, "The measured clearance", "0 mm", "25 mm")
    if lash is not None:
        require_within("lash", lash, "The lash", "0 mm", "2 mm")
    clearance = base(measured) + (Fraction(0) if lash is None else base(lash))
    decimals = decimals_of(measured) if lash is None else decimals_of(measured, lash)
    filled = show(measured) if lash is None else f"{show(measured)} + {show(lash)}"
    margin = in_unit(clearance - base(minimum), measured.unit).value
    margin_decimals = decimals_that_tell(margin, max(decimals, shop_decimals(measured.unit)), 0)
    lines = (
        line("clearance", "Clearance", in_unit(clearance, measured.unit).value, measured.unit, "measured + lash",
             filled, decimals=decimals),
        line("minimum", f"Usual minimum, {valve}", in_unit(base(minimum), measured.unit).value, measured.unit,
             "common practice", show(minimum), decimals=margin_decimals),
        line("spare", "Above the usual minimum by", margin, measured.unit, "clearance − usual minimum",
             f"clearance − {show(minimum)}", decimals=margin_decimals),
    )  # fmt: skip
    at = "running lash" if lash is None else "zero lash"
    notes = (
        f"Assumed: measured at {at}, from 20° before to 20° after top dead centre, where the clearance is smallest.",
        "Check the side clearance as well. Usually it is 0.050 in all round the valve.",
    )
    cautions: tuple[Caution, ...] = ()
    if margin < 0:
        cautions = (Caution("caution", "This is less than the usual minimum. Turn the engine only by hand."),)
    return CalculationResult(f"Piston to {valve} valve", lines, COMMON, notes, cautions=cautions)


# --- flatness ---------------------------------------------------------------------------------------

FLATNESS = Fraction("0.00075")
"""Permitted flatness error per length (one maker's manual of 2000)."""


def flatness(span: Quantity, ratio: Fraction = FLATNESS) -> CalculationResult:
    """Return the permitted flatness error of a surface of length ``span``, in the unit of ``span``.

    ``ratio`` is the permitted error per length. Source: one maker's manual of 2000 for the default ratio.

    Raises:
        CalculationError: the length is not from 10 mm to 10 m, or the ratio is not from 0.00001 to 0.01.
    """
    require_within("span", span, "The length", "10 mm", "10000 mm")
    if not Fraction("0.00001") <= ratio <= Fraction("0.01"):
        raise CalculationError(
            "ratio", f"{float(ratio):g} is not a flatness error per length",
            "0.00075 is usual: 0.075 mm in 100 mm. It must be from 0.00001 to 0.01.",
        )  # fmt: skip
    first = line("allowed", "Flatness error, at most", Fraction(span.value) * ratio, span.unit, "ratio × length",
                 f"{float(ratio):.5g} × {show(span)}", digits=2)  # fmt: skip
    which = f"{float(ratio):.5g} per length, as one maker's manual of 2000" if ratio == FLATNESS else "the ratio given"
    notes = (
        f"Assumed: {which}. Makers differ widely: 0.03 mm to 0.2 mm have been printed for a head.",
        "Measure along, across and corner to corner.",
    )
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
            InputField("use", "Use of the engine", WordInput(tuple(RING_GAPS)), "street", optional=True,
                       in_example=True),
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
