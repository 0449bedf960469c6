"""Evaluates the tree of a formula: in exact fractions, and beside them with first-order slopes.

Every decision (an `if`, a step, the sign of a root) is made by the exact number, also for the slopes.
"""

from collections.abc import Callable, Mapping
from fractions import Fraction
from math import floor
from typing import Any, NamedTuple

from msgspec import Struct

from benchflow.procedure.formula.exact_functions import (
    PI,
    exact_arc_cosine,
    exact_arc_sine,
    exact_arc_tangent,
    exact_cosine,
    exact_power,
    exact_sine,
    exact_tangent,
)
from benchflow.procedure.formula.expression import (
    BinaryOperation,
    Call,
    Conditional,
    Constant,
    Expression,
    Formula,
    FormulaError,
    NameNode,
    Negation,
    Power,
    Relation,
    map_expression,
    walk,
)
from benchflow.procedure.formula.rounding_errors import (
    OF_PI,
    ErrorBits,
    bits,
    of_arc,
    of_function,
    of_power,
    of_product,
    of_quotient,
    of_sum,
    without_error,
)
from benchflow.procedure.formula.sloped_number import function_of
from benchflow.procedure.identity import ALL_PLACES, ValueRef, joined, parts
from benchflow.quantity import Quantity, dimension_of, units
from benchflow.quantity.arithmetic import unit_with_symbol

MOST_BITS = 12_000
"""Numbers with more binary digits than this are refused, so that no formula takes long.

Python converts whole numbers of up to 4,300 decimal digits to text; these have at most 3,613.
"""


class Operand(NamedTuple):
    """A value that a formula uses: as shown in the calculation, and its exact number in the base unit.

    ``difference`` is true for a temperature difference, which has no offset.
    """

    shown: Quantity
    exact: Fraction
    difference: bool = False


Varied = Any  # a number with slopes or a float; None if no slopes are wanted


class EvaluatedNode(NamedTuple):
    """The result of an expression, in base units.

    ``varied`` is the same as a float with slopes; ``None`` if no slopes are wanted. ``reading`` is true for a
    temperature on its scale. ``angle`` is the power of the angle in the dimension: 1 for an angle. ``error`` is the
    bound of the error of a rounded number.
    """

    value: Fraction
    varied: Varied
    reading: bool = False
    angle: Fraction = Fraction(0)
    error: ErrorBits = None


class FormulaTurn(Struct, frozen=True):
    """A place where the formula changes its result: the comparison of an `if`, or the end of a step.

    ``distance`` is how far the exact number is from it, and ``varied`` that number as a float with slopes.
    """

    distance: Fraction
    varied: Varied


