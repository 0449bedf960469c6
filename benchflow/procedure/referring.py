"""Shapes for names that are given elsewhere: each says what kind of thing it means, to be looked up at the end."""

from benchflow.plaintext import clean_line
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
        found = scalar(node, self.noun, notes)
        if found is None:
            return None
        text = clean_line(found.text)
        notes.mention(self.kind, text, found.mark)
        return Ref(text, found.mark)

    def schema(self, definitions: Definitions) -> JsonSchema:
        return dict(TEXT_SCHEMA)


class KeyReference(Shape[str]):
    """A key that names something given elsewhere."""

    def __init__(self, kind: str, noun: str) -> None:
        self.kind, self.noun = kind, noun

    def read(self, node: Node, notes: Notes, name: Ref = NOWHERE) -> str | None:
        found = scalar(node, self.noun, notes)
        if found is None:
            return None
        notes.mention(self.kind, found.text, found.mark)
        return found.text

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"type": "string"}


class ValueReference(Shape[str]):
    """One of the values of what the entry's key names."""

    def __init__(self, kind: str, noun: str) -> None:
        self.kind, self.noun = kind, noun

    def read(self, node: Node, notes: Notes, name: Ref = NOWHERE) -> str | None:
        found = scalar(node, self.noun, notes)
        if found is None:
            return None
        text = clean_line(found.text)
        notes.mention(self.kind, text, found.mark, of=name.name)
        return text

    def schema(self, definitions: Definitions) -> JsonSchema:
        return dict(TEXT_SCHEMA)


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
