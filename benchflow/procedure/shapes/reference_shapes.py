"""Shapes for names that are given elsewhere: each says what kind of thing it means, to be looked up at the end."""

from benchflow.base.plaintext import clean_line
from benchflow.procedure.model import Ref
from benchflow.procedure.shapes.basic_shapes import TEXT_SCHEMA, ListShape, MapShape
from benchflow.procedure.shapes.shape_base import NOWHERE, Definitions, JsonSchema, ReadContext, Shape, scalar
from benchflow.procedure.yaml_source.yaml_nodes import YamlNode


class ReferenceShape(Shape[Ref]):
    """The name of something that is given elsewhere in the file."""

    def __init__(self, kind: str, noun: str) -> None:
        self.kind, self.noun = kind, noun

    def read(self, node: YamlNode, notes: ReadContext, name: Ref = NOWHERE) -> Ref | None:
        return _mentioned(node, self.kind, self.noun, notes)

    def schema(self, definitions: Definitions) -> JsonSchema:
        return dict(TEXT_SCHEMA)


class KeyReferenceShape(Shape[str]):
    """A key that names something given elsewhere."""

    def __init__(self, kind: str, noun: str) -> None:
        self.kind, self.noun = kind, noun

    def read(self, node: YamlNode, notes: ReadContext, name: Ref = NOWHERE) -> str | None:
        found = _mentioned(node, self.kind, self.noun, notes)
        return None if found is None else found.name

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"type": "string"}


class ValueReferenceShape(Shape[str]):
    """One of the values of what the entry's key names."""

    def __init__(self, kind: str, noun: str) -> None:
        self.kind, self.noun = kind, noun

    def read(self, node: YamlNode, notes: ReadContext, name: Ref = NOWHERE) -> str | None:
        found = _mentioned(node, self.kind, self.noun, notes, of=name.name)
        return None if found is None else found.name

    def schema(self, definitions: Definitions) -> JsonSchema:
        return dict(TEXT_SCHEMA)


def _mentioned(node: YamlNode, kind: str, noun: str, notes: ReadContext, of: str = "") -> Ref | None:
    """The name that ``node`` is, noted as meaning something of that kind: it is looked up when all is read."""
    found = scalar(node, noun, notes)
    if found is None:
        return None
    ref = Ref(clean_line(found.text), found.mark)
    notes.mention(kind, ref.name, ref.mark, of=of)
    return ref


def conditions(kind: str, value_kind: str, noun: str, at_least: int = 0) -> Shape[dict[str, tuple[str, ...]]]:
    """Names with the value or the list of values that will do."""
    value = ListShape(ValueReferenceShape(value_kind, "a value"), single=True, at_least=1, distinct=True)
    return MapShape(value, noun, key=KeyReferenceShape(kind, "a name"), at_least=at_least)


NEEDS = conditions("state", "state-value", "state variables with the values that will do")
NEVER = conditions("state", "state-value", "state variables with the values that must not meet", at_least=1)
WHEN = conditions("option", "choice", "options with the choices that it is for")
SETTINGS: Shape[dict[str, str]] = MapShape(
    ValueReferenceShape("state-value", "a value"),
    "state variables with one value each",
    key=KeyReferenceShape("state", "a name"),
)
