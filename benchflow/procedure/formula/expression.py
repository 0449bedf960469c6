"""A formula as a tree of expressions, and the tree as text."""

from collections.abc import Callable
from fractions import Fraction
from typing import Literal, NamedTuple

from msgspec import Struct
from msgspec.structs import replace

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import sentence
from benchflow.procedure.identity import ALL_PLACES, ValueRef
from benchflow.quantity.types import printable

Function = Literal[
    "mean", "max", "min", "spread", "sum", "count", "abs", "sqrt",
    "sin", "cos", "tan", "asin", "acos", "atan", "round", "up", "down",
]  # fmt: skip
OVER_PLACES: tuple[Function, ...] = ("mean", "max", "min", "spread", "sum", "count")
OF_ANGLE: tuple[Function, ...] = ("sin", "cos", "tan")
TO_ANGLE: tuple[Function, ...] = ("asin", "acos", "atan")
OF_ONE: tuple[Function, ...] = ("abs", "sqrt", *OF_ANGLE, *TO_ANGLE)
TO_STEPS: tuple[Function, ...] = ("round", "up", "down")
Relation = Literal["<", "<=", ">", ">=", "="]


class FormulaError(BenchflowError):
    """A formula that is malformed, does not fit its units, or cannot be evaluated with the given values.

    ``at`` is the index of the wrong character in ``text``. ``why`` says what is wrong, ``hint`` how to correct it.
    ``code`` is the code of the problem that `check` reports.
    """

    def __init__(self, text: str, at: int, why: str, hint: str = "", code: str = "bad-formula") -> None:
        super().__init__(
            " ".join(filter(None, (sentence(why), sentence(hint), f"The formula is “{printable(text)}”.")))
        )
        self.text, self.at, self.why, self.hint, self.code = text, at, why, hint, code


class Constant(Struct, frozen=True, tag="number"):
    """A number in the formula.

    ``unit`` is its canonical symbol, "" if it has none. ``shown`` is the number as written. ``places`` is its number of
    decimals. ``rounded`` is true for π, which is not exact.
    """

    value: Fraction
    unit: str
    shown: str
    places: int
    at: int
    rounded: bool = False


class NameNode(Struct, frozen=True, tag="name"):
    """The name of a value with its indexes.

    As parsed, the last of several indexes is in ``reading`` and the others are in ``place``; each is ``None`` if it is
    not written, and ``"*"`` for all. :func:`benchflow.procedure.index_meaning.resolve_name` puts each index where it
    belongs. Then ``place`` is ``None`` only if the value is not repeated. ``reading`` is ``None`` if the value has one
    reading, or if the formula is calculated for each reading in turn. ``before`` means the value of the
    round before: ``before(gap)``.
    """

    name: str
    place: str | None
    reading: str | None
    at: int
    before: bool = False

    @property
    def ref(self) -> ValueRef:
        return ValueRef(self.name, self.place, self.reading)

    @property
    def key(self) -> str:
        """The name as in the log: ``end-play``, ``journal[2]``, ``journal[2, left]`` or ``before(end-play)``."""
        return operand_key(self.ref, self.before)

    @property
    def is_starred(self) -> bool:
        """True if the name means several values: ``journal[*]``."""
        return ALL_PLACES in self.ref.indexes


class Negation(Struct, frozen=True, tag="negative"):
    """The negative of an expression; ``at`` is the index of the sign."""

    of: "Expression"
    at: int


class BinaryOperation(Struct, frozen=True, tag="pair"):
    """Two operands; ``at`` is the index of the operator."""

    operator: Literal["+", "-", "*", "/"]
    left: "Expression"
    right: "Expression"
    at: int


class Call(Struct, frozen=True, tag="call"):
    """A function of one or more expressions."""

    function: Function
    arguments: "tuple[Expression, ...]"
    at: int


class Power(Struct, frozen=True, tag="power"):
    """A power with a fixed exponent, whole or half; ``at`` is the index of ``^``."""

    of: "Expression"
    exponent: Fraction
    at: int


class Conditional(Struct, frozen=True, tag="if"):
    """``if(left relation right, then, otherwise)``."""

    relation: Relation
    left: "Expression"
    right: "Expression"
    then: "Expression"
    otherwise: "Expression"
    at: int


Expression = Constant | NameNode | Negation | BinaryOperation | Power | Conditional | Call


class Formula(Struct, frozen=True):
    """A parsed formula with its text."""

    text: str
    root: Expression


class NameRef(NamedTuple):
    """A value that a formula uses. ``at`` is the index of its first use in the text.

    ``before`` means its value in the round before.
    """

    name: str
    place: str | None
    reading: str | None
    at: int
    before: bool = False

    @property
    def ref(self) -> ValueRef:
        return ValueRef(self.name, self.place, self.reading)


def operand_key(ref: ValueRef, before: bool) -> str:
    """A value among the inputs of a formula: ``journal[2]``, or ``before(journal[2])`` in the round before."""
    return f"before({ref})" if before else str(ref)