class FormulaEvaluator:
    """Evaluates one formula. With ``varied`` (a function that makes a float with a slope for a key), also the slopes.

    ``turns`` has the decisions that were made.
    """

    def __init__(
        self,
        formula: Formula,
        values: Mapping[str, Operand],
        varied: Callable[[str, Fraction], Varied] | None = None,
    ) -> None:
        self.formula, self.values = formula, values
        self.turns: list[FormulaTurn] = []
        self._varied = varied
        self._seen: dict[str, Varied] = {}  # one number per reading, so that a reading used twice is one variable
        self._stars: tuple[str, ...] | None = None  # the indexes that replace the stars at present

    def result(self) -> EvaluatedNode:
        """The result of the whole formula.

        Raises:
            FormulaError: a value is missing, a divisor is zero, or a number is outside of the range of a function.
        """
        found = self.result_of(self.formula.root)
        return found._replace(value=self._settled(found, 0))

    def error(self, at: int, why: str, hint: str = "") -> FormulaError:
        return FormulaError(self.formula.text, at, why, hint)

    def result_of(self, node: Expression) -> EvaluatedNode:
        found = self._of(node)
        if max(found.value.numerator.bit_length(), found.value.denominator.bit_length()) > MOST_BITS:
            raise self.error(node.at, "The number is too large, or has too many digits, to calculate with")
        return found

    def _of(self, node: Expression) -> EvaluatedNode:
        match node:
            case Constant(value=value, unit=unit):
                exact = _to_base(value, unit)
                varied = None if self._varied is None else float(exact)
                error = OF_PI if node.rounded else None
                return EvaluatedNode(exact, varied, _has_offset(unit), _angle_power(unit), error)
            case NameNode():
                return self._name(node)
            case Negation(of=of):
                return self._negative(self.result_of(of))
            case BinaryOperation():
                return self._pair(node)
            case Power(of=of, exponent=exponent, at=at):
                return self._power(self.result_of(of), exponent, at)
            case Conditional():
                return self._conditional(node)
            case Call():
                return self._call(node)

    def _vary(self, function: Callable[..., Varied], *nodes: EvaluatedNode) -> Varied:
        return None if self._varied is None else function(*(node.varied for node in nodes))

    def _settled(self, found: EvaluatedNode, at: int) -> Fraction:
        """The number without errors of rounding, for a decision or the result."""
        exact = without_error(found.value, found.error)
        if exact is None:
            why = "The result cannot be calculated to enough digits"
            raise self.error(at, why, "Write the formula so that it does not subtract nearly equal numbers")
        return exact

    def _name(self, node: NameNode) -> EvaluatedNode:
        key = node.key if self._stars is None else without_stars(node, self._stars).key
        operand = self.values.get(key)
        if operand is None:
            raise self.error(node.at, f"`{key}` has no value yet")
        if key not in self._seen:
            self._seen[key] = None if self._varied is None else self._varied(key, operand.exact)
        unit = operand.shown.unit
        reading = _has_offset(unit) and not operand.difference
        return EvaluatedNode(operand.exact, self._seen[key], reading, _angle_power(unit))

    def _negative(self, of: EvaluatedNode) -> EvaluatedNode:
        return of._replace(value=-of.value, varied=self._vary(lambda x: -x, of), reading=False)

    def _difference(self, left: EvaluatedNode, right: EvaluatedNode) -> EvaluatedNode:
        varied = self._vary(lambda a, b: a - b, left, right)
        reading = left.reading and not right.reading
        return EvaluatedNode(left.value - right.value, varied, reading, left.angle, of_sum(left.error, right.error))

    def _pair(self, node: BinaryOperation) -> EvaluatedNode:
        left, right = self.result_of(node.left), self.result_of(node.right)
        match node.operator:
            case "+":
                return self._sum([left, right])._replace(reading=left.reading or right.reading)
            case "-":
                return self._difference(left, right)
            case "*":
                varied = self._vary(lambda a, b: a * b, left, right)
                error = of_product(left.value, left.error, right.value, right.error)
                return EvaluatedNode(left.value * right.value, varied, False, left.angle + right.angle, error)
            case "/":
                if self._settled(right, node.at) == 0:
                    raise self.error(node.at, "The divisor is zero", "Check the values in the divisor")
                return self._quotient(left, right)

    def _quotient(self, left: EvaluatedNode, right: EvaluatedNode) -> EvaluatedNode:
        exact = left.value / right.value
        error = of_quotient(exact, left.error, right.value, right.error)
        varied = self._vary(lambda a, b: a / b, left, right)
        return EvaluatedNode(exact, varied, False, left.angle - right.angle, error)

    def _sum(self, found: list[EvaluatedNode]) -> EvaluatedNode:
        varied = self._vary(lambda *each: sum(each[1:], each[0]), *found)
        total = sum((one.value for one in found), Fraction(0))
        return EvaluatedNode(total, varied, False, found[0].angle, of_sum(*(one.error for one in found)))

    def _power(self, of: EvaluatedNode, exponent: Fraction, at: int) -> EvaluatedNode:
        value = self._settled(of, at)
        if value == 0 and exponent < 0:
            raise self.error(at, "Zero has no negative power", "Check the values")
        if value < 0 and exponent.denominator > 1:
            what = "square root" if exponent == Fraction(1, 2) else "half power"
            raise self.error(at, f"A negative number has no {what}", "Check the values under the root")
        base = of.value if value else value
        size = max(base.numerator.bit_length(), base.denominator.bit_length())
        if size * abs(exponent) > MOST_BITS:
            raise self.error(at, "The number is too large, or has too many digits, to calculate with")
        found = exact_power(base, exponent)
        varied = self._vary(lambda x: _varied_power(x, exponent), of)
        error = of_power(found.value, base, of.error, exact=found.exact)
        return EvaluatedNode(found.value, varied, False, of.angle * exponent, error)

    def _conditional(self, node: Conditional) -> EvaluatedNode:
        found = self._difference(self.result_of(node.left), self.result_of(node.right))
        difference = self._settled(found, node.at)
        self.turns.append(FormulaTurn(abs(difference), found.varied))
        return self.result_of(node.then if _holds(node.relation, difference) else node.otherwise)

    def _call(self, node: Call) -> EvaluatedNode:
        if node.function in ("round", "up", "down"):
            return self._to_step(node)
        found = [value for argument in node.arguments for value in self._values_of_argument(argument)]
        first, number = found[0], Fraction(len(found))
        match node.function:
            case "mean":
                total = self._sum(found)
                varied = self._vary(lambda x: x / len(found), total)
                return total._replace(value=total.value / number, varied=varied, reading=first.reading)
            case "max":
                return max(found, key=_value)
            case "min":
                # Of equal numbers, `max` takes the first and `min` the last, so that they are not one reading.
                return min(reversed(found), key=_value)
            case "spread":
                return self._difference(max(found, key=_value), min(reversed(found), key=_value))
            case "sum":
                return self._sum(found)
            case "count":
                return EvaluatedNode(number, None if self._varied is None else float(number))
            case "abs":
                return self._negative(first) if first.value < 0 else first
            case "sqrt":
                return self._power(first, Fraction(1, 2), node.at)
            case "asin" | "acos" | "atan":
                return self._arc(node, first)
            case _:
                return self._of_angle(node, first)

    def _of_angle(self, node: Call, of: EvaluatedNode) -> EvaluatedNode:
        """The sine, cosine or tangent of an angle, or of a number of radians."""
        if not of.angle:
            error = of_sum(None if of.error is None else of.error + 6, bits(of.value) + OF_PI + 4 if of.value else None)
            degrees = EvaluatedNode(of.value * 180 / PI, None, error=error)
        else:
            degrees = of
        angle = self._settled(degrees, node.at)
        found = {"sin": exact_sine, "cos": exact_cosine, "tan": exact_tangent}[node.function](angle)
        if found is None:
            raise self.error(node.at, "A right angle has no tangent", "Check the values")
        slope = max(2 * bits(found.value), 0) + 2 if node.function == "tan" else 0
        error = of_function(found.value, degrees.error, slope, exact=found.exact)
        if self._varied is None:
            return EvaluatedNode(found.value, None, error=error)

        radians = of.varied * float(PI / 180) if of.angle else of.varied
        return EvaluatedNode(found.value, function_of(node.function, radians), error=error)

    def _arc(self, node: Call, of: EvaluatedNode) -> EvaluatedNode:
        """The angle with a sine, cosine or tangent."""
        value = self._settled(of, node.at)
        if node.function != "atan" and abs(value) > 1:
            what = "sine" if node.function == "asin" else "cosine"
            raise self.error(node.at, f"No angle has a {what} above 1 or below -1", "Check the values")
        functions = {"asin": exact_arc_sine, "acos": exact_arc_cosine, "atan": exact_arc_tangent}
        found = functions[node.function](value)
        if node.function == "atan":
            error = of_function(found.value, of.error, 7, exact=found.exact)
        elif abs(value) < Fraction(99, 100):  # the slope is below 8 radians for each 1
            error = of_function(found.value, of.error, 9, exact=found.exact)
        else:
            error = of_arc(found.value, of.error, exact=found.exact)
        if self._varied is None:
            return EvaluatedNode(found.value, None, False, Fraction(1), error)
        varied = function_of(node.function, of.varied) * float(180 / PI)
        return EvaluatedNode(found.value, varied, False, Fraction(1), error)

    def _to_step(self, node: Call) -> EvaluatedNode:
        """A value rounded to a multiple of a step. The result has no slope, but it jumps at the end of a step."""
        of, step = (self.result_of(argument) for argument in node.arguments)
        if self._settled(step, node.at) <= 0:
            raise self.error(node.at, f"The step of `{node.function}` has to be above zero", "Check the values")
        quotient = self._quotient(of, step)
        steps = self._settled(quotient, node.at)
        edge = Fraction(1, 2) if node.function == "round" else Fraction(0)
        to_edge = (steps - edge) % 1
        self.turns.append(FormulaTurn(min(to_edge, 1 - to_edge), quotient.varied))
        if node.function == "up":
            whole = -floor(-steps)
        elif node.function == "down":
            whole = floor(steps)
        else:  # halves away from zero, as everywhere
            whole = floor(abs(steps) + edge) * (-1 if steps < 0 else 1)
        error = of_product(Fraction(whole), None, step.value, step.error) if whole else None
        varied = self._vary(lambda x: whole * x, step)
        return EvaluatedNode(whole * step.value, varied, False, of.angle, error)

    def _values_of_argument(self, argument: Expression) -> list[EvaluatedNode]:
        """The value of an argument, or its values at every place if it contains ``[*]``."""
        every = meaning_of_stars(self.formula, argument, self.values) if self._stars is None else None
        if every is None:
            return [self.result_of(argument)]
        found = []
        for self._stars in every:
            found.append(self.result_of(argument))
        self._stars = None
        return found


