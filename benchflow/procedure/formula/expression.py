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

Function = Literal["mean", "max", "min", "spread", "sum", "count", "abs", "sqrt"]
OVER_PLACES: tuple[Function, ...] = ("mean", "max", "min", "spread", "sum", "count")
OF_ONE: tuple[Function, ...] = ("abs", "sqrt")


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
    decimals.
    """

    value: Fraction
    unit: str
    shown: str
    places: int
    at: int


class NameNode(Struct, frozen=True, tag="name"):
    """The name of a value with its indexes.

    As parsed, the last of several indexes is in ``reading`` and the others are in ``place``; each is ``None`` if it is
    not written, and ``"*"`` for all. :func:`benchflow.procedure.index_meaning.resolve_name` puts each index where it
    belongs. Then ``place`` is ``None`` only if the value is not repeated. ``reading`` is ``None`` if the value has one
    reading, or if the formula is calculated for each reading in turn.
    """

    name: str
    place: str | None
    reading: str | None
    at: int

    @property
    def ref(self) -> ValueRef:
        return ValueRef(self.name, self.place, self.reading)

    @property
    def key(self) -> str:
        """The name as in the log: ``end-play``, ``journal[2]`` or ``journal[2, left]``."""
        return str(self.ref)

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


Expression = Constant | NameNode | Negation | BinaryOperation | Call


class Formula(Struct, frozen=True):
    """A parsed formula with its text."""

    text: str
    root: Expression


class NameRef(NamedTuple):
    """A value that a formula uses. ``at`` is the index of its first use in the text."""

    name: str
    place: str | None
    reading: str | None
    at: int


def names(formula: Formula) -> tuple[NameRef, ...]:
    """The values that the formula uses, in order of appearance, each name with its indexes once."""
    found: dict[ValueRef, NameRef] = {}
    for node in name_nodes(formula):
        found.setdefault(node.ref, NameRef(node.name, node.place, node.reading, node.at))
    return tuple(found.values())


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


def operands(node: Expression) -> tuple[Expression, ...]:
    """The operands of an expression."""
    match node:
        case Negation(of=of):
            return (of,)
        case BinaryOperation(left=left, right=right):
            return (left, right)
        case Call(arguments=arguments):
            return arguments
        case _:
            return ()


def map_names(formula: Formula, change: Callable[[NameNode], Expression]) -> Formula:
    """The formula with each name replaced by ``change(name)``. The text stays as it is."""
    return Formula(formula.text, map_expression(formula.root, change))


def map_expression(node: Expression, change: Callable[[NameNode], Expression]) -> Expression:
    """The expression with each name replaced by ``change(name)``."""
    match node:
        case NameNode():
            return change(node)
        case Negation(of=of):
            return replace(node, of=map_expression(of, change))
        case BinaryOperation(left=left, right=right):
            return replace(node, left=map_expression(left, change), right=map_expression(right, change))
        case Call(arguments=arguments):
            return replace(node, arguments=tuple(map_expression(argument, change) for argument in arguments))
        case _:
            return node


def render(formula: Formula) -> str:
    """The formula as text with uniform spacing. Parsing it gives the same tree, except for positions."""
    return expression_text(formula.root, lambda leaf: leaf.key if isinstance(leaf, NameNode) else leaf.shown)


_RANK = {"+": 1, "-": 1, "*": 2, "/": 2}


def expression_text(node: Expression, leaf: "Callable[[Constant | NameNode], str]", times: str = "*") -> str:
    """The expression as text with the necessary brackets. ``leaf`` gives the text of a name or number."""
    match node:
        case Negation(of=of):
            inner = expression_text(of, leaf, times)
            return f"-({inner})" if isinstance(of, BinaryOperation | Negation) or inner.startswith("-") else f"-{inner}"
        case BinaryOperation(operator=operator, left=left, right=right):
            rank = _RANK[operator]
            one, two = expression_text(left, leaf, times), expression_text(right, leaf, times)
            if isinstance(left, BinaryOperation) and _RANK[left.operator] < rank:
                one = f"({one})"
            if (isinstance(right, BinaryOperation) and _RANK[right.operator] <= rank) or two.startswith("-"):
                two = f"({two})"
            return f"{one} {times if operator == '*' else operator} {two}"
        case Call(function=function, arguments=arguments):
            return f"{function}({', '.join(expression_text(argument, leaf, times) for argument in arguments)})"
        case Constant() | NameNode():
            return leaf(node)