def names(formula: Formula) -> tuple[NameRef, ...]:
    """The values that the formula uses, in order of appearance, each name with its indexes once."""
    found: dict[str, NameRef] = {}
    for node in name_nodes(formula):
        found.setdefault(node.key, NameRef(node.name, node.place, node.reading, node.at, node.before))
    return tuple(found.values())


def present_names(formula: Formula) -> tuple[NameRef, ...]:
    """Like :func:`names`, without the values of the round before."""
    return tuple(name for name in names(formula) if not name.before)


def name_nodes(formula: Formula) -> list[NameNode]:
    """The names in the formula, in order of appearance."""
    return sorted((node for node in walk(formula.root) if isinstance(node, NameNode)), key=lambda name: name.at)


def walk(node: Expression) -> list[Expression]:
    """The expression and all expressions in it."""
    found, waiting = [], [node]
    while waiting:
        current = waiting.pop()
        found.append(current)
        waiting.extend(operands(current))
    return found


def uses_name(node: Expression, name: str) -> bool:
    """True if the value ``name`` occurs in the expression."""
    return any(isinstance(inner, NameNode) and inner.name == name for inner in walk(node))


def always_calculated(node: Expression) -> list[Expression]:
    """Like :func:`walk`, without the results of an `if`, of which only one is calculated."""
    parts = (node.left, node.right) if isinstance(node, Conditional) else operands(node)
    return [node, *(inner for part in parts for inner in always_calculated(part))]


def operands(node: Expression) -> tuple[Expression, ...]:
    """The operands of an expression."""
    match node:
        case Negation(of=of) | Power(of=of):
            return (of,)
        case BinaryOperation(left=left, right=right):
            return (left, right)
        case Conditional(left=left, right=right, then=then, otherwise=otherwise):
            return (left, right, then, otherwise)
        case Call(arguments=arguments):
            return arguments
        case _:
            return ()


def map_names(formula: Formula, change: Callable[[NameNode], Expression]) -> Formula:
    """The formula with each name replaced by ``change(name)``. The text stays as it is."""
    return Formula(formula.text, map_expression(formula.root, change))


def map_expression(node: Expression, change: Callable[[NameNode], Expression]) -> Expression:
    """The expression with each name replaced by ``change(name)``."""
    if isinstance(node, NameNode):
        return change(node)
    return map_operands(node, lambda operand: map_expression(operand, change))


def map_operands(node: Expression, change: "Callable[[Expression], Expression]") -> Expression:
    """The expression with each of its operands replaced by ``change(operand)``."""
    match node:
        case Negation(of=of) | Power(of=of):
            return replace(node, of=change(of))
        case BinaryOperation(left=left, right=right):
            return replace(node, left=change(left), right=change(right))
        case Conditional(left=left, right=right, then=then, otherwise=otherwise):
            return replace(node, left=change(left), right=change(right), then=change(then), otherwise=change(otherwise))
        case Call(arguments=arguments):
            return replace(node, arguments=tuple(change(argument) for argument in arguments))
        case _:
            return node


def render(formula: Formula) -> str:
    """The formula as text with uniform spacing. Parsing it gives the same tree, except for positions."""
    return expression_text(formula.root, lambda leaf: leaf.key if isinstance(leaf, NameNode) else leaf.shown)


_RANK = {"+": 1, "-": 1, "*": 2, "/": 2}


def expression_text(node: Expression, leaf: "Callable[[Constant | NameNode], str]", times: str = "*") -> str:
    """The expression as text with the necessary brackets. ``leaf`` gives the text of a name or number."""

    def text(inner: Expression) -> str:
        return expression_text(inner, leaf, times)

    match node:
        case Negation(of=of):
            inner = text(of)
            return f"-({inner})" if isinstance(of, BinaryOperation | Negation) or inner.startswith("-") else f"-{inner}"
        case BinaryOperation(operator=operator, left=left, right=right):
            rank = _RANK[operator]
            one, two = text(left), text(right)
            if isinstance(left, BinaryOperation) and _RANK[left.operator] < rank:
                one = f"({one})"
            if (isinstance(right, BinaryOperation) and _RANK[right.operator] <= rank) or two.startswith("-"):
                two = f"({two})"
            return f"{one} {times if operator == '*' else operator} {two}"
        case Power(of=of, exponent=exponent):
            inner = text(of)
            simple = isinstance(of, Call | Conditional) or (isinstance(of, NameNode) and not set(inner) & set(" -°"))
            return f"{inner if simple else f'({inner})'}^{exponent_text(exponent)}"
        case Conditional(relation=relation, left=left, right=right, then=then, otherwise=otherwise):
            return f"if({text(left)} {relation} {text(right)}, {text(then)}, {text(otherwise)})"
        case Call(function=function, arguments=arguments):
            return f"{function}({', '.join(map(text, arguments))})"
        case Constant() | NameNode():
            return leaf(node)


def exponent_text(exponent: Fraction) -> str:
    """An exponent as text: ``2``, ``-1``, ``0.5``."""
    return str(exponent) if exponent.denominator == 1 else str(float(exponent))
