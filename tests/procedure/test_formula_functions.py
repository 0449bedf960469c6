"""Powers, angles, conditions and steps in formulas: exact results, and random formulas against Python itself."""

import math
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from benchflow.procedure.formula import FormulaError, check_units, evaluate, parse_formula, render, sensitivity
from benchflow.procedure.formula.value_ranges import RangeOfName, ValueRange, range_of
from benchflow.quantity import Quantity, convert, parse_quantity

Q = parse_quantity


def exact(text: str, unit: str = "", **values: Quantity) -> Fraction:
    formula = parse_formula(text)
    check_units(formula, {name: value.unit for name, value in values.items()}, unit)
    return evaluate(formula, values, unit).exact


EXACT = [
    ("sin(30°)", "1/2"), ("sin(pi / 6)", "1/2"), ("cos(60°)", "1/2"), ("cos(90°)", "0"), ("tan(45°)", "1"),
    ("tan(135°)", "-1"), ("sin(-30°)", "-1/2"), ("sin(390°)", "1/2"), ("sin(pi)", "0"), ("cos(0)", "1"),
    ("sin(37°)^2 + cos(37°)^2", "1"), ("sqrt(2) * sqrt(2)", "2"), ("sqrt(2)^4", "4"), ("2^0.5 * 2^0.5", "2"),
    ("2^(-1)", "1/2"), ("4^(-1/2)", "1/2"), ("4^1.5", "8"), ("0^2", "0"), ("2^0", "1"), ("-2^2", "-4"),
    ("(-2)^2", "4"), ("2^3/4", "2"), ("sin(37°) / cos(37°) - tan(37°)", "0"), ("tan(atan(0.7))", "7/10"),
    ("sin(asin(0.7))", "7/10"), ("cos(acos(0.3))", "3/10"), ("pi / pi", "1"), ("cos(pi / 3) * 2", "1"),
    ("if(sqrt(2)^2 = 2, 1, 0)", "1"), ("if(sqrt(2)^2 < 2, 1, 0)", "0"), ("up(sqrt(2)^2, 1)", "2"),
    ("down(sqrt(3)^2, 1)", "3"), ("up(0.10, 0.05)", "1/10"), ("up(0.101, 0.05)", "3/20"), ("down(0.149, 0.05)", "1/10"),
    ("round(0.125, 0.05)", "3/20"), ("round(-0.125, 0.05)", "-3/20"), ("up(-0.11, 0.05)", "-1/10"),
    ("down(-0.11, 0.05)", "-3/20"), ("if(1 > 2, 1 / 0, 5)", "5"), ("if(2 <= 2, 5, 1 / 0)", "5"),
    ("if(1 < 2, if(3 > 4, 1, 2), 3)", "2"), ("max(if(1 > 2, 1, 4), 3)", "4"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "want"), EXACT)
def test_result_is_exact_where_it_is_rational(text: str, want: str) -> None:
    assert exact(text) == Fraction(want)
    assert exact(render(parse_formula(text))) == Fraction(want)


@pytest.mark.parametrize(
    ("text", "degrees"), [("asin(0.5)", 30), ("acos(-1)", 180), ("atan(-1)", -45), ("acos(0)", 90), ("asin(-1)", -90)]
)
def test_inverse_function_gives_an_angle(text: str, degrees: int) -> None:
    assert exact(text, "°") == degrees


NO_RESULT = [
    "tan(90°)", "tan(pi / 2)", "asin(1.001)", "acos(-1.001)", "sqrt(-1)", "(-1)^0.5", "0^(-1)", "(sqrt(2)^2 - 2)^(-1)",
    "1 / (sqrt(2)^2 - 2)", "round(1, 0 * 2)", "up(1, 1 - 2)", "((9^12)^12)^12", "((((9^12)^12)^12)^12)^12",
]  # fmt: skip


@pytest.mark.parametrize("text", NO_RESULT[:11])
def test_impossible_calculation_has_no_result(text: str) -> None:
    with pytest.raises(FormulaError):
        evaluate(parse_formula(text), {}, "")
    with pytest.raises(FormulaError):
        sensitivity(parse_formula(text), {})


