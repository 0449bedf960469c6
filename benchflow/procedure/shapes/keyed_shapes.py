"""Shapes of mappings with fixed keys, each key with its shape and its description."""

from collections.abc import Callable
from typing import Any, Generic, TypeVar, cast

from benchflow.base.plaintext import listed
from benchflow.procedure.model import Mark, Ref
from benchflow.procedure.problems import hint_for
from benchflow.procedure.shapes.examples_from_text import quoted
from benchflow.procedure.shapes.shape_base import (
    NOWHERE,
    Definitions,
    JsonSchema,
    ReadContext,
    Shape,
    short,
    wrong_kind,
)
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, YamlScalar

T = TypeVar("T")
B = TypeVar("B")


class Key(Generic[T]):
    """A key of a mapping. ``description`` and ``examples`` are for the JSON Schema and the author's guide."""

    def __init__(
        self, name: str, shape: Shape[T], description: str, *, required: bool = False, examples: tuple[Any, ...] = ()
    ) -> None:
        self.name, self.shape, self.description, self.required, self.examples = (
            name,
            shape,
            description,
            required,
            examples,
        )


class Fields:
    """The values of a mapping by key. A key that is missing or whose value could not be read gives ``None``."""

    def __init__(self, node: YamlMapping, name: Ref, context: ReadContext) -> None:
        self.node, self.name, self.context = node, name, context
        self.values: dict[str, object] = {}
        self.nodes: dict[str, YamlNode] = {}

    def get(self, key: Key[T]) -> T | None:
        """The value of ``key``; ``None`` if it is missing or could not be read."""
        return cast("T | None", self.values.get(key.name))

    def get_or(self, key: Key[T], default: T) -> T:
        """The value of ``key``; ``default`` if it is missing or could not be read."""
        value = self.values.get(key.name)
        return default if value is None else cast("T", value)

    def wrote(self, key: Key[Any]) -> bool:
        """True if the author wrote the key."""
        return key.name in self.nodes

    def at(self, key: Key[Any]) -> Mark:
        """The place of the key's value, or of the mapping if the key is missing."""
        node = self.nodes.get(key.name)
        return self.node.mark if node is None else node.mark

    @property
    def mark(self) -> Mark:
        """The place of the entry's name, or of the mapping if it has no name."""
        return self.name.mark if self.name is not NOWHERE else self.node.mark

    def problem(self, code: str, key: Key[Any], message: str, hint: str = "") -> None:
        self.context.problem(code, self.at(key), message, hint)


