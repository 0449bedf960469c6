"""Evaluates a formula: the exact value, the calculation as text with numbers, and the first-order slopes."""

from collections.abc import Callable, Mapping
from decimal import Context, Decimal
from fractions import Fraction
from math import isfinite, isqrt
from typing import Any, NamedTuple

from msgspec import Struct

from benchflow.procedure.formula.expression import (
    OVER_PLACES,
    BinaryOperation,
    Call,
    Constant,
    Expression,
    Formula,
    FormulaError,
    NameNode,
    Negation,
    expression_text,
    map_expression,
    walk,
)
from benchflow.procedure.identity import ALL_PLACES, ValueRef, joined, parts
from benchflow.quantity import Quantity, base, dimension_of, show_short, units
from benchflow.quantity.arithmetic import decimal, from_base, unit_with_symbol
from benchflow.quantity.shown import decimals_shown, magnitude, round_half_up, with_unit


class Operand(NamedTuple):
    """A value that a formula uses: as shown in the calculation, and its exact number in the base unit.

    ``difference`` is true for a temperature difference, which has no offset.
    """

    shown: Quantity
    exact: Fraction
    difference: bool = False


class EvaluatedFormula(Struct, frozen=True):
    """The result of a formula.

    ``exact`` is the result in the base unit. ``value`` is the same, or rounded to 28 digits if the decimal is infinite.
    Its ``entered`` is the result as shown. ``filled`` is the calculation with numbers, such as
    ``52.010 mm - 51.970 mm = 0.040 mm``. It has ``≈`` instead of ``=`` if the result shown is rounded. ``difference``
    is true for a temperature difference.
    """

    value: Quantity
    filled: str
    exact: Fraction
    difference: bool = False


def evaluate(formula: Formula, values: Mapping[str, Quantity | Operand], result_unit: str) -> EvaluatedFormula:
    """Evaluate a formula whose units :func:`check_units` has accepted.

    The keys of ``values`` are names such as ``end-play``, ``journal[2]`` or ``journal[2, left]``. ``journal[*]`` means
    every place or reading of ``journal`` in ``values``, in their order. The caller has to provide all of them.

    Raises:
        FormulaError: a value is missing, a divisor is zero, or a root is of a negative number.
    """
    operands = _operands(values)
    result = _Evaluator(formula, operands, _EXACT).result_of(formula.root)
    difference = dimension_of(result_unit) == "temperature" and not result.reading
    exact = from_base(result.value, result_unit, difference=difference)
    shown_values = {key: operand.shown for key, operand in operands.items()}
    places = _places_shown(formula, shown_values, result_unit, exact)
    value, shown = _padded(exact, places), round_half_up(exact, places)
    text = with_unit(f"{shown:f}", result_unit)
    equals = "=" if Fraction(shown) == exact else "≈"
    return EvaluatedFormula(
        Quantity(value, result_unit, text),
        f"{_filled(formula, shown_values)} {equals} {text}",
        result.value,
        difference,
    )


def slopes(formula: Formula, values: Mapping[str, Quantity | Operand]) -> dict[str, float]:
    """The slope of the result for each value: its first-order change, both in base units (JCGM 100:2008, 5.1.3).

    ``values`` has the same keys as for :func:`evaluate`. A value that the formula uses twice has one slope. A value
    that it does not depend on is left out.

    Raises:
        FormulaError: as :func:`evaluate`, or a slope is infinite.
    """
    # late import: takes 0.05 s, and only values with an uncertainty need it
    from uncertainties import UFloat, ufloat, umath  # type: ignore[import-untyped]  # it ships no types

    keys: dict[int, str] = {}

    def read(key: str, value: Fraction) -> Num:
        variable = ufloat(float(value), 1.0)
        keys[id(variable)] = key
        return variable

    algebra = _Algebra(
        number=float,
        read=read,
        root=umath.sqrt,
        size=lambda value: value.nominal_value if isinstance(value, UFloat) else value,
    )
    result = _Evaluator(formula, _operands(values), algebra).result_of(formula.root).value
    derivatives = result.derivatives if isinstance(result, UFloat) else {}
    found = {keys[id(variable)]: slope for variable, slope in derivatives.items()}
    if not all(isfinite(slope) for slope in found.values()):
        why = "The uncertainty of the result cannot be calculated"
        raise FormulaError(formula.text, 0, why, "At zero, the slope of a square root is infinite")
    return {key: slope for key, slope in found.items() if slope}


def _operands(values: Mapping[str, Quantity | Operand]) -> dict[str, Operand]:
    return {key: value if isinstance(value, Operand) else Operand(value, base(value)) for key, value in values.items()}


# --- one evaluator for both kinds of number ---------------------------------------------------------

_28 = Context(prec=28)
Num = Any  # a Fraction, or a float with an uncertainty; the two have no common type


class _Algebra(NamedTuple):
    """The operations that differ between exact fractions and floats with uncertainty."""

    number: Callable[[Fraction], Num]  # a fixed number
    read: Callable[[str, Fraction], Num]  # a value: its key and its base value
    root: Callable[[Num], Num]
    size: Callable[[Num], Any]  # the number without its uncertainty, for comparisons