def test_nested_powers_are_refused_before_they_take_long() -> None:
    with pytest.raises(FormulaError, match="too large"):
        evaluate(parse_formula("((((((9.7^12)^12)^12)^12)^12)^12)^12"), {}, "")
    with pytest.raises(FormulaError, match="too large"):
        evaluate(parse_formula("((((((0.97^12)^12)^12)^12)^12)^12)^12"), {}, "")


@given(st.decimals("0.001", 80, places=3), st.sampled_from(["in", "thou", "µm", "cm"]), st.integers(0, 3))
def test_decision_of_a_formula_does_not_depend_on_the_unit(value: Decimal, unit: str, more: int) -> None:
    typed = Quantity(value, "mm", f"{value} mm")
    limit = value + Decimal(more - 1) / 1000
    text = f"if(x >= {limit} mm, round(x, 0.05 mm), up(x, 0.01 mm) + down(x, 0.01 mm)) + (x^2)^(1/2)"
    assert exact(text, "mm", x=typed) == exact(text, "mm", x=convert(typed, unit))


@pytest.mark.parametrize(
    ("text", "shown"),
    [("10^12 * 10^12 * 10^12 / 7 * 0.1", 34), ("10^(-12) * 10^(-12) / 7", -25), ("7^12 * 7^12 * 1.0001", 20)],
)
def test_large_and_small_results_are_shown(text: str, shown: int) -> None:
    found = evaluate(parse_formula(text), {}, "")
    assert found.value.value.adjusted() == shown
    assert found.exact == found.exact.limit_denominator(10**60)


@pytest.mark.parametrize("places", range(1, 18))
def test_no_number_of_digits_breaks_the_calculation(places: int) -> None:
    text = " * ".join(["x^12 / y^12"] * 19)
    values = {"x": Quantity(Decimal(f"1.{'7' * places}"), "", ""), "y": Quantity(Decimal(f"1.{'6' * places}"), "", "")}
    if places < 16:
        assert evaluate(parse_formula(text), values, "").exact > 1
        return
    with pytest.raises(FormulaError, match="too large"):
        evaluate(parse_formula(text), values, "")


@pytest.mark.parametrize("text", ["10^12 * 10^12 * 10^12 * 10^12 * 10^12 * 10^12", "(10^(-12))^6 * 1.5"])
def test_result_of_too_many_digits_is_refused(text: str) -> None:
    with pytest.raises(FormulaError, match="more than 60 digits"):
        evaluate(parse_formula(text), {}, "")


# --- random formulas against floats of Python -------------------------------------------------------


def formulas(depth: int) -> st.SearchStrategy[str]:
    leaf = st.sampled_from(["a", "b", "pi"]) | st.integers(1, 9).map(str)
    if depth == 0:
        return leaf
    inner = formulas(depth - 1)
    return st.one_of(
        leaf,
        st.builds("({} {} {})".format, inner, st.sampled_from("+-*/"), inner),
        st.builds("{}({})".format, st.sampled_from(["sin", "cos", "tan", "abs", "sqrt"]), inner),
        inner.map("(atan_({}))".format),
        st.builds("({})^{}".format, inner, st.sampled_from(["2", "3", "0.5", "(-1)", "1.5"])),
        st.builds("if({} {} {}, {}, {})".format, inner, st.sampled_from(["<", "<=", ">", ">="]), inner, inner, inner),
        st.builds("{}({}, 0.25)".format, st.sampled_from(["round", "up", "down"]), inner),
    )


def in_python(text: str, a: float, b: float) -> float:
    """The same formula by Python's own functions of floats."""
    code = text.replace("if(", "if_(").replace("atan_", "atan").replace("^", "**").replace("round(", "round_(")
    for relation in ("<=", ">=", "<", ">"):
        code = code.replace(f" {relation} ", f", '{relation}', ")
    names: dict[str, object] = {
        **{name: getattr(math, name) for name in ("sin", "cos", "tan", "atan", "sqrt", "pi")},
        "if_": lambda x, relation, y, then, other: (
            then if {"<": x < y, "<=": x <= y, ">": x > y, ">=": x >= y}[relation] else other
        ),
        "round_": lambda x, s: math.copysign(math.floor(abs(x) / s + 0.5) * s, x),
        "up": lambda x, s: math.ceil(x / s) * s, "down": lambda x, s: math.floor(x / s) * s, "abs": abs, "a": a, "b": b,
    }  # fmt: skip
    result = eval(code, {"__builtins__": {}}, names)
    if isinstance(result, complex):
        raise ValueError("root of a negative number")
    return float(result)