class KeyedShape(Shape[B]):
    """A mapping with fixed keys. ``build`` makes a value from them.

    ``name`` is the definition's name in the JSON Schema. Exactly one of the keys in ``one_of`` has to be written,
    and at least one of ``some_of``.
    ``requires`` has pairs of a key and another key that it needs. ``hints`` has the hints for common wrong keys.
    ``text_hint`` makes the hint for a text instead of a mapping from that text, "" for the usual one; ``one_of_hint``
    the hint if none of ``one_of`` is written.
    """

    def __init__(
        self,
        name: str,
        noun: str,
        keys: tuple[Key[Any], ...],
        build: Callable[[Fields], B | None],
        *,
        one_of: tuple[Key[Any], ...] = (),
        some_of: tuple[Key[Any], ...] = (),
        requires: tuple[tuple[Key[Any], Key[Any]], ...] = (),
        hints: dict[str, str] | None = None,
        text_hint: Callable[[str], str] | None = None,
        one_of_hint: Callable[[Fields], str] | None = None,
    ) -> None:
        self.name, self.noun, self.build, self.one_of, self.requires = name, noun, build, one_of, requires
        self.some_of, self.text_hint, self.one_of_hint = some_of, text_hint, one_of_hint
        self.keys = {key.name: key for key in keys}
        self.hints = hints or {}

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> B | None:
        if not isinstance(node, YamlMapping):
            wrong_kind(node, "a mapping of keys with values", context, self._hint_with_keys(node))
            return None
        fields = Fields(node, name, context)
        for key, child in node.pairs:
            if context.problems.full:
                break
            known = self.keys.get(key.text)
            if known is None:
                self._report_unknown_key(key, node, context)
            else:
                fields.nodes[key.text] = known.shape.chosen_node(child, context)
                fields.values[key.text] = known.shape.read(child, context)
        self._report_missing_keys(fields)
        return self.build(fields)

    def _hint_with_keys(self, node: YamlNode) -> str:
        """The hint for a text instead of a mapping: ``hold: inspector`` has to be ``hold: {by: inspector}``."""
        if not isinstance(node, YamlScalar):
            return ""
        own = self.text_hint(node.text) if self.text_hint else ""
        if own:
            return own
        must = [key.name for key in self.keys.values() if key.required] or [*self.keys][:1]
        inside = (
            f"{must[0]}: {quoted(short(node.text))}" if len(must) == 1 else ", ".join(f"{name}: ..." for name in must)
        )
        return f"Write it with keys, such as `{{{inside}}}`"

    def _report_unknown_key(self, key: YamlScalar, node: YamlMapping, context: ReadContext) -> None:
        hint = self.hints.get(key.text, "")
        if key.text == "<<":
            hint = "Merge keys are not supported. Write the keys here"
        if not hint and node.flow and key.text[:1].isdigit():
            hint = (
                "Inside {...} a comma begins a new key. Write a decimal point, and put quotes around a text with commas"
            )
        if not hint:
            hint = hint_for(key.text, self.keys)
        context.problem("unknown-key", key.mark, f"{self.noun} has no key `{key.text}`", hint)

    def _report_missing_keys(self, fields: Fields) -> None:
        place = fields.mark
        for key in self.keys.values():
            if key.required and not fields.wrote(key):
                fields.context.problem(
                    "missing-key", place, f"{self.noun} needs the key `{key.name}`", _hint_to_add(key)
                )
        for key, other in self.requires:
            if fields.wrote(key) and not fields.wrote(other):
                fields.problem(
                    "missing-key", key, f"`{key.name}` needs the key `{other.name}` too", _hint_to_add(other)
                )
        if self.some_of and not any(fields.wrote(key) for key in self.some_of):
            names = listed([f"`{key.name}`" for key in self.some_of], "or")
            fields.context.problem("missing-key", place, f"{self.noun} needs {names}", _hint_to_add(self.some_of[0]))
        if self.one_of:
            written = [key.name for key in self.one_of if fields.wrote(key)]
            names = listed([f"`{key.name}`" for key in self.one_of], "or")
            if not written:
                hint = self.one_of_hint(fields) if self.one_of_hint else "Write one of them"
                fields.context.problem("missing-key", place, f"{self.noun} needs {names}", hint)
            elif len(written) > 1:
                again = fields.nodes[written[1]].mark
                fields.context.problem(
                    "one-too-many", again, f"{self.noun} can have only one of {names}", "Delete the others"
                )

    def schema(self, definitions: Definitions) -> JsonSchema:
        return definitions.refer(self.name, lambda: self._schema(definitions))

    def _schema(self, definitions: Definitions) -> JsonSchema:
        properties: JsonSchema = {}
        for key in self.keys.values():
            properties[key.name] = {**key.shape.schema(definitions), "description": key.description}
            if key.examples:
                properties[key.name]["examples"] = list(key.examples)
        schema: JsonSchema = {"type": "object", "additionalProperties": False, "properties": properties}
        required = [key.name for key in self.keys.values() if key.required]
        if required:
            schema["required"] = required
        if self.requires:
            schema["dependentRequired"] = {key.name: [other.name] for key, other in self.requires}
        if self.some_of:
            schema["anyOf"] = [{"required": [key.name]} for key in self.some_of]
        if self.one_of:
            schema["oneOf"] = [{"required": [key.name]} for key in self.one_of]
        return schema

    def parts(self) -> tuple[Shape[Any], ...]:
        return tuple(key.shape for key in self.keys.values())


def _hint_to_add(key: Key[Any]) -> str:
    """The hint for a missing key: its name and its description."""
    return f"Add `{key.name}`. {key.description}"
