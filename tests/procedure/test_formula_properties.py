"""Random tests of parsing, evaluation and uncertainty of formulas."""

from decimal import Decimal
from fractions import Fraction

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.procedure.formula import FormulaError, check_units, evaluate, parse_formula, render, slopes
from benchflow.procedure.formula.unit_check import DIMENSIONS, BasePowers
from benchflow.quantity import Quantity, convert, units

lengths = st.decimals(min_value=Decimal("0.001"), max_value=100, places=3)
small = st.decimals(min_value=0, max_value=1, places=4)
typed = st.text("ab12.[]*()+-/ ,mean×½°%KCFmind_^", max_size=50)


@given(typed | st.text(max_size=60))
@settings(max_examples=300)
def test_any_text_parses_or_raises_a_formula_error(text: str) -> None:
    try:
        formula = parse_formula(text)
        check_units(formula, {"a": "mm", "b": "°C", "mean": ""}, "mm")
        evaluate(formula, {"a": Quantity(Decimal(2), "mm", ""), "b": Quantity(Decimal(2), "°C", "")}, "mm")
    except FormulaError as error:
        refused = error
    else:
        return
    assert 0 <= refused.at <= len(text)


def sums(depth: int) -> st.SearchStrategy[str]:
    """Formulas of numbers without units that are also Python expressions; some divide by zero."""
    leaf = st.integers(1, 99).map(str) | st.decimals(min_value=0, max_value=9, places=2).map(str)
    if depth == 0:
        return leaf
    inner = sums(depth - 1)
    return leaf | st.builds("{} {} ({})".format, inner, st.sampled_from("+-*/"), inner) | inner.map("-({})".format)


def by_python(text: str) -> Fraction:
    """The value of the text as a Python expression, in exact fractions, without the code under test."""
    import ast

    def of(node: ast.expr) -> Fraction:
        match node:
            case ast.Constant(value=int() | float()):
                return Fraction(str(node.value))
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                return -of(operand)
            case ast.BinOp(left=left, op=ast.Add(), right=right):
                return of(left) + of(right)
            case ast.BinOp(left=left, op=ast.Sub(), right=right):
                return of(left) - of(right)
            case ast.BinOp(left=left, op=ast.Mult(), right=right):
                return of(left) * of(right)
            case ast.BinOp(left=left, op=ast.Div(), right=right):
                return of(left) / of(right)
        raise AssertionError(ast.dump(node))

    return of(ast.parse(text, mode="eval").body)


@given(sums(3).filter(lambda text: len(text) < 200))
def test_result_equals_the_result_of_python_for_the_same_text(text: str) -> None:
    try:
        want = by_python(text)
    except ZeroDivisionError:
        with pytest.raises(FormulaError):
            evaluate(parse_formula(text), {}, "")
        return
    got = evaluate(parse_formula(text), {}, "").value.value
    assert abs(Fraction(got) - want) <= abs(want) * Fraction(1, 10**27)
    again = evaluate(parse_formula(render(parse_formula(text))), {}, "").value.value
    assert again == got


@given(lengths, lengths, st.sampled_from(["in", "thou", "µm", "cm"]))
def test_result_does_not_depend_on_the_unit_of_the_readings(a: Decimal, b: Decimal, unit: str) -> None:
    formula = parse_formula("2 * (a - b) / 3 + max(a, b)")
    values = {"a": Quantity(a, "mm", ""), "b": Quantity(b, "mm", "")}
    other = {name: convert(q, unit) for name, q in values.items()}
    check_units(formula, dict.fromkeys(values, unit), "mm")
    one, two = evaluate(formula, values, "mm").value, evaluate(formula, other, "mm").value
    assert abs(one.value - two.value) < Decimal("1e-20")


@given(lengths, lengths, lengths)
def test_slope_of_a_product_is_the_other_factor(a: Decimal, b: Decimal, c: Decimal) -> None:
    values = {name: Quantity(number, "m", "") for name, number in (("a", a), ("b", b), ("c", c))}
    found = slopes(parse_formula("a * b - c"), values)
    expected = {"a": float(b), "b": float(a), "c": -1.0}
    assert found == {name: slope for name, slope in expected.items() if slope}


def test_every_dimension_of_the_unit_table_has_its_powers() -> None:
    assert {unit.dimension for unit in units.BY_SYMBOL.values()} | {""} == set(DIMENSIONS)


_OF_PINT = {
    "length": "metre", "area": "metre ** 2", "volume": "litre", "temperature": "kelvin", "time": "hour",
    "mass": "pound", "force": "newton", "torque": "newton * metre", "pressure": "bar", "stiffness": "newton / metre",
    "expansion": "1 / kelvin", "voltage": "volt", "current": "ampere", "resistance": "ohm", "frequency": "hertz",
    "viscosity": "centistokes", "unbalance": "gram * centimetre",
}  # fmt: skip
"""A unit of each dimension by its name in pint. pint takes an angle as a number, and has no hardness."""


def test_the_powers_of_each_dimension_are_those_of_pint() -> None:
    registry: pint.UnitRegistry[float] = pint.UnitRegistry()
    for dimension, powers in DIMENSIONS.items():
        expected = dict(registry.Unit(_OF_PINT.get(dimension, "dimensionless")).dimensionality)
        found = {f"[{name}]": power for name, power in powers._asdict().items() if power}
        for own in ("[angle]", "[hardness]"):
            if own in found:
                assert dimension in ("angle", "rotation", "hardness")
                del found[own]
        assert found == (expected if dimension != "rotation" else {"[time]": -1}), dimension
    assert len(set(DIMENSIONS.values())) == len(DIMENSIONS) - 1  # only a fraction is a number without a unit


@given(st.sampled_from(list(DIMENSIONS)), st.sampled_from(list(DIMENSIONS)))
def test_a_quotient_times_its_divisor_has_the_dimension_again(one: str, other: str) -> None:
    first, second = DIMENSIONS[one], DIMENSIONS[other]
    assert first.times(second, -1).times(second) == first
    assert first.to_power(Fraction(1, 2)).to_power(Fraction(2)) == first
    assert first.times(first, -1) == BasePowers()
