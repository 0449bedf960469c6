"""Piston-to-bore clearance: as measured, at 20 °C, and hot, with each part at its own temperature."""

from benchflow.procedure.model import Caution
from benchflow.quantity import Limit, Quantity, base, dimension_of, parse_quantity, position, show
from benchflow.trade.calculations.input_checks import expansion_coefficient, require_within
from benchflow.trade.calculations.inputs import (
    Calculation,
    InputField,
    Inputs,
    LimitInput,
    expansion_field,
    length_field,
    temperature_field,
)
from benchflow.trade.calculations.result import (
    CalculationError,
    CalculationResult,
    ResultLine,
    decimals_of,
    decimals_that_tell,
    limit_ends,
    line,
)
from benchflow.trade.rounding import in_unit

SOURCE = "linear expansion; reference temperature 20 °C: ISO 1 (from memory)"
REFERENCE = parse_quantity("20 °C")
"""Temperature at which dimensions and limits hold (ISO 1, from memory)."""


def piston_clearance(
    bore: Quantity,
    piston: Quantity,
    bore_coefficient: Quantity,
    piston_coefficient: Quantity,
    measured_at: Quantity,
    bore_hot: Quantity,
    piston_hot: Quantity,
    limit: Limit | None = None,
) -> CalculationResult:
    """Return the clearance of a piston in its bore as measured, at 20 °C, and hot, in the unit of ``bore``.

    Both were measured at ``measured_at``. ``bore_hot`` and ``piston_hot`` are their working temperatures. ``limit`` is
    the maker's limit of the clearance at 20 °C. Source: linear expansion.

    Raises:
        CalculationError: an input is outside its range, the piston does not fit the bore, or the limit is not one of
            lengths.
    """
    require_within("bore", bore, "The bore", "20 mm", "600 mm")
    require_within("piston", piston, "The piston", "20 mm", "600 mm")
    if abs(base(bore) - base(piston)) > base(bore) / 50:
        raise CalculationError(
            "piston", f"A piston of {show(piston)} does not belong in a bore of {show(bore)}", "Check both units."
        )
    require_within("measured-at", measured_at, "The temperature of measuring", "-20 °C", "60 °C")
    require_within("bore-hot", bore_hot, "The temperature of the bore", "-40 °C", "300 °C")
    require_within("piston-hot", piston_hot, "The temperature of the piston", "-40 °C", "450 °C")
    alphas = (
        expansion_coefficient("bore-coefficient", bore_coefficient),
        expansion_coefficient("piston-coefficient", piston_coefficient),
    )

    def clearance(bore_at: Quantity, piston_at: Quantity) -> Quantity:
        sizes = (
            base(size) * (1 + alpha * (base(at) - base(measured_at)))
            for size, alpha, at in ((bore, alphas[0], bore_at), (piston, alphas[1], piston_at))
        )
        return in_unit(next(sizes) - next(sizes), bore.unit)

    cold, reference = clearance(measured_at, measured_at), clearance(REFERENCE, REFERENCE)
    hot = clearance(bore_hot, piston_hot)
    decimals = decimals_that_tell(reference.value, decimals_of(bore, piston) + 1, *limit_ends(limit, bore.unit)) - 1
    formula = "bore × (1 + αb × (tb − t0)) − piston × (1 + αp × (tp − t0))"
    lines = [line("measured", f"Clearance at {show(measured_at)}", cold.value, bore.unit, "bore − piston",
                  f"{show(bore)} − {show(piston)}", decimals=decimals)]  # fmt: skip
    if base(measured_at) != base(REFERENCE):
        lines.append(_at("reference", "Clearance at 20 °C", reference, formula, "tb = tp = 20 °C", decimals))
    lines.append(_at("hot", "Clearance hot", hot, formula, f"tb = {show(bore_hot)}, tp = {show(piston_hot)}", decimals))
    notes = [
        "Assumed: each part is evenly warm and free to grow. A real piston is hotter at the crown than at the skirt.",
        "Measure the piston at the height that its maker names, the bore where the rings run. Both at one temperature.",
        "Coefficients differ by alloy. Use the maker's.",
    ]
    if limit is not None:
        notes.insert(0, _verdict(reference, limit))
    cautions = () if hot.value > 0 else (Caution("caution", "There is no clearance hot. The piston can seize."),)
    return CalculationResult("Piston-to-bore clearance", tuple(lines), SOURCE, tuple(notes), cautions=cautions)


def _at(name: str, title: str, clearance: Quantity, formula: str, temperatures: str, decimals: int) -> ResultLine:
    return line(name, title, clearance.value, clearance.unit, formula, f"{temperatures}: clearance",
                decimals=decimals + 1)  # fmt: skip


def _verdict(clearance: Quantity, limit: Limit) -> str:
    for end in (limit.low, limit.high):
        if end is not None and dimension_of(end.unit) != "length":
            raise CalculationError("limit", f"{show(end)} is not a length", "Write it like 0.03 .. 0.05 mm.")
    verdict = "within" if position(limit, clearance) == "within" else "outside"
    return f"The clearance at 20 °C is {verdict} the limit {limit.text}."


def _piston_clearance(inputs: Inputs) -> CalculationResult:
    names = ("bore", "piston", "bore-coefficient", "piston-coefficient", "measured-at", "bore-hot", "piston-hot")
    bore, piston, of_bore, of_piston, at, bore_hot, piston_hot = inputs.quantities(*names)
    return piston_clearance(bore, piston, of_bore, of_piston, at, bore_hot, piston_hot, inputs.optional_limit("limit"))


PISTON_CALCULATIONS = (
    Calculation(
        "piston-clearance", "Piston-to-bore clearance, cold and hot",
        (
            length_field("bore", "Bore", "86.020 mm"), length_field("piston", "Piston", "85.960 mm"),
            expansion_field("bore-coefficient", "Expansion of the bore", "21 ppm/K"),
            expansion_field("piston-coefficient", "Expansion of the piston", "19.5 ppm/K"),
            temperature_field("measured-at", "Temperature when measured", "24 °C"),
            temperature_field("bore-hot", "Bore, working temperature", "110 °C"),
            temperature_field("piston-hot", "Piston skirt, working temperature", "140 °C"),
            InputField("limit", "Maker's limit at 20 °C", LimitInput(), "0.05 .. 0.07 mm", optional=True),
        ),
        _piston_clearance, SOURCE,
    ),
)  # fmt: skip
