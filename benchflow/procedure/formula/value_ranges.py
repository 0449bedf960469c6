"""Interval arithmetic on formulas: the range that a result cannot leave while its inputs are in their ranges.

A range may be wider than the true one, never narrower: a value that occurs twice counts as two independent values. The
bounds are exact fractions in the base unit of the dimension (R. E. Moore, Interval Analysis, 1966, from memory).
"""

from collections.abc import Callable
from fractions import Fraction
from math import isqrt
from typing import NamedTuple

from benchflow.procedure.formula.expression import (
    BinaryOperation,
    Call,
    Conditional,
    Constant,
    Expression,
    NameNode,
    Negation,
    Power,
)
from benchflow.quantity.arithmetic import unit_with_symbol

_ROOT_SCALE = 10**20
"""Roots are rounded outward to this part of the base unit."""


class ValueRange(NamedTuple):
    """All values from ``low`` to ``high``; ``None`` is an open end."""

    low: Fraction | None = None
    high: Fraction | None = None

    def hull(self, other: "ValueRange") -> "ValueRange":
        """The smallest range that contains both."""
        return ValueRange(
            None if self.low is None or other.low is None else min(self.low, other.low),
            None if self.high is None or other.high is None else max(self.high, other.high),
        )

    def common(self, other: "ValueRange") -> "ValueRange":
        """The values in both ranges. It is empty, with ``low`` above ``high``, if there is none."""
        lows = [low for low in (self.low, other.low) if low is not None]
        highs = [high for high in (self.high, other.high) if high is not None]
        return ValueRange(max(lows, default=None), min(highs, default=None))

    @property
    def is_empty(self) -> bool:
        return self.low is not None and self.high is not None and self.low > self.high


ANYTHING = ValueRange()


class RangeOfName(NamedTuple):
    """The range of each value that a name means, and the number of these values."""

    each: ValueRange
    number: int = 1


def range_of(
    node: Expression,
    range_of_name: Callable[[NameNode], RangeOfName],
    range_of_call: Callable[[Call], ValueRange] = lambda call: ANYTHING,
) -> ValueRange:
    """The range of an expression. ``range_of_call`` gives what is known of a whole call, such as of a mean."""
    return _RangeFinder(range_of_name, range_of_call).of(node).each


class _RangeFinder:
    def __init__(
        self, range_of_name: Callable[[NameNode], RangeOfName], range_of_call: Callable[[Call], ValueRange]
    ) -> None:
        self._range_of_name, self._range_of_call = range_of_name, range_of_call

    def of(self, node: Expression) -> RangeOfName:
        match node:
            case Constant(value=value, unit=unit):
                if unit:
                    row = unit_with_symbol(unit)
                    value = value * row.factor + row.offset
                return RangeOfName(ValueRange(value, value))
            case NameNode():
                return self._range_of_name(node)._replace(each=ANYTHING) if node.before else self._range_of_name(node)
            case Negation(of=of):
                found = self.of(of)
                return RangeOfName(_negative(found.each), found.number)
            case BinaryOperation(operator=operator, left=left, right=right):
                one, two = self.of(left), self.of(right)
                return RangeOfName(_combined(operator, one.each, two.each), max(one.number, two.number))
            case Power(of=of, exponent=exponent):
                found = self.of(of)
                return RangeOfName(_power(found.each, exponent), found.number)
            case Conditional():
                return self.of_conditional(node)
            case Call():
                return RangeOfName(self.of_call(node).common(self._range_of_call(node)))
            case _:
                return RangeOfName(ANYTHING)

    def of_conditional(self, node: Conditional) -> RangeOfName:
        left, right, then, otherwise = map(self.of, (node.left, node.right, node.then, node.otherwise))
        number = max(each.number for each in (left, right, then, otherwise))
        difference = _added(left.each, _negative(right.each))
        if _is_certain(node.relation, difference):
            return RangeOfName(then.each, number)
        if _is_certain(_OPPOSITE[node.relation], difference):
            return RangeOfName(otherwise.each, number)
        return RangeOfName(then.each.hull(otherwise.each), number)

    def of_call(self, node: Call) -> ValueRange:
        found = [self.of(argument) for argument in node.arguments]
        ranges = [each.each for each in found]
        whole = ranges[0]
        for other in ranges[1:]:
            whole = whole.hull(other)
        match node.function:
            case "mean":
                count = Fraction(1, sum(each.number for each in found))
                return _product(_sum(found), ValueRange(count, count))
            case "sum":
                return _sum(found)
            case "count":
                count = Fraction(sum(each.number for each in found))
                return ValueRange(count, count)
            case "max":
                lows = [each.low for each in ranges if each.low is not None]
                return ValueRange(max(lows, default=None), whole.high)
            case "min":
                highs = [each.high for each in ranges if each.high is not None]
                return ValueRange(whole.low, min(highs, default=None))
            case "spread":
                bounded = whole.low is not None and whole.high is not None
                single = len(found) == 1 and found[0].number == 1
                most = Fraction(0) if single else whole.high - whole.low if bounded else None  # type: ignore[operator]
                return ValueRange(Fraction(0), most)
            case "abs":
                return _absolute(whole)
            case "sqrt":
                return ValueRange(
                    Fraction(0) if whole.low is None else _root(max(whole.low, Fraction(0))),
                    None if whole.high is None else _root(max(whole.high, Fraction(0)), up=True),
                )
            case "sin" | "cos":
                return ValueRange(Fraction(-1), Fraction(1))
            case "asin" | "atan":
                return ValueRange(Fraction(-90), Fraction(90))
            case "acos":
                return ValueRange(Fraction(0), Fraction(180))
            case "round" | "up" | "down":
                return _to_steps(node.function, ranges[0], ranges[1])
            case _:
                return ANYTHING


