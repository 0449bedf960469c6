"""Shapes for names that are given elsewhere: each says what kind of thing it means, to be looked up at the end."""

from benchflow.base.plaintext import clean_line
from benchflow.procedure.model import Ref
from benchflow.procedure.nodes import Node
from benchflow.procedure.shapes import (
    NOWHERE,
    TEXT_SCHEMA,
    Definitions,
    JsonSchema,
    ListOf,
    MapOf,
    Notes,
    Shape,
    scalar,
)


class Reference(Shape[Ref]):
    """The name of something that is given elsewhere in the file."""

    def __init__(self, kind: str, noun: str) -> None:
        self.kind, self.noun = kind, noun

    def read(self, node: Node, notes: Notes, name: Ref = NOWHERE) -> Ref | None:
        return _mentioned(node, self.kind, self.noun, notes)

    def schema(self, definitions: Definitions) -> JsonSchema:
        return dict(TEXT_SCHEMA)


class KeyReference(Shape[str]):
    """A key that names something given elsewhere."""

    def __init__(self, kind: str, noun: str) -> None:
        self.kind, self.noun = kind, noun

    def read(self, node: Node, notes: Notes, name: Ref = NOWHERE) -> str | None:
        found = _mentioned(node, self.kind, self.noun, notes)
        return None if found is None else found.name

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"type": "string"}


class ValueReference(Shape[str]):
    """One of the values of what the entry's key names."""

    def __init__(self, kind: str, noun: str) -> None:
        self.kind, self.noun = kind, noun

    def read(self, node: Node, notes: Notes, name: Ref = NOWHERE) -> str | None:
        found = _mentioned(node, self.kind, self.noun, notes, of=name.name)
        return None if found is None else found.name

    def schema(self, definitions: Definitions) -> JsonSchema:
        return dict(TEXT_SCHEMA)


def _mentioned(node: Node, kind: str, noun: str, notes: Notes, of: str = "") -> Ref | None:
    """The name that ``node`` is, noted as meaning something of that kind: it is looked up when all is read."""
    found = scalar(node, noun, notes)
    if found is None:
        return None
    ref = Ref(clean_line(found.text), found.mark)
    notes.mention(kind, ref.name, ref.mark, of=of)
    return ref


def conditions(kind: str, value_kind: str, noun: str, at_least: int = 0) -> Shape[dict[str, tuple[str, ...]]]:
    """Names with the value or the list of values that will do."""
    value = ListOf(ValueReference(value_kind, "a value"), single=True, at_least=1, distinct=True)
    return MapOf(value, noun, key=KeyReference(kind, "a name"), at_least=at_least)


NEEDS = conditions("state", "state-value", "state variables with the values that will do")
NEVER = conditions("state", "state-value", "state variables with the values that must not meet", at_least=1)
WHEN = conditions("option", "choice", "options with the choices that it is for")
SETTINGS: Shape[dict[str, str]] = MapOf(
    ValueReference("state-value", "a value"),
    "state variables with one value each",
    key=KeyReference("state", "a name"),
)
