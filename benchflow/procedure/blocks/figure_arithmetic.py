"""Calculates a placeholder such as ``{final / 3}``, exactly."""

from collections.abc import Mapping
from fractions import Fraction
from math import floor
from typing import NamedTuple

from benchflow.base.errors import BenchflowError
from benchflow.procedure.formula.expression import (
    BinaryOperation,
    Call,
    Constant,
    Expression,
    FormulaError,
    NameNode,
    Negation,
)
from benchflow.procedure.formula.formula_parser import parse_formula
from benchflow.quantity import Quantity, base, difference_factor, dimension_of
from benchflow.quantity.shown import magnitude, round_half_up, with_unit


class CannotCalculate(BenchflowError):
    """The placeholder cannot be calculated. The message is a clause for the problem."""


class _Figure(NamedTuple):
    """A number in base units, with the given quantity whose unit and digits the result has."""

    value: Fraction
    dimension: str
    like: Quantity | None


def calculated_text(text: str, given: Mapping[str, Quantity]) -> str:
    """The result of the calculation as text, in the unit of the first quantity in it: ``30 N·m``.

    A result that does not end is rounded to one digit more than that quantity has, and to three significant digits at
    least (source: our own rule, as for converted quantities).

    Raises:
        CannotCalculate: it is not a calculation, or its units do not fit.
    """
    try:
        result = _evaluated(parse_formula(text).root, given)
    except FormulaError as error:
        raise CannotCalculate(error.why[:1].lower() + error.why[1:]) from error
    like = result.like
    if like is None:
        raise CannotCalculate("it has no parameter")
    unit = like.unit if dimension_of(like.unit) == result.dimension else ""
    exact = result.value / difference_factor(unit)
    exponent = like.value.as_tuple().exponent
    decimals = max(-exponent if isinstance(exponent, int) else 0, 0)
    shortest = _ends_within(exact, decimals)
    if shortest is not None:
        return with_unit(f"{round_half_up(exact, shortest):f}", unit)
    places = max(decimals + 1, 2 - magnitude(exact) if exact else 0)
    return with_unit(f"{round_half_up(exact, places):f}", unit)


def _ends_within(value: Fraction, decimals: int) -> int | None:
    """The number of decimals, at least ``decimals`` and at most three more, with which ``value`` ends."""
    fitting = (n for n in range(decimals, decimals + 4) if (value * 10**n).denominator == 1)
    return next(fitting, None)


def _evaluated(node: Expression, given: Mapping[str, Quantity]) -> _Figure:
    if isinstance(node, NameNode):
        return _given(node, given)
    if isinstance(node, Constant):
        quantity = Quantity(round_half_up(node.value, node.places), node.unit, "")
        return _figure(quantity)._replace(value=node.value * difference_factor(node.unit), like=None)
    if isinstance(node, Negation):
        inner = _evaluated(node.of, given)
        return inner._replace(value=-inner.value)
    if isinstance(node, BinaryOperation):
        return _combined(node, _evaluated(node.left, given), _evaluated(node.right, given))
    if isinstance(node, Call):
        return _called(node, [_evaluated(each, given) for each in node.arguments])
    raise CannotCalculate("only + - * /, brackets, min, max, abs, round, up and down are possible here")


def _given(node: NameNode, given: Mapping[str, Quantity]) -> _Figure:
    if node.name not in given or node.place is not None or node.reading is not None:
        raise CannotCalculate(f"`{node.name}` is not a parameter with a quantity or a number")
    return _figure(given[node.name])


def _figure(quantity: Quantity) -> _Figure:
    dimension = dimension_of(quantity.unit)
    if dimension == "temperature":
        raise CannotCalculate("a temperature cannot be used in a calculation here")
    return _Figure(base(quantity), dimension, quantity)


def _combined(node: BinaryOperation, left: _Figure, right: _Figure) -> _Figure:
    like = left.like if left.like is not None and (left.dimension or not right.dimension) else right.like or left.like
    if node.operator in "+-":
        if left.dimension != right.dimension:
            kinds = " and ".join(each.dimension or "a number" for each in (left, right))
            raise CannotCalculate(f"{kinds} cannot be added")
        return _Figure(left.value + right.value if node.operator == "+" else left.value - right.value,
                       left.dimension, like)  # fmt: skip
    if node.operator == "*":
        if left.dimension and right.dimension:
            raise CannotCalculate("two quantities cannot be multiplied here")
        return _Figure(left.value * right.value, left.dimension or right.dimension, like)
    if not right.value:
        raise CannotCalculate("it divides by zero")
    if right.dimension not in ("", left.dimension):
        raise CannotCalculate(f"{left.dimension or 'a number'} cannot be divided by {right.dimension}")
    return _Figure(left.value / right.value, "" if right.dimension else left.dimension, like)


def _called(node: Call, arguments: list[_Figure]) -> _Figure:
    first = arguments[0]
    if any(each.dimension != first.dimension for each in arguments):
        raise CannotCalculate(f"the parts of {node.function} have different dimensions")
    like = next((each.like for each in arguments if each.like is not None), None)
    values = [each.value for each in arguments]
    if node.function == "abs":
        return _Figure(abs(first.value), first.dimension, like)
    if node.function in ("min", "max"):
        return _Figure(min(values) if node.function == "min" else max(values), first.dimension, like)
    if node.function in ("round", "up", "down") and len(values) == 2 and values[1] > 0:
        steps = values[0] / values[1]
        whole = {"up": -floor(-steps), "down": floor(steps), "round": _rounded(steps)}[node.function]
        return _Figure(whole * values[1], first.dimension, like)
    raise CannotCalculate(f"{node.function} is not possible here")


def _rounded(value: Fraction) -> int:
    """The nearest whole number, halves away from zero."""
    return floor(value + Fraction(1, 2)) if value >= 0 else -floor(-value + Fraction(1, 2))
