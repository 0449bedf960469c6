"""Leak-down: the share of the pressure that a cylinder does not hold."""

from fractions import Fraction

from benchflow.procedure.model import Caution
from benchflow.quantity import Limit, Quantity, base, dimension_of, position, show
from benchflow.quantity.arithmetic import decimal
from benchflow.trade.calculations.input_checks import require_within
from benchflow.trade.calculations.inputs import Calculation, InputField, Inputs, LimitInput, QuantityInput
from benchflow.trade.calculations.result import (
    CalculationError,
    CalculationResult,
    decimals_that_tell,
    limit_ends,
    line,
)

SOURCE = "definition; usual values: common practice, no source"
_TURNS = Caution(
    "warning", "The pressure can turn the crankshaft. Lock it, and take every wrench off before you let air in."
)


def leak_down(supply: Quantity, cylinder: Quantity, limit: Limit | None = None) -> CalculationResult:
    """Return the leakage in % of the supply pressure, (supply − cylinder) / supply × 100 %.

    Both are gauge pressures. ``limit`` is a maker's limit in %. Source: definition.

    Raises:
        CalculationError: a pressure is outside its range, the cylinder has more than the supply, or the limit is not in
            %.
    """
    require_within("supply", supply, "The supply pressure", "0.5 bar", "15 bar", "6.9 bar (100 psi) is usual.")
    if not 0 <= base(cylinder) <= base(supply):
        raise CalculationError(
            "cylinder", f"The cylinder cannot hold {show(cylinder)} with a supply of {show(supply)}",
            "Check that the two gauges are not swapped, and that they agree with each other when closed.",
        )  # fmt: skip
    leakage = (base(supply) - base(cylinder)) / base(supply) * 100
    first = line("leakage", "Leakage", leakage, "%", "(supply − cylinder) / supply × 100 %",
                 f"({show(supply)} − {show(cylinder)}) / {show(supply)} × 100 %",
                 decimals=decimals_that_tell(leakage, 1, *limit_ends(limit, "%")))  # fmt: skip
    notes = (
        _verdict(leakage, limit),
        "Assumed: piston at top dead centre of compression, gauge pressures, the same orifice for all cylinders.",
        "Compare the cylinders. Listen at intake, exhaust, oil filler and radiator to find the leak.",
    )
    return CalculationResult("Leak-down", (first,), SOURCE, notes, cautions=(_TURNS,))


def _verdict(leakage: Fraction, limit: Limit | None) -> str:
    if limit is None:
        grade = "good" if leakage <= 10 else "serviceable" if leakage <= 20 else "in need of repair"
        return (f"That is {grade} by the usual values: up to 10 % is good, up to 20 % serviceable "
                "(common practice, no source). Makers differ: one permits 25 %.")  # fmt: skip
    for end in (limit.low, limit.high):
        if end is not None and dimension_of(end.unit) != "fraction":
            raise CalculationError("limit", f"{show(end)} is not a share", "Write it like at most 20 %.")
    verdict = "within" if position(limit, Quantity(decimal(leakage), "%", "")) == "within" else "outside"
    return f"That is {verdict} the limit {limit.text}."


def _leak_down(inputs: Inputs) -> CalculationResult:
    return leak_down(inputs.quantity("supply"), inputs.quantity("cylinder"), inputs.optional_limit("limit"))


LEAK_CALCULATIONS = (
    Calculation(
        "leak-down", "Leak-down of a cylinder in per cent",
        (
            InputField("supply", "Supply pressure", QuantityInput("pressure", "bar"), "7.0 bar"),
            InputField("cylinder", "Pressure that the cylinder holds", QuantityInput("pressure", "bar"), "6.4 bar"),
            InputField("limit", "Maker's limit", LimitInput(), "at most 20 %", optional=True),
        ),
        _leak_down, SOURCE,
    ),
)  # fmt: skip
