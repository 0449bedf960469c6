"""The base class of shapes, and the context that they share while one file is read.

A shape never raises, whatever an author writes. If it cannot make a value, it reports why and returns ``None``; the
rest of the file is read, so that all problems are reported at once.
"""

from abc import ABC, abstractmethod
from collections.abc import Callable, Collection
from typing import Any, Generic, TypeVar

from msgspec import Struct

from benchflow.base.plaintext import clean_line
from benchflow.procedure.model import Mark, Ref
from benchflow.procedure.problems import Severity, hint_for
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, YamlScalar, YamlSequence
from benchflow.procedure.yaml_source.yaml_reader import ProblemList

T = TypeVar("T")
JsonSchema = dict[str, Any]

NOWHERE = Ref("", Mark())


class Mention(Struct, frozen=True):
    """A use of a name of the given ``kind``. ``of`` is the name that it belongs to, such as the variable of a value."""

    kind: str
    name: str
    mark: Mark
    of: str = ""


class VaryingNames:
    """The names that `by` can have where the reader is, and the choices that are read now.

    ``sets`` are the sets of places of the operation that is read, ``readings`` that of the readings of its value.
    ``chosen`` has the choice to read for each name. A name that is met without a choice is added to ``open``.
    """

    def __init__(self) -> None:
        self.sets: tuple[str, ...] = ()
        self.readings: tuple[str, ...] = ()
        self.chosen: dict[str, str] = {}
        self.open: dict[str, None] = {}


class ReadContext:
    """The data that all shapes share while one file is read: problems, uses of names, nodes for later checks."""

    def __init__(self, problems: ProblemList) -> None:
        self.problems = problems
        self._comparisons = 100_000
        self.mentions: list[Mention] = []
        self.sources: list[Ref] = []
        """Each `source` in the file, with its place."""
        self.unreadable_names: set[str] = set()
        """Names whose entry could not be read. A use of one of them is not reported as unknown."""
        self.placeholders: list[tuple[str, Mark]] = []
        """Each `{word}` in the texts of the operation that is being read; cleared at its end."""
        self.filled_texts: list[tuple[str | None, tuple[tuple[str, Mark], ...]]] = []
        """For each operation of the section that is being read, its `each` and its placeholders."""
        self.nodes: dict[tuple[str, Mark], YamlNode] = {}
        """The node of a value, by its key and the mark of its owner. Later checks report places in it."""
        self.copied: set[str] = set()
        """The ids of the operations with `again` that have the keys of the other operation."""
        self.place_sets: dict[str, tuple[str, ...]] = {}
        """The entries of `places`. This key is read before the others."""
        self.option_choices: dict[str, tuple[str, ...]] = {}
        """The choices of each entry of `options`. This key is read before the others, too."""
        self.varying = VaryingNames()
        self.variant_nodes: dict[tuple[Mark, tuple[tuple[str, str], ...]], dict[tuple[str, Mark], YamlNode]] = {}
        """The ``nodes`` of each variant of an operation, by the mark of the operation and the choices."""

    def problem(self, code: str, mark: Mark, message: str, hint: str = "", severity: Severity = "error") -> None:
        self.problems.add(code, mark, message, hint, severity)

    def hint(self, name: str, known: Collection[str], if_none: str) -> str:
        """Like :func:`~benchflow.procedure.problems.hint_for`, but "" after too many comparisons in one file."""
        self._comparisons -= len(known)
        return hint_for(name, known, if_none) if self._comparisons > 0 else ""

    def mention(self, kind: str, name: str, mark: Mark, of: str = "") -> None:
        self.mentions.append(Mention(kind, name, mark, of))


class Definitions:
    """The definitions of the JSON Schema (`$defs`)."""

    def __init__(self) -> None:
        self.parts: dict[str, JsonSchema] = {}

    def refer(self, name: str, make: Callable[[], JsonSchema]) -> JsonSchema:
        """A reference to the definition ``name``, made by ``make`` on first use."""
        if name not in self.parts:
            self.parts[name] = {}  # reserves the name, because a definition can refer to itself
            self.parts[name] = make()
        return {"$ref": f"#/$defs/{name}"}


class Shape(ABC, Generic[T]):
    """A kind of value in a procedure file, such as a limit. ``noun`` names it in messages: "a line of text"."""

    noun: str

    @abstractmethod
    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> T | None:
        """Read ``node``. Returns ``None`` if it has no valid value. ``name`` is its key if the author chose the key."""

    @abstractmethod
    def schema(self, definitions: Definitions) -> JsonSchema:
        """The JSON Schema (2020-12) for the nodes that :meth:`read` accepts, as far as JSON Schema can express it."""

    def parts(self) -> "tuple[Shape[Any], ...]":
        """The shapes that this one contains."""
        return ()

    def chosen_node(self, node: YamlNode, context: ReadContext) -> YamlNode:
        """``node`` for later checks, with each `{by: ...}` replaced by the node of the current choice."""
        return node


def wrong_kind(node: YamlNode, noun: str, context: ReadContext, hint: str = "") -> None:
    """Report that a ``noun`` is expected instead of the node. ``hint`` is used if the node is a text or a list."""
    if isinstance(node, YamlScalar) and node.unreadable:
        return
    if isinstance(node, YamlScalar):
        found = "nothing" if node.is_empty else f"the text `{short(node.text)}`"
    else:
        found = "a list" if isinstance(node, YamlSequence) else "a mapping"
    if found == "nothing":
        context.problem(
            "empty-value", node.mark, f"The value is empty, but {noun} is expected", "Write a value, or delete the key"
        )
        return
    if isinstance(node, YamlMapping) and any(key.text == "by" for key, _ in node.pairs):
        hint = "`{by: ...}` is not possible here. `benchflow guide` says where it is"
    elif isinstance(node, YamlMapping) and node.flow:
        hint = "If it is a text that begins with {, put it in quotes"
    elif isinstance(node, YamlSequence) and not hint:
        hint = "If it is a text that begins with [ or -, put it in quotes"
    context.problem("wrong-kind", node.mark, f"{noun} is expected here, not {found}", hint)


def short(text: str) -> str:
    """``text`` on one line, cut to 40 characters."""
    line = clean_line(text)
    return line if len(line) <= 40 else line[:39] + "…"


def scalar(node: YamlNode, noun: str, context: ReadContext) -> YamlScalar | None:
    """``node`` if it is a text; otherwise ``None``, and the problem is reported."""
    if isinstance(node, YamlScalar) and not node.is_empty and not node.unreadable:
        return node
    wrong_kind(node, noun, context)
    return None
