"""Growth with temperature. The user enters the coefficient of expansion; no material is assumed."""

from decimal import Decimal
from fractions import Fraction

from benchflow.quantity import Quantity, base, base_of_difference, show
from benchflow.trade.calculations.inputs import Calculation, InputField, QuantityInput, length_field
from benchflow.trade.calculations.result import CalculationError, CalculationResult, line, require_positive


def growth(length: Quantity, coefficient: Quantity, cold: Quantity, hot: Quantity) -> CalculationResult:
    """Return the growth ΔL = α L (t2 − t1) and the length after it, in the unit of ``length``.

    ``coefficient`` α is an expansion, such as 23 ppm/K (23 µm per metre and kelvin). ``cold`` t1 and ``hot`` t2 are
    temperatures. Source: linear expansion.

    Raises:
        CalculationError: the length is not above zero, or the coefficient is not within 0 to 200 ppm/K.
    """
    require_positive("length", length, "The length")
    alpha = _checked("coefficient", coefficient)
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
        CalculationError: a coefficient is not within 0 to 200 ppm/K.
    """
    warming = base(hot) - base(cold)
    before = base(bore) - base(shaft)
    bore_growth = base(bore) * _checked("bore-coefficient", bore_coefficient) * warming
    shaft_growth = base(shaft) * _checked("shaft-coefficient", shaft_coefficient) * warming
    one = base_of_difference(Quantity(Decimal(1), bore.unit, ""))
    lines = (
        line("cold", f"Clearance at {show(cold)}", before / one, bore.unit, "bore − shaft",
             f"{show(bore)} − {show(shaft)}"),
        line("hot", f"Clearance at {show(hot)}", (before + bore_growth - shaft_growth) / one, bore.unit,
             "bore − shaft + (αb × bore − αs × shaft) × (t2 − t1)",
             f"cold clearance + ({show(bore_coefficient)} × bore − {show(shaft_coefficient)} × shaft) × "
             f"({show(hot)} − {show(cold)})"),
    )  # fmt: skip
    return CalculationResult("Clearance cold and hot", lines, "linear expansion, with the coefficients given", _NOTES)


_NOTES = (
    "The part is evenly warm and free to grow. Coefficients differ by alloy and temperature, so use the maker's.",
)


def _checked(field: str, coefficient: Quantity) -> Fraction:
    alpha = base_of_difference(coefficient)
    if not 0 <= alpha <= Fraction(200, 10**6):
        raise CalculationError(
            field, f"{show(coefficient)} cannot be a coefficient of expansion", "Metals have 1 to 30 ppm/K."
        )
    return alpha


def _expansion(name: str, ask: str) -> InputField:
    return InputField(name, ask, QuantityInput("expansion", "ppm/K"), "23 ppm/K")


def _temperature(name: str, ask: str, example: str) -> InputField:
    return InputField(name, ask, QuantityInput("temperature", "°C"), example)


THERMAL_CALCULATIONS = (
    Calculation(
        "growth", "Growth with temperature",
        (
            length_field("length", "Length", "400 mm"), _expansion("coefficient", "Coefficient of expansion"),
            _temperature("cold", "Temperature before", "20 °C"), _temperature("hot", "Temperature after", "90 °C"),
        ),
        lambda inputs: growth(*inputs.quantities("length", "coefficient", "cold", "hot")),
        "linear expansion",
    ),
    Calculation(
        "hot-clearance", "Clearance cold and hot",
        (
            length_field("bore", "Bore", "22.020 mm"), length_field("shaft", "Shaft or pin", "22.000 mm"),
            _expansion("bore-coefficient", "Expansion of the bore"),
            _expansion("shaft-coefficient", "Expansion of the shaft"),
            _temperature("cold", "Temperature when measured", "20 °C"),
            _temperature("hot", "Working temperature", "90 °C"),
        ),
        lambda inputs: hot_clearance(
            *inputs.quantities("bore", "shaft", "bore-coefficient", "shaft-coefficient", "cold", "hot")
        ),
        "linear expansion",
    ),
)  # fmt: skip
