"""First-order slopes of a formula (JCGM 100:2008, 5.1.2), combined for independent readings and compared by hand."""

import re
import subprocess
import sys
from fractions import Fraction

import pytest

from benchflow.procedure.formula import FormulaError, parse_formula, slopes
from benchflow.quantity import difference_factor, parse_quantity
from benchflow.trade.uncertainty import ReadingUncertainty, combined_uncertainty

VALUES = {
    name: parse_quantity(text)
    for name, text in {
        "bore[1]": "52.010 mm", "bore[2]": "52.012 mm", "bore[3]": "52.011 mm", "journal": "51.970 mm",
        "lift": "0.4 in", "hot": "90 °C", "cold": "68 °F", "zero": "0 mm²",
    }.items()
}  # fmt: skip


def u(text: str, unit: str, **uncertainties: str) -> float:
    """The standard uncertainty of the result in ``unit``; those of the readings are in their own units."""
    keyed = {re.sub(r"_(\d)", r"[\1]", key): Fraction(value) for key, value in uncertainties.items()}
    found = slopes(parse_formula(text), VALUES)
    keys = [key for key in found if key in keyed]
    readings = {
        n: ReadingUncertainty(keyed[key] * difference_factor(VALUES[key].unit), key) for n, key in enumerate(keys)
    }
    u = combined_uncertainty({n: found[key] for n, key in enumerate(keys)}, readings)
    return float(u / difference_factor(unit))


def test_uncertainties_of_independent_readings_add_by_squares() -> None:
    assert u("bore[1] - journal", "mm", bore_1="0.003", journal="0.004") == pytest.approx(0.005)


def test_mean_of_three_readings_has_a_smaller_uncertainty() -> None:
    each = dict.fromkeys(("bore_1", "bore_2", "bore_3"), "0.003")
    assert u("mean(bore[*])", "mm", **each) == pytest.approx(0.003 / 3**0.5)


def test_reading_used_twice_counts_as_one_reading() -> None:
    assert u("journal - journal", "mm", journal="0.004") == 0
    assert u("journal + journal", "mm", journal="0.004") == pytest.approx(0.008)


def test_relative_uncertainties_of_a_product_add_by_squares() -> None:
    """u(xy)/xy = sqrt((u(x)/x)² + (u(y)/y)²); from memory."""
    got = u("bore[1] * journal", "mm²", bore_1="0.01", journal="0.02")
    assert got == pytest.approx(52.010 * 51.970 * ((0.01 / 52.010) ** 2 + (0.02 / 51.970) ** 2) ** 0.5)


def test_uncertainty_is_converted_to_the_result_unit() -> None:
    assert u("lift * 1.5", "mm", lift="0.001") == pytest.approx(0.0254 * 1.5)


def test_uncertainty_of_a_temperature_is_converted_without_an_offset() -> None:
    assert u("hot - cold", "°C", hot="0.3", cold="0.9") == pytest.approx((0.3**2 + 0.5**2) ** 0.5)
    assert u("hot - cold", "°F", hot="0.5") == pytest.approx(0.9)


def test_max_has_the_uncertainty_of_the_largest_value() -> None:
    assert u("max(bore[*])", "mm", bore_1="0.1", bore_2="0.003", bore_3="0.1") == pytest.approx(0.003)
    assert u("abs(journal - bore[1])", "mm", journal="0.004") == pytest.approx(0.004)


def test_value_without_an_uncertainty_counts_as_exact() -> None:
    assert u("bore[1] - journal", "mm") == 0
    assert u("2 * 3 mm", "mm") == 0


def test_uncertainty_of_a_root_at_zero_raises_an_error() -> None:
    with pytest.raises(FormulaError, match="cannot be calculated"):
        u("sqrt(zero)", "mm", zero="1")


def test_evaluation_imports_no_large_library() -> None:
    code = (
        "import sys; from benchflow.procedure.formula import parse_formula, evaluate;"
        "from benchflow.quantity import parse_quantity;"
        "evaluate(parse_formula('a - 1 mm'), {'a': parse_quantity('3 mm')}, 'mm');"
        "print([m for m in ('pint', 'numpy', 'uncertainties') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
