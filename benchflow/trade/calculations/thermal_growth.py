"""Growth with temperature. The user enters the coefficient of expansion; no material is assumed."""

from decimal import Decimal
from fractions import Fraction

from benchflow.quantity import Quantity, base, base_of_difference, show
from benchflow.trade.calculations.input_checks import expansion_coefficient, require_within
from benchflow.trade.calculations.inputs import Calculation, expansion_field, length_field, temperature_field
from benchflow.trade.calculations.result import CalculationError, CalculationResult, line


def growth(length: Quantity, coefficient: Quantity, cold: Quantity, hot: Quantity) -> CalculationResult:
    """Return the growth ΔL = α L (t2 − t1) and the length after it, in the unit of ``length``.

    ``coefficient`` α is an expansion, such as 23 ppm/K (23 µm per metre and kelvin). ``cold`` t1 and ``hot`` t2 are
    temperatures. Source: linear expansion.

    Raises:
        CalculationError: the length is not from 0.01 mm to 100 m, the coefficient not from 0 to 200 ppm/K, or a
            temperature not from -200 to 1200 °C.
    """
    require_within("length", length, "The length", "0.01 mm", "100 m")
    alpha = expansion_coefficient("coefficient", coefficient)
    _check_temperatures(cold, hot)
    grown = Fraction(length.value) * alpha * (base(hot) - base(cold))
    filled = f"{show(coefficient)} × {show(length)} × ({show(hot)} − {show(cold)})"
    lines = (
        line("growth", "Growth", grown, length.unit, "ΔL = α × L × (t2 − t1)", filled),
        line("length", "Length after", Fraction(length.value) + grown, length.unit, "L + ΔL",
             f"{show(length)} + growth", digits=6),
    )  # fmt: skip
    return CalculationResult("Thermal growth", lines, "linear expansion, with the coefficient given", _NOTES)


def hot_clearance(
    bore: Quantity,
    shaft: Quantity,
    bore_coefficient: Quantity,
    shaft_coefficient: Quantity,
    cold: Quantity,
    hot: Quantity,
) -> CalculationResult:
    """Return the clearance of a shaft in a bore of another material, cold and hot, in the unit of ``bore``.

    Bore and shaft have the same temperature. Each has its own coefficient of expansion. Source: linear expansion.

    Raises:
        CalculationError: a diameter is not from 0.1 mm to 5 m, the two differ by more than 5 %, a coefficient is not
            from 0 to 200 ppm/K, or a temperature not from -200 to 1200 °C.
    """
    require_within("bore", bore, "The bore", "0.1 mm", "5000 mm")
    require_within("shaft", shaft, "The shaft", "0.1 mm", "5000 mm")
    if abs(base(bore) - base(shaft)) > base(bore) / 20:
        raise CalculationError(
            "shaft", f"A shaft of {show(shaft)} does not belong in a bore of {show(bore)}",
            "They differ by more than 5 %. Check the readings and their units.",
        )  # fmt: skip
    _check_temperatures(cold, hot)
    warming = base(hot) - base(cold)
    before = base(bore) - base(shaft)
    bore_growth = base(bore) * expansion_coefficient("bore-coefficient", bore_coefficient) * warming
    shaft_growth = base(shaft) * expansion_coefficient("shaft-coefficient", shaft_coefficient) * warming
    one = base_of_difference(Quantity(Decimal(1), bore.unit, ""))
    lines = (
        line("cold", f"Clearance at {show(cold)}", before / one, bore.unit, "bore − shaft",
             f"{show(bore)} − {show(shaft)}"),
        line("hot", f"Clearance at {show(hot)}", (before + bore_growth - shaft_growth) / one, bore.unit,
             "bore − shaft + (αb × bore − αs × shaft) × (t2 − t1)",
             f"cold clearance + ({show(bore_coefficient)} × bore − {show(shaft_coefficient)} × shaft) × "
             f"({show(hot)} − {show(cold)})"),
    )  # fmt: skip
    notes = list(_NOTES)
    for at, clearance in ((hot, before + bore_growth - shaft_growth), (cold, before)):
        if clearance < 0:
            notes.insert(0, f"At {show(at)} there is no clearance, but interference: the negative clearance.")
    return CalculationResult(
        "Clearance cold and hot", lines, "linear expansion, with the coefficients given", tuple(notes)
    )


_NOTES = (
    "Assumed: evenly warm parts that are free to grow, and one coefficient over the whole range of temperature.",
    "Coefficients differ by alloy and temperature: take the maker's.",
)


def _check_temperatures(*temperatures: Quantity) -> None:
    for field, value in zip(("cold", "hot"), temperatures, strict=True):
        require_within(field, value, "The temperature", "-200 °C", "1200 °C")


THERMAL_CALCULATIONS = (
    Calculation(
        "growth", "Growth with temperature",
        (
            length_field("length", "Length", "400 mm"), expansion_field("coefficient", "Coefficient of expansion"),
            temperature_field("cold", "Temperature before", "20 °C"),
            temperature_field("hot", "Temperature after", "90 °C"),
        ),
        lambda inputs: growth(*inputs.quantities("length", "coefficient", "cold", "hot")),
        "linear expansion",
    ),
    Calculation(
        "hot-clearance", "Clearance cold and hot",
        (
            length_field("bore", "Bore", "22.020 mm"), length_field("shaft", "Shaft or pin", "22.000 mm"),
            expansion_field("bore-coefficient", "Expansion of the bore"),
            expansion_field("shaft-coefficient", "Expansion of the shaft", "12 ppm/K"),
            temperature_field("cold", "Temperature when measured", "20 °C"),
            temperature_field("hot", "Working temperature", "90 °C"),
        ),
        lambda inputs: hot_clearance(
            *inputs.quantities("bore", "shaft", "bore-coefficient", "shaft-coefficient", "cold", "hot")
        ),
        "linear expansion",
    ),
)  # fmt: skip
