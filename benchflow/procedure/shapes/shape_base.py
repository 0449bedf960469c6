"""What every shape is made with: notes of what a reading finds, and the shape itself.

A shape never raises for anything that an author can write. Where it cannot make a value it has reported why and
gives ``None``; the rest of the file is read on, so that everything wrong is known at once.
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
    """A name used where something of that ``kind`` is meant. ``of`` is what it belongs to: a value's variable."""

    kind: str
    name: str
    mark: Mark
    of: str = ""


class ReadContext:
    """What a reading finds besides values: problems, names mentioned, places that the model does not keep."""

    def __init__(self, problems: ProblemList) -> None:
        self.problems = problems
        self._comparisons = 100_000
        self.mentions: list[Mention] = []
        self.half_known: set[str] = set()
        """Names whose entry could not be read: mentioning one of them is no second mistake."""
        self.placeholders: list[tuple[str, Mark]] = []
        """`{word}` in the texts of the operation that is being read, until it claims them."""
        self.nodes: dict[tuple[str, Mark], YamlNode] = {}
        """(key, place of its owner) to what is written there, for checks that point into it afterwards."""
        self.place_sets: dict[str, tuple[str, ...]] = {}
        """What stands under `places`, which is read before everything else."""

    def problem(self, code: str, mark: Mark, message: str, hint: str = "", severity: Severity = "error") -> None:
        self.problems.add(code, mark, message, hint, severity)

    def hint(self, name: str, known: Collection[str], nothing: str) -> str:
        """:func:`~.problems.hint_for`, until so much was compared that a file is only costing time."""
        self._comparisons -= len(known)
        return hint_for(name, known, nothing) if self._comparisons > 0 else ""

    def mention(self, kind: str, name: str, mark: Mark, of: str = "") -> None:
        self.mentions.append(Mention(kind, name, mark, of))


class Definitions:
    """The named parts of the JSON Schema, each written once."""

    def __init__(self) -> None:
        self.parts: dict[str, JsonSchema] = {}

    def refer(self, name: str, make: Callable[[], JsonSchema]) -> JsonSchema:
        if name not in self.parts:
            self.parts[name] = {}  # stands in while it is made, for a part that contains itself
            self.parts[name] = make()
        return {"$ref": f"#/$defs/{name}"}


class Shape(ABC, Generic[T]):
    """``noun`` says what is wanted: "a line of text"."""

    noun: str

    @abstractmethod
    def read(self, node: YamlNode, notes: ReadContext, name: Ref = NOWHERE) -> T | None:
        """The value of ``node``; ``name`` is the author's key where the value is a named entry."""

    @abstractmethod
    def schema(self, definitions: Definitions) -> JsonSchema:
        """JSON Schema (2020-12) of what :meth:`read` accepts, as far as that can be said there."""

    def parts(self) -> "tuple[Shape[Any], ...]":
        """The shapes that this one is made of."""
        return ()


def wrong_kind(node: YamlNode, noun: str, notes: ReadContext, hint: str = "") -> None:
    """Report that ``noun`` was wanted and something else stands there. ``hint`` is for a text that stands there."""
    if isinstance(node, YamlScalar) and node.spoilt:
        return
    if isinstance(node, YamlScalar):
        found = "nothing" if node.nothing else f"the text `{short(node.text)}`"
    else:
        found = "a list" if isinstance(node, YamlSequence) else "a mapping"
    if found == "nothing":
        notes.problem(
            "empty-value", node.mark, f"nothing is written here; {noun} is wanted", "write it, or take the key out"
        )
        return
    if isinstance(node, YamlMapping) and node.flow:
        hint = "a text that begins with { needs quotes"
    elif isinstance(node, YamlSequence):
        hint = "a text that begins with [ or - needs quotes"
    notes.problem("wrong-kind", node.mark, f"{noun} is wanted here, not {found}", hint)


def short(text: str) -> str:
    line = clean_line(text)
    return line if len(line) <= 40 else line[:39] + "…"


def scalar(node: YamlNode, noun: str, notes: ReadContext) -> YamlScalar | None:
    """``node`` if it is a text; else the problem is reported."""
    if isinstance(node, YamlScalar) and not node.nothing and not node.spoilt:
        return node
    wrong_kind(node, noun, notes)
    return None
