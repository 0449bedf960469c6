"""Checks that the units of a formula fit together.

A dimension is a product of powers of base dimensions. The tests compare these powers with the pint library. The program
itself does not import pint: that takes 0.2 s, a third of a first `check` (benchmark bench_check).
"""

from collections.abc import Mapping
from fractions import Fraction
from typing import Literal, NamedTuple

from benchflow.base.plaintext import with_article
from benchflow.procedure.formula.expression import (
    BinaryOperation,
    Call,
    Constant,
    Expression,
    Formula,
    FormulaError,
    NameNode,
    Negation,
)
from benchflow.procedure.identity import ALL_PLACES, ValueRef
from benchflow.quantity import dimension_of, units

ValueKind = Literal["plain", "on scale"]
"""``on scale`` is a temperature on a scale with an offset (°C, °F); everything else is ``plain``."""

Powers = tuple[tuple[str, Fraction], ...]
"""The power of each base dimension, without zeros, in alphabetical order."""


def _powers(**powers: int) -> Powers:
    return tuple((name, Fraction(power)) for name, power in sorted(powers.items()))


BASE_POWERS: dict[str, Powers] = {
    "": (),
    "fraction": (),
    "length": _powers(length=1),
    "area": _powers(length=2),
    "volume": _powers(length=3),
    "angle": _powers(angle=1),
    "temperature": _powers(temperature=1),
    "time": _powers(time=1),
    "mass": _powers(mass=1),
    "force": _powers(mass=1, length=1, time=-2),
    "torque": _powers(mass=1, length=2, time=-2),
    "pressure": _powers(mass=1, length=-1, time=-2),
    "stiffness": _powers(mass=1, time=-2),
    "rotation": _powers(angle=1, time=-1),
    "expansion": _powers(temperature=-1),
    "voltage": _powers(mass=1, length=2, time=-3, current=-1),
    "current": _powers(current=1),
    "resistance": _powers(mass=1, length=2, time=-3, current=-2),
    "frequency": _powers(time=-1),
    "viscosity": _powers(length=2, time=-1),
    "unbalance": _powers(mass=1, length=1),
    "hardness": _powers(hardness=1),
}
"""The powers of each dimension of the unit table."""


def _product(one: Powers, other: Powers, power: int) -> Powers:
    """``one`` times ``other`` to the power 1 or -1."""
    total = dict(one)
    for name, exponent in other:
        total[name] = total.get(name, Fraction(0)) + power * exponent
    return tuple((name, exponent) for name, exponent in sorted(total.items()) if exponent)


class _Result(NamedTuple):
    powers: Powers
    kind: ValueKind


def check_units(formula: Formula, units: Mapping[str, str], result_unit: str) -> None:
    """Check the units of every operation, and that the result can be expressed in ``result_unit``.

    ``units`` maps ``journal[2]``, or ``journal`` for all its places, to a canonical unit symbol ("" for none). The
    result of a temperature difference can be in °C, °F or K.

    Raises:
        FormulaError: the units do not fit.
    """
    found = _Checker(formula, units).result_of(formula.root)
    wanted_powers = BASE_POWERS[dimension_of(result_unit)]
    if found.powers != wanted_powers:
        wanted = _phrase(_Result(wanted_powers, "plain"))
        why = f"The result is {_phrase(found)}, but its unit `{result_unit or 'count'}` is for {wanted}"
        raise FormulaError(formula.text, 0, why, "Correct the formula or the unit")


def is_difference(formula: Formula, units: Mapping[str, str]) -> bool:
    """True if the result is a temperature difference, which is compared and converted without the offset."""
    found = _Checker(formula, units).result_of(formula.root)
    return found.kind == "plain" and found.powers == BASE_POWERS["temperature"]


_PHRASES = {"": "a number without a unit", "area": "an area", "angle": "an angle", "rotation": "a rotational speed",
              "expansion": "a thermal expansion", "viscosity": "a kinematic viscosity",
              "unbalance": "an unbalance"}  # fmt: skip


def _phrase(found: _Result) -> str:
    """The dimension of a result for messages: ``a length``, or base dimensions such as ``length^2 temperature``."""
    for dimension, powers in BASE_POWERS.items():
        if powers == found.powers:
            if dimension == "temperature":
                return "a temperature" if found.kind == "on scale" else "a temperature difference"
            return _PHRASES.get(dimension, with_article(dimension))
    parts = (name if power == 1 else f"{name}^{power}" for name, power in found.powers)
    return f"a quantity that no known unit fits ({' '.join(parts)})"