def _value(node: EvaluatedNode) -> Fraction:
    return node.value


def _varied_power(value: Varied, exponent: Fraction) -> Varied:
    """The power of a float with slopes. A root is taken as such, because its slope at zero is infinite."""
    if exponent == Fraction(1, 2):
        return function_of("sqrt", value)
    return value ** (int(exponent) if exponent.denominator == 1 else float(exponent))


def _holds(relation: Relation, difference: Fraction) -> bool:
    """True if the relation holds between two numbers with this difference."""
    match relation:
        case "<":
            return difference < 0
        case "<=":
            return difference <= 0
        case ">":
            return difference > 0
        case ">=":
            return difference >= 0
        case "=":
            return difference == 0


def _to_base(value: Fraction, unit: str) -> Fraction:
    if not unit:
        return value
    row = unit_with_symbol(unit)
    return value * row.factor + row.offset


def _has_offset(unit: str) -> bool:
    return bool(unit) and units.BY_SYMBOL[unit].offset != 0


def _angle_power(unit: str) -> Fraction:
    return Fraction(dimension_of(unit) in ("angle", "rotation"))


# --- stars --------------------------------------------------------------------------------------------


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
    every = [tuple(found for key in values if (found := indexes_at_stars(star, key)) is not None) for star in stars]
    for star, indexes in zip(stars, every, strict=True):
        if not indexes:
            raise FormulaError(formula.text, star.at, f"`{star.key}` has no value yet")
        if set(indexes) != set(every[0]):
            missing = ", ".join(sorted(set(indexes) ^ set(every[0]))[0])
            why = f"`{stars[0].name}` and `{star.name}` do not both have the place `{missing}`"
            raise FormulaError(formula.text, star.at, why)
    return every[0]


