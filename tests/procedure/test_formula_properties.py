"""Random tests of parsing, evaluation and uncertainty of formulas."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.procedure.formula import FormulaError, check_units, evaluate, parse_formula, render, slopes
from benchflow.procedure.formula.unit_check import PINT_UNITS
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


def test_every_dimension_has_a_base_unit_in_the_registry() -> None:
    assert {unit.dimension for unit in units.BY_SYMBOL.values()} | {""} == set(PINT_UNITS)