@given(formulas(3), st.floats(0.1, 9), st.floats(0.1, 9))
def test_random_formula_gives_the_result_of_python(text: str, a: float, b: float) -> None:
    assume(len(text) < 250)
    values = {"a": Quantity(Decimal(a), "", ""), "b": Quantity(Decimal(b), "", "")}
    text = text.replace("atan_(", "pi / 180° * atan(")
    formula = parse_formula(text)
    check_units(formula, {"a": "", "b": ""}, "")
    want, near = [], True
    for factor in (1, 1 + 1e-12, 1 - 1e-12):  # Python rounds, so near a jump its result means nothing
        try:
            want.append(in_python(text.replace("pi / 180° * atan(", "atan_("), a * factor, b * factor))
        except (ValueError, ZeroDivisionError, OverflowError, TypeError):
            near = False
    assume(near and all(math.isfinite(one) and abs(one) < 1e12 for one in want))
    assume(max(want) - min(want) <= 1e-7 * max(1.0, abs(want[0])))
    try:
        got = evaluate(formula, values, "").exact
    except FormulaError as error:
        assume("zero" not in str(error))  # 0.1 + 0.2 - 0.3 is zero, but not for Python
        assume("negative" not in str(error))
        assume("right angle" not in str(error))
        raise
    assert float(got) == pytest.approx(want[0], rel=1e-6, abs=1e-6)


SMOOTH = [
    "a^2 * b", "a^1.5 / b", "sin(a) * b", "cos(a + b)", "tan(a / 9)", "sqrt(a^2 + b^2)", "a^(-2)", "(a * b)^0.5",
    "pi / 180° * atan(a / b)", "pi / 180° * asin(a / 10)", "pi / 180° * acos(a / 10)",
    "if(a > 0, a * b, 7)", "sin(a * 1°) * b",
]  # fmt: skip


@given(st.sampled_from(SMOOTH), st.floats(0.5, 5), st.floats(0.5, 5))
def test_slopes_equal_numerical_differences(text: str, a: float, b: float) -> None:
    formula, step = parse_formula(text), 1e-7
    assume("tan(a / 9)" not in text or a < 5)

    def at(x: float, y: float) -> float:
        return float(
            evaluate(formula, {"a": Quantity(Decimal(x), "", ""), "b": Quantity(Decimal(y), "", "")}, "").exact
        )

    found = sensitivity(formula, {"a": Quantity(Decimal(a), "", ""), "b": Quantity(Decimal(b), "", "")}).slopes
    assert found.get("a", 0.0) == pytest.approx((at(a + step, b) - at(a - step, b)) / 2 / step, rel=1e-4, abs=1e-5)
    assert found.get("b", 0.0) == pytest.approx((at(a, b + step) - at(a, b - step)) / 2 / step, rel=1e-4, abs=1e-5)


RANGED = [
    "a^2", "a^3", "a^(-1)", "(a - b)^2", "abs(a)^0.5", "sin(a)", "cos(b)", "if(a > b, a, b)",
    "if(a >= b, a - b, b - a)",
    "round(a, 0.25)", "up(a, 0.3)", "down(a - b, 0.3)", "if(a = b, 1, 2)", "if(a < 0, 1 / a, 3)", "a^0 + b",
]  # fmt: skip
numbers = st.fractions(-4, 4, max_denominator=4)


@given(st.sampled_from(RANGED), st.tuples(numbers, numbers, numbers), st.tuples(numbers, numbers, numbers),
       st.sets(st.integers(0, 3)))  # fmt: skip
def test_result_is_never_outside_its_range(
    text: str, of_a: tuple[Fraction, ...], of_b: tuple[Fraction, ...], opened: set[int]
) -> None:
    ranges, values = {}, {}
    for number, (name, three) in enumerate((("a", of_a), ("b", of_b))):
        low, value, high = sorted(three)
        ranges[name] = ValueRange(None if number in opened else low, None if number + 2 in opened else high)
        values[name] = Quantity(Decimal(value.numerator) / value.denominator, "", "")
    found = range_of(parse_formula(text).root, lambda node: RangeOfName(ranges[node.name]))
    try:
        result = evaluate(parse_formula(text), values, "").exact
    except FormulaError:
        return
    assert found.low is None or found.low <= result
    assert found.high is None or result <= found.high