def indexes_at_stars(star: NameNode, key: str) -> tuple[str, ...] | None:
    """The indexes of the operand ``key`` at the stars of ``star``; ``None`` if ``star`` does not mean it."""
    before = key.startswith("before(")
    ref = ValueRef.parse(key[len("before(") : -1] if before else key)
    wanted, indexes = star.ref.indexes, ref.indexes
    if star.name != ref.name or star.before != before or len(wanted) != len(indexes):
        return None
    pairs = list(zip(wanted, indexes, strict=True))
    if any(index not in (ALL_PLACES, other) for index, other in pairs):
        return None
    return tuple(other for index, other in pairs if index == ALL_PLACES)


def without_stars(node: NameNode, indexes: tuple[str, ...]) -> NameNode:
    """The name with its stars replaced by ``indexes``."""
    rest = list(indexes)
    place = joined(rest.pop(0) if part == ALL_PLACES else part for part in parts(node.place))
    reading = rest.pop(0) if node.reading == ALL_PLACES else node.reading
    return NameNode(node.name, place, reading, node.at, node.before)


def with_indexes(node: Expression, indexes: tuple[str, ...]) -> Expression:
    """The expression with the stars of its names replaced by ``indexes``."""
    return map_expression(node, lambda name: without_stars(name, indexes))
