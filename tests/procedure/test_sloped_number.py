"""Numbers with slopes against the library `uncertainties`, which finds slopes in another way."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat, umath  # type: ignore[import-untyped]  # it ships no types

from benchflow.procedure.formula.sloped_number import SlopedNumber, function_of

numbers = st.floats(0.1, 50).map(lambda x: round(x, 3))
EXPRESSIONS = (
    "a + b - 2", "3 - a * b", "a / b + b / a", "2 / a - b / 3", "-(a - b) * (a + b)", "a ** 2 - b ** 3", "b ** -1",
    "a ** 1.5 * b ** 0", "(1 + a) ** 2 / b",
)  # fmt: skip


@pytest.mark.parametrize("text", EXPRESSIONS)
@given(a=numbers, b=numbers)
def test_slopes_of_an_expression_are_those_of_the_library(text: str, a: float, b: float) -> None:
    ours = eval(text, {"a": SlopedNumber.variable("a", a), "b": SlopedNumber.variable("b", b)})  # fixed
    names = {"a": ufloat(a, 1), "b": ufloat(b, 1)}
    theirs = eval(text, names.copy())  # the texts above
    assert ours.value == pytest.approx(theirs.nominal_value)
    for key, variable in names.items():
        wanted = theirs.derivatives.get(variable, 0.0)
        assert ours.slopes.get(key, 0.0) == pytest.approx(wanted, rel=1e-9, abs=1e-9 * abs(ours.value))


@pytest.mark.parametrize("name", ["sqrt", "sin", "cos", "tan", "asin", "acos", "atan"])
@given(x=st.floats(0.01, 0.99))
def test_slope_of_a_function_is_that_of_the_library(name: str, x: float) -> None:
    ours = function_of(name, SlopedNumber.variable("x", x) * 1.0)
    variable = ufloat(x, 1)
    theirs = getattr(umath, name)(variable)
    assert isinstance(ours, SlopedNumber)
    assert ours.value == pytest.approx(theirs.nominal_value)
    assert ours.slopes["x"] == pytest.approx(theirs.derivatives[variable])


def test_root_has_an_infinite_slope_at_zero_and_an_arc_at_one() -> None:
    for name, x in (("sqrt", 0.0), ("asin", 1.0), ("acos", -1.0)):
        found = function_of(name, SlopedNumber.variable("x", x))
        assert isinstance(found, SlopedNumber)
        assert not math.isfinite(found.slopes["x"])


def test_function_of_a_constant_is_a_constant() -> None:
    assert function_of("sin", 0.5) == math.sin(0.5)
