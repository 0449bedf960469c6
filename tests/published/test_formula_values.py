"""Formulas against printed figures. Each source is named beside its check."""

import pytest

from benchflow.procedure.formula import check_units, evaluate, parse_formula
from benchflow.quantity import parse_quantity

# (formula, values, unit, the printed figure)
PRINTED = [
    # Height of the triangle H = 0.866025 P of the ISO metric thread, ISO 68-1 (from memory).
    ("P / (2 * tan(30°))", {"P": "1.5 mm"}, "mm", "1.299"),
    ("sqrt(3) / 2 * P", {"P": "1.5 mm"}, "mm", "1.299"),
    # Pitch diameter of M10, d2 = d - 2 · 3/8 · H = 9.026 mm, ISO 724 (from memory).
    ("d - 2 * 3 / 8 * P / (2 * tan(30°))", {"d": "10 mm", "P": "1.5 mm"}, "mm", "9.026"),
    # Stress area of M10, π/4 · (d - 0.9382 P)² = 58.0 mm², ISO 898-1 (from memory).
    ("pi / 4 * (d - 0.9382 * P)^2", {"d": "10 mm", "P": "1.5 mm"}, "mm²", "58.0"),
    # Height of the gauge blocks under a 5 in sine bar at 10°: 0.86824 in (tables of handbooks, from memory).
    ("5 in * sin(angle)", {"angle": "10°"}, "in", "0.86824"),
    # A taper of 0.600 in per foot has the included angle 2°51'51" = 2.8642° (tables of handbooks, from memory).
    ("2 * atan(taper / 24)", {"taper": "0.6"}, "°", "2.8642"),
    # Best wire for a 60° thread, 0.57735 P (wire measurement, handbooks, from memory): 0.05774 in for 10 per inch.
    ("P / (2 * cos(30°))", {"P": "0.1 in"}, "in", "0.05774"),
    # Displacement 0.7854 · bore² · stroke (handbooks): 4 in and 3 in give 37.699 in³.
    ("pi / 4 * bore^2 * stroke", {"bore": "4 in", "stroke": "3 in"}, "cm³", "617.8"),
    # Growth of steel, 12 · 10⁻⁶ 1/K: 100 mm by 0.12 mm for 100 K (handbooks).
    ("length * 0.000012 1/K * 100 K", {"length": "100 mm"}, "mm", "0.12"),
    # Right-angled triangle 3, 4, 5; its angle at the side 4 is 36.870° (tables of triangles).
    ("sqrt(a^2 + b^2)", {"a": "3 mm", "b": "4 mm"}, "mm", "5"),
    ("acos(b / (a^2 + b^2)^(1/2))", {"a": "3 mm", "b": "4 mm"}, "°", "36.870"),
    ("asin(a / (a^2 + b^2)^0.5)", {"a": "3 mm", "b": "4 mm"}, "°", "36.870"),
]


@pytest.mark.parametrize(("text", "values", "unit", "printed"), PRINTED)
def test_formula_gives_the_printed_figure(text: str, values: dict[str, str], unit: str, printed: str) -> None:
    quantities = {name: parse_quantity(value, unit=None if " " in value or "°" in value else "")
                  for name, value in values.items()}  # fmt: skip
    formula = parse_formula(text)
    check_units(formula, {name: quantity.unit for name, quantity in quantities.items()}, unit)
    places = len(printed.partition(".")[2])
    result = evaluate(formula, quantities, unit).value.value
    assert f"{result:.{places}f}" == printed