class _EvaluatedNode(NamedTuple):
    value: Num  # in base units
    reading: bool  # a temperature on its scale, not a difference


def _exact_root(value: Fraction) -> Fraction:
    """The square root: exact if it is rational, otherwise to 30 significant digits."""
    above, below = isqrt(value.numerator), isqrt(value.denominator)
    if above * above == value.numerator and below * below == value.denominator:
        return Fraction(above, below)
    digits = Context(prec=30)
    return Fraction(digits.sqrt(Context(prec=60).divide(Decimal(value.numerator), Decimal(value.denominator))))


_EXACT = _Algebra(number=lambda value: value, read=lambda key, value: value, root=_exact_root, size=lambda value: value)


class _Evaluator:
    def __init__(self, formula: Formula, values: Mapping[str, Operand], algebra: _Algebra) -> None:
        self.formula, self.values, self.algebra = formula, values, algebra
        self.seen: dict[str, Num] = {}  # one number per reading, so that a reading used twice is one variable
        self.stars: tuple[str, ...] | None = None  # the indexes that replace the stars at present

    def error(self, at: int, why: str, hint: str = "") -> FormulaError:
        return FormulaError(self.formula.text, at, why, hint)

    def result_of(self, node: Expression) -> _EvaluatedNode:
        match node:
            case Constant(value=value, unit=unit):
                return _EvaluatedNode(self.algebra.number(_to_base(value, unit)), _has_offset(unit))
            case NameNode():
                return self.name(node)
            case Negation(of=of):
                return _EvaluatedNode(-self.result_of(of).value, False)
            case BinaryOperation():
                return self.pair(node)
            case Call():
                return self.call(node)

    def name(self, node: NameNode) -> _EvaluatedNode:
        key = node.key if self.stars is None else _without_stars(node, self.stars).key
        operand = self.values.get(key)
        if operand is None:
            raise self.error(node.at, f"`{key}` has no value yet")
        if key not in self.seen:
            self.seen[key] = self.algebra.read(key, operand.exact)
        return _EvaluatedNode(self.seen[key], _has_offset(operand.shown.unit) and not operand.difference)

    def pair(self, node: BinaryOperation) -> _EvaluatedNode:
        left, right = self.result_of(node.left), self.result_of(node.right)
        match node.operator:
            case "+":
                return _EvaluatedNode(left.value + right.value, left.reading or right.reading)
            case "-":
                return _EvaluatedNode(left.value - right.value, left.reading and not right.reading)
            case "*":
                return _EvaluatedNode(left.value * right.value, False)
            case "/":
                if self.algebra.size(right.value) == 0:
                    raise self.error(node.at, "The divisor is zero", "Check the values in the divisor")
                return _EvaluatedNode(left.value / right.value, False)

    def call(self, node: Call) -> _EvaluatedNode:
        found = [value for argument in node.arguments for value in self.values_of_argument(argument)]
        numbers, reading, size = [value.value for value in found], found[0].reading, self.algebra.size
        match node.function:
            case "mean":
                return _EvaluatedNode(sum(numbers[1:], numbers[0]) / len(numbers), reading)
            case "max":
                return _EvaluatedNode(max(numbers, key=size), reading)
            case "min":
                # Of equal numbers, `max` takes the first and `min` the last, so that they are not one reading.
                return _EvaluatedNode(min(reversed(numbers), key=size), reading)
            case "spread":
                return _EvaluatedNode(max(numbers, key=size) - min(reversed(numbers), key=size), False)
            case "sum":
                return _EvaluatedNode(sum(numbers[1:], numbers[0]), False)
            case "count":
                return _EvaluatedNode(self.algebra.number(Fraction(len(numbers))), False)
            case "abs":
                return _EvaluatedNode(-numbers[0] if size(numbers[0]) < 0 else numbers[0], False)
            case "sqrt":
                if size(numbers[0]) < 0:
                    raise self.error(node.at, "A negative number has no square root", "Check the values under the root")
                return _EvaluatedNode(self.algebra.root(numbers[0]), False)

    def values_of_argument(self, argument: Expression) -> list[_EvaluatedNode]:
        """The value of an argument, or its values at every place if it contains ``[*]``."""
        every = meaning_of_stars(self.formula, argument, self.values) if self.stars is None else None
        if every is None:
            return [self.result_of(argument)]
        found = []
        for self.stars in every:
            found.append(self.result_of(argument))
        self.stars = None
        return found


