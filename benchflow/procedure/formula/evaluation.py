"""Evaluates a formula: the exact value, the calculation as text with numbers, and the first-order slopes."""

from collections.abc import Mapping
from decimal import Context, Decimal
from fractions import Fraction
from math import isfinite
from typing import NamedTuple

from msgspec import Struct

from benchflow.procedure.formula.expression import (
    OVER_PLACES,
    Call,
    Constant,
    Expression,
    Formula,
    FormulaError,
    NameNode,
    expression_text,
    map_operands,
    walk,
)
from benchflow.procedure.formula.formula_evaluator import (
    FormulaEvaluator,
    Operand,
    indexes_at_stars,
    meaning_of_stars,
    with_indexes,
)
from benchflow.procedure.formula.sloped_number import Number, SlopedNumber, Slopes
from benchflow.quantity import Quantity, base, dimension_of, show_short
from benchflow.quantity.arithmetic import decimal, from_base
from benchflow.quantity.shown import decimals_shown, magnitude, round_half_up, with_unit

_28 = Context(prec=28)
_MOST_DIGITS = 60
"""Results of more digits, before or after the decimal point, are refused. No measured quantity has them."""


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
    result = FormulaEvaluator(formula, operands).result()
    difference = dimension_of(result_unit) == "temperature" and not result.reading
    exact = from_base(result.value, result_unit, difference=difference)
    if exact and abs(magnitude(exact)) > _MOST_DIGITS:
        raise FormulaError(formula.text, 0, f"The result has more than {_MOST_DIGITS} digits", "Check the formula")
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


class TurnSlopes(NamedTuple):
    """A place where a formula changes its result abruptly: the comparison of an `if`, or the end of a step.

    ``distance`` is how far the compared number is from it, and ``slopes`` the slopes of that number for each value.
    """

    distance: Fraction
    slopes: dict[str, float]


class Sensitivity(NamedTuple):
    """How a result depends on its values: the slope for each of them, and the places where it changes abruptly."""

    slopes: dict[str, float]
    turns: tuple[TurnSlopes, ...]


def slopes(formula: Formula, values: Mapping[str, Quantity | Operand]) -> dict[str, float]:
    """The slope of the result for each value, as :func:`sensitivity` has it."""
    return sensitivity(formula, values).slopes


def sensitivity(formula: Formula, values: Mapping[str, Quantity | Operand]) -> Sensitivity:
    """The first-order change of the result for a change of each value, both in base units (JCGM 100:2008, 5.1.3).

    ``values`` has the same keys as for :func:`evaluate`. A value that the formula uses twice has one slope. A value
    that it does not depend on is left out.

    Raises:
        FormulaError: as :func:`evaluate`, or a slope is infinite.
    """

    def read(key: str, value: Fraction) -> Number:
        return SlopedNumber.variable(key, float(value))

    def slopes_of(varied: Number | None) -> Slopes:
        found = varied.slopes if isinstance(varied, SlopedNumber) else {}
        if not all(isfinite(slope) for slope in found.values()):
            hint = "At zero, the slope of a square root is infinite"
            raise FormulaError(formula.text, 0, _NO_UNCERTAINTY, hint)
        return {key: slope for key, slope in found.items() if slope}

    evaluator = FormulaEvaluator(formula, _operands(values), read)
    try:
        result = evaluator.result().varied
        turns = tuple(TurnSlopes(turn.distance, slopes_of(turn.varied)) for turn in evaluator.turns)
        return Sensitivity(slopes_of(result), turns)
    except (ArithmeticError, ValueError) as error:  # floats overflow, and end where an exact number does not
        raise FormulaError(formula.text, 0, _NO_UNCERTAINTY) from error


_NO_UNCERTAINTY = "The uncertainty of the result cannot be calculated"


def _operands(values: Mapping[str, Quantity | Operand]) -> dict[str, Operand]:
    return {key: value if isinstance(value, Operand) else Operand(value, base(value)) for key, value in values.items()}


# --- the calculation as text --------------------------------------------------------------------------


def _filled(formula: Formula, values: Mapping[str, Quantity]) -> str:
    def leaf(node: Constant | NameNode) -> str:
        return node.shown if isinstance(node, Constant) else show_short(values[node.key])

    def written_out(node: Expression) -> Expression:
        """The expression with each ``[*]`` replaced by its places."""
        if not isinstance(node, Call) or node.function not in OVER_PLACES:
            return map_operands(node, written_out)
        every: list[Expression] = []
        for argument in node.arguments:
            indexes = meaning_of_stars(formula, argument, values)
            every.extend([argument] if indexes is None else [with_indexes(argument, each) for each in indexes])
        if node.function == "count":
            return Constant(Fraction(len(every)), "", str(len(every)), 0, node.at)
        return Call(node.function, tuple(every), node.at)

    return expression_text(written_out(formula.root), leaf, times="×")


def _places(value: Decimal) -> int:
    exponent = value.as_tuple().exponent
    return max(-exponent, 0) if isinstance(exponent, int) else 0


def _padded(exact: Fraction, places: int) -> Decimal:
    """The result to store: exact and with at least ``places`` decimals, or rounded to 28 digits."""
    value, padded = _28.plus(decimal(exact)), exact * 10**places
    return value if _places(value) >= places or padded.denominator != 1 else Decimal(f"{padded}E-{places}")


def _places_shown(formula: Formula, values: Mapping[str, Quantity], unit: str, exact: Fraction) -> int:
    """Return the number of decimals with which the result is shown (own rule, no source).

    The result has as many decimals as the most precise number in its unit, as that is shown. If one or two more
    decimals make it exact, they are added. Otherwise it has one more decimal, and at least three significant digits. If
    no number is in its unit, the result has four significant digits, or fewer if it is then exact.
    """
    written = [decimals_shown(q) for key, q in values.items() if q.unit == unit and _uses_value(formula, key)]
    written += [
        node.places
        for node in walk(formula.root)
        if isinstance(node, Constant) and node.unit == unit and not node.rounded
    ]
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
    return any(
        isinstance(node, NameNode) and (node.key == key or indexes_at_stars(node, key) is not None)
        for node in walk(formula.root)
    )
