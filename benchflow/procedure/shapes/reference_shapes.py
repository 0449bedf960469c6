"""Shapes of names that are defined elsewhere in the file. They are looked up after the whole file is read."""

from benchflow.base.plaintext import clean_line
from benchflow.procedure.model import Ref
from benchflow.procedure.shapes.basic_shapes import TEXT_SCHEMA, ListShape, MapShape
from benchflow.procedure.shapes.by_shapes import ByShape
from benchflow.procedure.shapes.examples_from_text import entry_hint
from benchflow.procedure.shapes.shape_base import NOWHERE, Definitions, JsonSchema, ReadContext, Shape, scalar
from benchflow.procedure.yaml_source.yaml_nodes import YamlNode, YamlScalar


class ReferenceShape(Shape[Ref]):
    """The name of something of the given ``kind``."""

    def __init__(self, kind: str, noun: str) -> None:
        self.kind, self.noun = kind, noun

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> Ref | None:
        return _mentioned(node, self.kind, self.noun, context)

    def schema(self, definitions: Definitions) -> JsonSchema:
        return dict(TEXT_SCHEMA)


class KeyReferenceShape(Shape[str]):
    """A key that names something of the given ``kind``."""

    def __init__(self, kind: str, noun: str) -> None:
        self.kind, self.noun = kind, noun

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> str | None:
        found = _mentioned(node, self.kind, self.noun, context)
        return None if found is None else found.name

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"type": "string"}


class ValueReferenceShape(Shape[str]):
    """A value of a variable or a choice of an option. The key of the entry names the variable or the option."""

    def __init__(self, kind: str, noun: str) -> None:
        self.kind, self.noun = kind, noun

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> str | None:
        found = _mentioned(node, self.kind, self.noun, context, of=name.name)
        return None if found is None else found.name

    def schema(self, definitions: Definitions) -> JsonSchema:
        return dict(TEXT_SCHEMA)


class UndoValueShape(ValueReferenceShape):
    """A value of a variable, or ``ask`` (read as "") if the value is not known afterwards."""

    def __init__(self) -> None:
        super().__init__("state-value", "a value, or `ask`")

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> str | None:
        return "" if isinstance(node, YamlScalar) and node.text == "ask" else super().read(node, context, name)


def _mentioned(node: YamlNode, kind: str, noun: str, context: ReadContext, of: str = "") -> Ref | None:
    """The name in ``node``. The use of the name is recorded, so that it can be checked later."""
    found = scalar(node, noun, context)
    if found is None:
        return None
    ref = Ref(clean_line(found.text), found.mark)
    context.mention(kind, ref.name, ref.mark, of=of)
    return ref


def conditions(
    kind: str, value_kind: str, noun: str, at_least: int = 0, *, by: bool = False
) -> Shape[dict[str, tuple[str, ...]]]:
    """A mapping from names to one value or a list of values. With ``by``, a value may vary by option or place."""
    value: Shape[tuple[str, ...]] = ListShape(
        ValueReferenceShape(value_kind, "a value"), single=True, at_least=1, distinct=True
    )
    value = ByShape("needs", value) if by else value
    return MapShape(value, noun, key=KeyReferenceShape(kind, "a name"), at_least=at_least, text_hint=entry_hint)


NEEDS = conditions("state", "state-value", "state variables with the accepted values")
NEVER = conditions("state", "state-value", "state variables with the values that must not occur together", at_least=1)
WHEN = conditions("option", "choice", "options with the choices that it applies to")
OPERATION_NEEDS = conditions("state", "state-value", "state variables with the accepted values", by=True)
WHEN_FOUND = conditions(
    "condition", "answer", "options with their choices, and values, checks and choices of parts with their findings"
)
SETTINGS: Shape[dict[str, str]] = MapShape(
    ValueReferenceShape("state-value", "a value"),
    "state variables with one value each",
    key=KeyReferenceShape("state", "a name"),
    text_hint=entry_hint,
)
OPERATION_SETTINGS: Shape[dict[str, str]] = MapShape(
    ByShape("setting", ValueReferenceShape("state-value", "a value")),
    "state variables with one value each",
    key=KeyReferenceShape("state", "a name"),
    text_hint=entry_hint,
)
UNDO_SETTINGS: Shape[dict[str, str]] = MapShape(
    ByShape("undo-setting", UndoValueShape()),
    "state variables with a value or `ask` for each, such as `{casing: ask}`",
    key=KeyReferenceShape("state", "a name"),
    text_hint=entry_hint,
)