def meaning_of_stars(
    formula: Formula, argument: Expression, values: Mapping[str, Operand] | Mapping[str, Quantity]
) -> tuple[tuple[str, ...], ...] | None:
    """The indexes that the stars of an argument stand for, in turn; ``None`` if the argument contains no star.

    ``bore[*, *]`` has two stars, so each of its entries has two indexes.

    Raises:
        FormulaError: there is no value, or two names have different places or readings.
    """
    stars = [node for node in walk(argument) if isinstance(node, NameNode) and node.is_starred]
    if not stars:
        return None
    refs = [ValueRef.parse(key) for key in values]
    every = [tuple(found for ref in refs if (found := _indexes_at_stars(star, ref)) is not None) for star in stars]
    for star, indexes in zip(stars, every, strict=True):
        if not indexes:
            raise FormulaError(formula.text, star.at, f"`{star.key}` has no value yet")
        if set(indexes) != set(every[0]):
            missing = ", ".join(sorted(set(indexes) ^ set(every[0]))[0])
            why = f"`{stars[0].name}` and `{star.name}` do not both have the place `{missing}`"
            raise FormulaError(formula.text, star.at, why)
    return every[0]


def _indexes_at_stars(star: NameNode, ref: ValueRef) -> tuple[str, ...] | None:
    """The indexes of ``ref`` at the stars of ``star``; ``None`` if ``star`` does not mean ``ref``."""
    wanted, indexes = star.ref.indexes, ref.indexes
    if star.name != ref.name or len(wanted) != len(indexes):
        return None
    pairs = list(zip(wanted, indexes, strict=True))
    if any(index not in (ALL_PLACES, other) for index, other in pairs):
        return None
    return tuple(other for index, other in pairs if index == ALL_PLACES)


def _without_stars(node: NameNode, indexes: tuple[str, ...]) -> NameNode:
    """The name with its stars replaced by ``indexes``."""
    rest = list(indexes)
    place = joined(rest.pop(0) if part == ALL_PLACES else part for part in parts(node.place))
    reading = rest.pop(0) if node.reading == ALL_PLACES else node.reading
    return NameNode(node.name, place, reading, node.at)


def _to_base(value: Fraction, unit: str) -> Fraction:
    if not unit:
        return value
    row = unit_with_symbol(unit)
    return value * row.factor + row.offset


def _has_offset(unit: str) -> bool:
    return bool(unit) and units.BY_SYMBOL[unit].offset != 0


# --- the calculation as text --------------------------------------------------------------------------


def _filled(formula: Formula, values: Mapping[str, Quantity]) -> str:
    def leaf(node: Constant | NameNode) -> str:
        return node.shown if isinstance(node, Constant) else show_short(values[node.key])

    def with_indexes(node: Expression, indexes: tuple[str, ...]) -> Expression:
        return map_expression(node, lambda name: _without_stars(name, indexes))

    def without_stars(node: Expression) -> Expression:
        """The expression with each ``[*]`` replaced by its places."""
        match node:
            case Call(function=function, arguments=arguments, at=at) if function in OVER_PLACES:
                every: list[Expression] = []
                for argument in arguments:
                    indexes = meaning_of_stars(formula, argument, values)
                    every.extend([argument] if indexes is None else [with_indexes(argument, each) for each in indexes])
                if function == "count":
                    return Constant(Fraction(len(every)), "", str(len(every)), 0, at)
                return Call(function, tuple(every), at)
            case Call(function=function, arguments=arguments, at=at):
                return Call(function, tuple(without_stars(argument) for argument in arguments), at)
            case Negation(of=of, at=at):
                return Negation(without_stars(of), at)
            case BinaryOperation(operator=operator, left=left, right=right, at=at):
                return BinaryOperation(operator, without_stars(left), without_stars(right), at)
            case _:
                return node

    return expression_text(without_stars(formula.root), leaf, times="×")


def _places(value: Decimal) -> int:
    exponent = value.as_tuple().exponent
    return max(-exponent, 0) if isinstance(exponent, int) else 0


def _padded(exact: Fraction, places: int) -> Decimal:
    """The result to store: exact and with at least ``places`` decimals, or rounded to 28 digits."""
    value = _28.plus(decimal(exact))
    return value if _places(value) >= places else Decimal(f"{exact * 10**places}E-{places}")


def _places_shown(formula: Formula, values: Mapping[str, Quantity], unit: str, exact: Fraction) -> int:
    """Return the number of decimals with which the result is shown (own rule, no source).

    The result has as many decimals as the most precise number in its unit, as that is shown. If one or two more
    decimals make it exact, they are added. Otherwise it has one more decimal, and at least three significant digits. If
    no number is in its unit, the result has four significant digits, or fewer if it is then exact.
    """
    written = [decimals_shown(q) for key, q in values.items() if q.unit == unit and _uses_value(formula, key)]
    written += [node.places for node in walk(formula.root) if isinstance(node, Constant) and node.unit == unit]
    if not written:
        four = max(3 - magnitude(exact), 0)
        return next((places for places in range(four) if _is_exact_with(exact, places)), four)
    finest = min(max(written), 6)
    for places in range(finest, finest + 3):
        if _is_exact_with(exact, places):
            return places
    return max(finest + 1, 2 - magnitude(exact))


def _is_exact_with(value: Fraction, places: int) -> bool:
    return (value * Fraction(10) ** places).denominator == 1


def _uses_value(formula: Formula, key: str) -> bool:
    ref = ValueRef.parse(key)
    return any(
        isinstance(node, NameNode) and (node.key == key or _indexes_at_stars(node, ref) is not None)
        for node in walk(formula.root)
    )