class _Checker:
    def __init__(self, formula: Formula, known: Mapping[str, str]) -> None:
        self.formula, self.known = formula, known

    def error(self, at: int, why: str, hint: str = "") -> FormulaError:
        return FormulaError(self.formula.text, at, why, hint)

    def result_of(self, node: Expression) -> _Result:
        match node:
            case Constant(unit=unit):
                return _of_unit(unit)
            case NameNode():
                return _of_unit(self.unit_of(node))
            case Negation(of=of, at=at):
                return self.require_plain(self.result_of(of), at, "made negative")
            case BinaryOperation(operator="+" | "-"):
                return self.sum(node)
            case BinaryOperation():
                return self.product(node)
            case Call():
                return self.call(node)

    def unit_of(self, name: NameNode) -> str:
        for key in (name.key, name.name):
            if key in self.known:
                return self.known[key]
        if name.place == ALL_PLACES:
            for key, unit in self.known.items():
                if ValueRef.parse(key).name == name.name:
                    return unit
        raise self.unknown_name(name)

    def unknown_name(self, name: NameNode) -> FormulaError:
        from difflib import get_close_matches  # late import: only an error needs it

        plain = {ValueRef.parse(key).name for key in self.known}
        for cut in (i for i, char in enumerate(name.name) if char == "-"):
            left, right = name.name[:cut], name.name[cut + 1 :]
            if left in plain and right in plain:
                return self.error(name.at, f"There is no value `{name.key}`", f"To subtract, write `{left} - {right}`")
        near = get_close_matches(name.name, sorted(plain), n=1)
        hint = f"Did you mean `{near[0]}`?" if near else "Write the name of a recorded or calculated value"
        return self.error(name.at, f"There is no value `{name.key}`", hint)

    def sum(self, node: BinaryOperation) -> _Result:
        left, right = self.result_of(node.left), self.result_of(node.right)
        if left.powers != right.powers:
            verb = "added" if node.operator == "+" else "subtracted"
            hint = ""
            for side, phrase in ((node.left, _phrase(right)), (node.right, _phrase(left))):
                if isinstance(side, Constant) and not side.unit:
                    hint = f"`{side.shown}` has no unit. Write it as {phrase}"
            raise self.error(node.at, f"{_phrase(left)} and {_phrase(right)} cannot be {verb}", hint)
        match node.operator, left.kind, right.kind:
            case "-", "on scale", "on scale":
                return _Result(left.powers, "plain")
            case "+", "on scale", "on scale":
                hint = "Take their mean, or subtract one from the other"
                raise self.error(node.at, "Two temperatures cannot be added", hint)
            case "-", "plain", "on scale":
                hint = "Write the temperature first"
                raise self.error(node.at, "A temperature cannot be subtracted from a temperature difference", hint)
            case _:
                return left if left.kind == "on scale" else right

    def product(self, node: BinaryOperation) -> _Result:
        verb = "multiplied" if node.operator == "*" else "divided"
        left = self.require_plain(self.result_of(node.left), node.at, verb)
        right = self.require_plain(self.result_of(node.right), node.at, verb)
        return _Result(_product(left.powers, right.powers, 1 if node.operator == "*" else -1), "plain")

    def call(self, node: Call) -> _Result:
        found = [self.result_of(argument) for argument in node.arguments]
        if node.function == "count":
            return _Result((), "plain")
        first = found[0]
        for argument, other in zip(node.arguments, found, strict=True):
            if other.powers != first.powers or other.kind != first.kind:
                at = argument.at if isinstance(argument, NameNode | Constant) else node.at
                why = f"`{node.function}` cannot combine {_phrase(first)} and {_phrase(other)}"
                raise self.error(at, why)
        if node.function == "sqrt":
            powers = self.require_plain(first, node.at, "used in `sqrt`").powers
            return _Result(tuple((name, power / 2) for name, power in powers), "plain")
        if node.function in ("abs", "sum"):
            return self.require_plain(first, node.at, "summed" if node.function == "sum" else "used in `abs`")
        return _Result(first.powers, "plain" if node.function == "spread" else first.kind)

    def require_plain(self, found: _Result, at: int, verb: str) -> _Result:
        if found.kind == "on scale":
            hint = "Subtract another temperature first, or write a difference in K"
            raise self.error(at, f"A temperature cannot be {verb}", hint)
        return found


def _of_unit(symbol: str) -> _Result:
    offset = bool(symbol) and units.BY_SYMBOL[symbol].offset != 0
    return _Result(BASE_POWERS[dimension_of(symbol)], "on scale" if offset else "plain")