_OPPOSITE: dict[str, str] = {"<": ">=", "<=": ">", ">": "<=", ">=": "<", "=": "!="}


def _is_certain(relation: str, difference: ValueRange) -> bool:
    """True if the relation holds for every difference in this range."""
    low, high = difference.low, difference.high
    match relation:
        case "<":
            return high is not None and high < 0
        case "<=":
            return high is not None and high <= 0
        case ">":
            return low is not None and low > 0
        case ">=":
            return low is not None and low >= 0
        case "!=":
            return (low is not None and low > 0) or (high is not None and high < 0)
        case _:
            return low == 0 and high == 0


def _power(of: ValueRange, exponent: Fraction) -> ValueRange:
    """The range of a power: the product of its factors, or the same of the roots."""
    if exponent.denominator > 1:
        of = ValueRange(
            Fraction(0) if of.low is None else _root(max(of.low, Fraction(0))),
            None if of.high is None else _root(max(of.high, Fraction(0)), up=True),
        )
    factors = abs(exponent.numerator)
    if any(end is not None and _digits(end) * factors > _MOST_DIGITS for end in of):
        return ANYTHING
    if factors % 2 == 0:
        of = _absolute(of)
    found = ValueRange(*(None if end is None else end**factors for end in of))
    return _reciprocal(found) if exponent < 0 else found


_MOST_DIGITS = 2**14


def _digits(value: Fraction) -> int:
    return max(value.numerator.bit_length(), value.denominator.bit_length())


def _to_steps(function: str, of: ValueRange, step: ValueRange) -> ValueRange:
    """The range of a value that is rounded to a step: it moves by less than one step, or half of one."""
    if step.high is None or step.high <= 0:
        return ANYTHING
    down = {"round": step.high / 2, "up": Fraction(0), "down": step.high}[function]
    up = {"round": step.high / 2, "up": step.high, "down": Fraction(0)}[function]
    return _added(of, ValueRange(-down, up))


def _negative(of: ValueRange) -> ValueRange:
    return ValueRange(None if of.high is None else -of.high, None if of.low is None else -of.low)


def _added(one: ValueRange, two: ValueRange) -> ValueRange:
    return ValueRange(
        None if one.low is None or two.low is None else one.low + two.low,
        None if one.high is None or two.high is None else one.high + two.high,
    )


def _sum(found: list[RangeOfName]) -> ValueRange:
    total = ValueRange(Fraction(0), Fraction(0))
    for each, count in found:
        total = _added(total, _product(each, ValueRange(Fraction(count), Fraction(count))))
    return total


def _combined(operator: str, one: ValueRange, two: ValueRange) -> ValueRange:
    match operator:
        case "+":
            return _added(one, two)
        case "-":
            return _added(one, _negative(two))
        case "*":
            return _product(one, two)
        case "/":
            return _product(one, _reciprocal(two))
        case _:
            return ANYTHING


def _product(one: ValueRange, two: ValueRange) -> ValueRange:
    if one.low is not None and one.high is not None and two.low is not None and two.high is not None:
        corners = [a * b for a in (one.low, one.high) for b in (two.low, two.high)]
        return ValueRange(min(corners), max(corners))
    for factor, other in ((one, two), (two, one)):
        if factor.low is not None and factor.low == factor.high:
            scaled = ValueRange(
                None if other.low is None else other.low * factor.low,
                None if other.high is None else other.high * factor.low,
            )
            if factor.low == 0:
                return ValueRange(Fraction(0), Fraction(0))
            return scaled if factor.low > 0 else ValueRange(scaled.high, scaled.low)
    if one.low is not None and two.low is not None and one.low >= 0 and two.low >= 0:
        return ValueRange(one.low * two.low, None)
    return ANYTHING


def _reciprocal(of: ValueRange) -> ValueRange:
    """The range of the quotients 1/x; anything if the range contains zero."""
    if of.low is not None and of.low > 0:
        return ValueRange(Fraction(0) if of.high is None else 1 / of.high, 1 / of.low)
    if of.high is not None and of.high < 0:
        return ValueRange(1 / of.high, Fraction(0) if of.low is None else 1 / of.low)
    return ANYTHING


def _absolute(of: ValueRange) -> ValueRange:
    if of.low is not None and of.low >= 0:
        return of
    if of.high is not None and of.high <= 0:
        return _negative(of)
    ends = None if of.low is None or of.high is None else max(-of.low, of.high)
    return ValueRange(Fraction(0), ends)


def _root(value: Fraction, *, up: bool = False) -> Fraction:
    """The square root, rounded down, or ``up``."""
    scaled = value.numerator * value.denominator * _ROOT_SCALE**2
    root = isqrt(scaled)
    root += up and root * root != scaled
    return Fraction(root, value.denominator * _ROOT_SCALE)
