"""Mappings with known keys: each key said once, with its shape and what it means."""

import json
import re
from collections.abc import Callable
from typing import Any, Generic, TypeVar, cast

from benchflow.procedure.model import Mark, Ref
from benchflow.procedure.problems import hint_for
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
_needs_quotes = re.compile(r"[\[\]{},:#\"'&*!|>%@`]")


class Key(Generic[T]):
    """``says`` is the key's entry in the JSON Schema and the author's guide. ``examples`` are values as written."""

    def __init__(
        self, name: str, shape: Shape[T], says: str, *, required: bool = False, examples: tuple[Any, ...] = ()
    ) -> None:
        self.name, self.shape, self.says, self.required, self.examples = name, shape, says, required, examples


class Fields:
    """What was read under known keys. A key that is absent, or whose value could not be read, gives ``None``."""

    def __init__(self, node: YamlMapping, name: Ref, notes: ReadContext) -> None:
        self.node, self.name, self.notes = node, name, notes
        self.values: dict[str, object] = {}
        self.nodes: dict[str, YamlNode] = {}

    def get(self, key: Key[T]) -> T | None:
        return cast("T | None", self.values.get(key.name))

    def has(self, key: Key[T], default: T) -> T:
        value = self.values.get(key.name)
        return default if value is None else cast("T", value)

    def wrote(self, key: Key[Any]) -> bool:
        """Whether the author wrote the key at all."""
        return key.name in self.nodes

    def at(self, key: Key[Any]) -> Mark:
        """The place of the key's value; of the whole mapping where the key is absent."""
        node = self.nodes.get(key.name)
        return self.node.mark if node is None else node.mark

    @property
    def mark(self) -> Mark:
        """The place of the entry: of its name where it has one."""
        return self.name.mark if self.name is not NOWHERE else self.node.mark

    def problem(self, code: str, key: Key[Any], message: str, hint: str = "") -> None:
        self.notes.problem(code, self.at(key), message, hint)


class KeyedShape(Shape[B]):
    """A mapping with known keys, made into a value by ``build``.

    ``name`` is the definition's name in the JSON Schema. ``one_of`` lists keys of which exactly one is to be
    written; ``beside`` pairs a key with the one that it cannot be without. ``advice`` gives a hint for a key that
    people write and that is not one of ours.
    """

    def __init__(
        self,
        name: str,
        noun: str,
        keys: tuple[Key[Any], ...],
        build: Callable[[Fields], B | None],
        *,
        one_of: tuple[Key[Any], ...] = (),
        beside: tuple[tuple[Key[Any], Key[Any]], ...] = (),
        advice: dict[str, str] | None = None,
    ) -> None:
        self.name, self.noun, self.build, self.one_of, self.beside = name, noun, build, one_of, beside
        self.keys = {key.name: key for key in keys}
        self.advice = advice or {}

    def read(self, node: YamlNode, notes: ReadContext, name: Ref = NOWHERE) -> B | None:
        if not isinstance(node, YamlMapping):
            wrong_kind(node, f"{self.noun} (keys with values)", notes, self._with_keys(node))
            return None
        fields = Fields(node, name, notes)
        for key, child in node.pairs:
            if notes.problems.full:
                break
            known = self.keys.get(key.text)
            if known is None:
                self._unknown(key, node, notes)
            else:
                fields.nodes[key.text] = child
                fields.values[key.text] = known.shape.read(child, notes)
        self._missing(fields)
        return self.build(fields)

    def _with_keys(self, node: YamlNode) -> str:
        """How a text that stands alone would be written with keys: ``hold: inspector`` as ``{by: inspector}``."""
        if not isinstance(node, YamlScalar):
            return ""
        must = [key.name for key in self.keys.values() if key.required] or [*self.keys][:1]
        text = short(node.text)
        text = json.dumps(text, ensure_ascii=False) if _needs_quotes.search(text) else text
        inside = f"{must[0]}: {text}" if len(must) == 1 else ", ".join(f"{name}: ..." for name in must)
        return f"write it with keys, such as {{{inside}}}"

    def _unknown(self, key: YamlScalar, node: YamlMapping, notes: ReadContext) -> None:
        hint = self.advice.get(key.text, "")
        if key.text == "<<":
            hint = "nothing is merged in here: write the keys out"
        if not hint and node.flow and key.text[:1].isdigit():
            hint = (
                "inside {...} a comma begins a new key; a decimal is written with a point, a text with commas in quotes"
            )
        if not hint:
            hint = hint_for(key.text, self.keys)
        notes.problem("unknown-key", key.mark, f"{self.noun} has no key `{key.text}`", hint)

    def _missing(self, fields: Fields) -> None:
        place = fields.mark
        for key in self.keys.values():
            if key.required and not fields.wrote(key):
                fields.notes.problem("missing-key", place, f"{self.noun} needs the key `{key.name}`", key.says)
        for key, other in self.beside:
            if fields.wrote(key) and not fields.wrote(other):
                fields.problem("missing-key", key, f"`{key.name}` stands beside `{other.name}`", other.says)
        if self.one_of:
            written = [key.name for key in self.one_of if fields.wrote(key)]
            names = " or ".join(f"`{key.name}`" for key in self.one_of)
            if not written:
                fields.notes.problem("missing-key", place, f"{self.noun} needs {names}")
            elif len(written) > 1:
                again = fields.nodes[written[1]].mark
                fields.notes.problem("one-too-many", again, f"{self.noun} has only one of {names}", "keep one of them")

    def schema(self, definitions: Definitions) -> JsonSchema:
        return definitions.refer(self.name, lambda: self._schema(definitions))

    def _schema(self, definitions: Definitions) -> JsonSchema:
        properties: JsonSchema = {}
        for key in self.keys.values():
            properties[key.name] = {**key.shape.schema(definitions), "description": key.says}
            if key.examples:
                properties[key.name]["examples"] = list(key.examples)
        schema: JsonSchema = {"type": "object", "additionalProperties": False, "properties": properties}
        required = [key.name for key in self.keys.values() if key.required]
        if required:
            schema["required"] = required
        if self.beside:
            schema["dependentRequired"] = {key.name: [other.name] for key, other in self.beside}
        if self.one_of:
            schema["oneOf"] = [{"required": [key.name]} for key in self.one_of]
        return schema

    def parts(self) -> tuple[Shape[Any], ...]:
        return tuple(key.shape for key in self.keys.values())
