"""Units of viscosity, unbalance, expansion and hardness: parsed, shown, converted, and used in formulas."""

import pytest

from benchflow.procedure.formula import FormulaError, check_units, parse_formula
from benchflow.quantity import Quantity, QuantityError, convert, parse_quantity, show, show_converted
from benchflow.quantity.units import BY_SYMBOL


@pytest.mark.parametrize(
    ("typed", "own", "converted", "unit"),
    [
        ("16 uin", "16 µin", "0.406 µm", "µm"),
        ("15.2 cSt", "15.2 cSt", "15.2 mm²/s", "mm²/s"),
        ("100 mm2/s", "100 mm²/s", "100 cSt", "cSt"),
        ("0.5 g cm", "0.5 g·cm", "5 g·mm", "g·mm"),
        ("0.0000115 1/K", "0.0000115 1/K", "11.5 ppm/K", "ppm/K"),
        ("0.0000115/°C", "0.0000115 1/K", "11.5 ppm/K", "ppm/K"),
        ("11.5 ppm/°C", "11.5 ppm/K", "0.0000115 1/K", "1/K"),
        ("6.4 µin/in/°F", "6.4 ppm/°F", "11.52 ppm/K", "ppm/K"),
        ("110 hertz", "110 Hz", "110 Hz", "Hz"),
        ("58 HRC", "58 HRC", "58 HRC", "HRC"),
    ],
)
def test_unit_is_parsed_shown_and_converted(typed: str, own: str, converted: str, unit: str) -> None:
    quantity = parse_quantity(typed)
    assert show(quantity) == own
    assert parse_quantity(own) == Quantity(quantity.value, quantity.unit, own)
    assert show_converted(quantity, unit) == converted


def test_hardness_cannot_be_converted_to_any_other_unit() -> None:
    for unit in BY_SYMBOL:
        if unit != "HRC":
            with pytest.raises(QuantityError, match="HRC"):
                convert(parse_quantity("58 HRC"), unit)


UNITS = {
    "length": "mm", "alpha": "1/K", "beta": "ppm/°F", "cold": "°C", "hot": "°C", "mass": "g", "radius": "mm",
    "case": "HRC", "torque": "N·m", "oil": "cSt", "unbalance": "g·cm", "speed": "Hz", "finish": "µin",
}  # fmt: skip


@pytest.mark.parametrize(
    ("formula", "unit"),
    [
        ("length * alpha * (hot - cold)", "mm"),
        ("length * beta * (hot - cold)", "in"),
        ("length * 12 ppm/°C * (hot - cold)", "mm"),
        ("mass * radius", "g·cm"),
        ("unbalance / radius", "g"),
        ("case - 2 HRC", "HRC"),
        ("oil + 2 mm²/s", "mm²/s"),
        ("finish - 2 µin", "µm"),
        ("radius * radius * speed", "cSt"),
    ],
)
def test_formula_with_these_units_fits_its_result(formula: str, unit: str) -> None:
    check_units(parse_formula(formula), UNITS, unit)


@pytest.mark.parametrize(
    ("formula", "unit", "reason"),
    [
        ("unbalance + torque", "N·m", "An unbalance and a torque cannot be added"),
        ("case - length", "HRC", "a hardness and a length cannot be subtracted"),
        ("case * length", "HRC", "no known unit fits"),
        ("oil * length", "cSt", "is for a kinematic viscosity"),
    ],
)
def test_formula_whose_units_do_not_fit_is_refused(formula: str, unit: str, reason: str) -> None:
    with pytest.raises(FormulaError, match=f"(?i){reason}"):
        check_units(parse_formula(formula), UNITS, unit)
