"""Shapes of texts, names, numbers, lists and mappings.

A :class:`Shape` reads a YAML node, reports its problems, and gives the JSON Schema for it. The reader and the schema
therefore agree. Mappings with fixed keys are in :mod:`benchflow.procedure.shapes.keyed_shapes`, quantities and
limits in :mod:`benchflow.procedure.shapes.quantity_shapes`.
"""

import re
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any, Generic, TypeVar

from benchflow.base.plaintext import clean_line, listed
from benchflow.procedure.model import Ref
from benchflow.procedure.placeholders import PLACEHOLDER
from benchflow.procedure.problems import nearest
from benchflow.procedure.shapes.examples_from_text import mapping_hint, plain_entry_hint
from benchflow.procedure.shapes.shape_base import (
    NOWHERE,
    Definitions,
    JsonSchema,
    ReadContext,
    Shape,
    scalar,
    short,
    wrong_kind,
)
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, YamlScalar, YamlSequence

T = TypeVar("T")
S = TypeVar("S")

NAME = "[A-Za-z0-9][A-Za-z0-9_-]*"
"""A name: letters, digits, dashes and underscores, so that it can be typed anywhere and used in a formula."""
_exponent = re.compile(r"[0-9]+[eE][0-9-]+")  # an editor reads 12e3 as a number
_PLACE = r"[^\[\]{},*]*[^\[\]{},*\s][^\[\]{},*]*"
_place = re.compile(_PLACE)

# An editor reads some unquoted texts as numbers or booleans; the reader keeps them as texts.
TEXT_SCHEMA: JsonSchema = {"type": ["string", "number", "boolean"]}


class TextShape(Shape[str]):
    """A text that is not blank, on one line unless ``lines`` is true.

    A ``filled`` text may contain a placeholder such as ``{cylinder}`` under `each`. ``longest`` is the largest number
    of characters, if it is limited.
    """

    def __init__(
        self, noun: str = "a text", *, lines: bool = False, filled: bool = False, longest: int | None = None
    ) -> None:
        self.noun, self.lines, self.filled, self.longest = noun, lines, filled, longest

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> str | None:
        found = scalar(node, self.noun, context)
        if found is None:
            return None
        text = found.text.strip("\n").rstrip() if self.lines else clean_line(found.text)
        if not text.strip():
            context.problem(
                "empty-value",
                found.mark,
                f"The text is empty, but {self.noun} is expected",
                "Write it, or delete the key",
            )
            return None
        if self.longest is not None and len(text) > self.longest:
            context.problem(
                "too-long",
                found.mark,
                f"`{short(text)}` has {len(text)} characters, but {self.noun} has at most {self.longest}",
                "Shorten it",
            )
            return None
        if self.filled and "{" in text:
            for found_word in PLACEHOLDER.finditer(found.text):
                if found_word[1] is not None:
                    context.placeholders.append((found_word[1], found.at(found_word.start())))
        return text

    def schema(self, definitions: Definitions) -> JsonSchema:
        schema: JsonSchema = {**TEXT_SCHEMA, "pattern": r"\S"}
        return schema if self.longest is None else {**schema, "maxLength": self.longest}


LINE = TextShape()
PARAGRAPH = TextShape(lines=True)
FILLED_LINE = TextShape(filled=True)
FILLED_PARAGRAPH = TextShape(lines=True, filled=True)


class LabelShape(Shape[str]):
    """A short word or number: a place, a value of a state variable, a choice.

    It contains no brackets, braces, commas or stars, because a place is written ``seat[1]``.
    """

    noun = "a short word"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> str | None:
        found = scalar(node, self.noun, context)
        if found is None:
            return None
        text = clean_line(found.text)
        if _place.fullmatch(text) is None:
            context.problem(
                "bad-name",
                found.mark,
                f"`{short(text)}` cannot name a value or a place",
                "Write a word without brackets, braces, commas or stars",
            )
            return None
        return text

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {**TEXT_SCHEMA, "pattern": f"^{_PLACE}$"}


LABEL = LabelShape()


class NameShape(Shape[str]):
    """A name that the author defines. ``pattern`` is its regular expression. ``rule`` explains it in hints."""

    noun = "a name"

    def __init__(self, pattern: str, rule: str) -> None:
        self.pattern, self.rule, self._fits = pattern, rule, re.compile(pattern)

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> str | None:
        found = scalar(node, self.noun, context)
        if found is None:
            return None
        if self._fits.fullmatch(found.text) is None or _exponent.fullmatch(found.text):
            near = re.sub(r"[^A-Za-z0-9_]+", "-", found.text).strip("-_")[:40]
            hint = f"{self.rule}, for example `{near}`" if self._fits.fullmatch(near) else self.rule
            context.problem("bad-name", found.mark, f"`{short(found.text)}` is not a valid name", hint)
            return None
        return found.text

    def schema(self, definitions: Definitions) -> JsonSchema:
        # An editor reads some unquoted names as numbers or booleans. A negative number is not a name: it begins with -.
        return {"type": ["string", "integer", "boolean"], "pattern": f"^{self.pattern}$", "minimum": 0}


_NAME_RULE = "Use the letters a to z, digits, dashes and underscores"
NAMED = NameShape(NAME, _NAME_RULE)
VALUE_NAMED = NameShape(r"[A-Za-z][A-Za-z0-9_]*(-+[A-Za-z0-9_]+)*", f"{_NAME_RULE}, and begin with a letter")
"""The name of a value, as it can be used in a formula."""


class WordShape(Shape[str]):
    """One of a fixed set of words."""

    def __init__(self, *words: str) -> None:
        self.words = words
        self.noun = listed([f"`{word}`" for word in words], "or")

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> str | None:
        found = scalar(node, self.noun, context)
        if found is None:
            return None
        if found.text not in self.words:
            near = nearest(found.text, self.words)
            context.problem(
                "not-one-of",
                found.mark,
                f"`{short(found.text)}` is not possible here",
                f"Did you mean `{near}`?" if near else f"Write {self.noun}",
            )
            return None
        return found.text

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"enum": list(self.words)}


class BooleanShape(Shape[bool]):
    """``true`` or ``false``, without quotes."""

    noun = "true or false"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> bool | None:
        found = scalar(node, self.noun, context)
        if found is None:
            return None
        if not found.plain or found.text not in ("true", "false"):
            if found.text in ("true", "false"):
                hint = "Remove the quotes"
            else:
                yes = found.text.casefold() in ("yes", "on", "y", "1")
                hint = "Write true" if yes else "Write true, or delete the key"
            context.problem("not-one-of", found.mark, f"`{short(found.text)}` is neither true nor false", hint)
            return None
        return found.text == "true"

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"type": "boolean"}


class IntegerShape(Shape[int]):
    """An integer from ``low`` to ``high``, in digits."""

    def __init__(self, low: int, high: int) -> None:
        self.low, self.high = low, high
        self.noun = f"a whole number from {low} to {high}"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> int | None:
        found = scalar(node, self.noun, context)
        if found is None:
            return None
        number = integer(found.text)
        if number is None or not self.low <= number <= self.high:
            context.problem(
                "bad-number", found.mark, f"`{short(found.text)}` is not possible here", f"Write {self.noun}"
            )
            return None
        return number

    def schema(self, definitions: Definitions) -> JsonSchema:
        numbers = "|".join(str(number) for number in range(self.low, self.high + 1))
        as_number = {"type": "integer", "minimum": self.low, "maximum": self.high}
        return {"anyOf": [as_number, {"type": "string", "pattern": f"^0*({numbers})$"}]}


def integer(text: str) -> int | None:
    """``text`` as a number if it is one to nine digits, otherwise ``None``."""
    return int(text) if 0 < len(text) <= 9 and text.isascii() and text.isdigit() else None


class FactorShape(Shape[Decimal]):
    """A decimal number above zero, without a unit; its digits are kept. ``within`` are its lowest and highest value."""

    noun = "a decimal number"
    _number = re.compile(r"[0-9]{0,9}\.?[0-9]{1,20}")

    def __init__(self, within: tuple[str, str] | None = None) -> None:
        self.within = within

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> Decimal | None:
        found = scalar(node, self.noun, context)
        if found is None:
            return None
        if self._number.fullmatch(found.text) is None or not Decimal(found.text):
            hint = "Write a decimal point instead of the comma" if "," in found.text else "Write, for example, `0.15`"
            context.problem("bad-number", found.mark, f"`{short(found.text)}` is not a number above zero", hint)
            return None
        if self.within is not None and not Decimal(self.within[0]) <= Decimal(found.text) <= Decimal(self.within[1]):
            low, high = self.within
            message = f"`{short(found.text)}` is not possible here: it has to be from {low} to {high}"
            context.problem("bad-number", found.mark, message, f"Write {low} to {high}")
            return None
        return Decimal(found.text)

    def schema(self, definitions: Definitions) -> JsonSchema:
        as_text = {"type": "string", "pattern": r"^[0-9]{0,9}\.?[0-9]{1,20}$"}
        number: JsonSchema = {"type": "number", "exclusiveMinimum": 0}
        if self.within is not None:
            number = {"type": "number", "minimum": float(self.within[0]), "maximum": float(self.within[1])}
            if Decimal(self.within[1]) < 1:  # a pattern cannot compare, but it can refuse what is too large by far
                as_text = {"type": "string", "pattern": r"^0{0,9}\.[0-9]{1,20}$"}
        return {"anyOf": [number, as_text]}


class ListShape(Shape[tuple[T, ...]]):
    """A list. ``single`` also accepts one item without brackets; ``distinct`` refuses an item that occurs twice."""

    def __init__(self, item: Shape[T], *, single: bool = False, at_least: int = 0, distinct: bool = False) -> None:
        self.item, self.single, self.at_least, self.distinct = item, single, at_least, distinct
        self.noun = f"{item.noun} or a list of them" if single else f"a list in which each item is {item.noun}"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> tuple[T, ...] | None:
        if not isinstance(node, YamlSequence):
            if self.single and not (isinstance(node, YamlScalar) and node.is_empty):
                only = self.item.read(node, context, name)
                return None if only is None else (only,)
            wrong_kind(node, self.noun, context, "Write a list in brackets, such as `[one, two]`")
            return None
        if len(node.items) < self.at_least:
            wanted = "one item" if self.at_least == 1 else f"{self.at_least} items"
            context.problem("too-few", node.mark, f"The list needs at least {wanted}", f"Add {self.item.noun}")
        items: list[T] = []
        for child in node.items:
            if context.problems.full:
                break
            item = self.item.read(child, context, name)
            if item is None:
                continue
            if self.distinct and item in items:
                context.problem("duplicate-item", child.mark, f"`{item}` is in the list twice", "Delete one of them")
                continue
            items.append(item)
        return tuple(items)

    def schema(self, definitions: Definitions) -> JsonSchema:
        item = self.item.schema(definitions)
        many: JsonSchema = {"type": "array", "items": item}
        if self.at_least:
            many["minItems"] = self.at_least
        if self.distinct:
            many["uniqueItems"] = True
        return {"anyOf": [item, many]} if self.single else many

    def parts(self) -> tuple[Shape[Any], ...]:
        return (self.item,)

    def chosen_node(self, node: YamlNode, context: ReadContext) -> YamlNode:
        if not isinstance(node, YamlSequence):
            return node
        items = [self.item.chosen_node(child, context) for child in node.items]
        return YamlSequence(items, node.line, node.column)


MERGE = "<<"
MERGE_PROBLEM = f"The merge key `{MERGE}` is not supported"
MERGE_HINT = "Write the keys here"


class MapShape(Shape[dict[str, T]]):
    """A mapping with names that the author chooses. ``key`` is the shape of a name, ``value`` that of its entry.

    ``text_hint`` makes the hint for a text instead of a mapping from that text.
    """

    def __init__(
        self,
        value: Shape[T],
        noun: str,
        *,
        key: Shape[str] = NAMED,
        at_least: int = 0,
        text_hint: Callable[[str], str] = plain_entry_hint,
    ) -> None:
        self.key, self.value, self.noun, self.at_least, self.text_hint = key, value, noun, at_least, text_hint

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> dict[str, T] | None:
        if not isinstance(node, YamlMapping):
            wrong_kind(node, f"a mapping of {self.noun}", context, mapping_hint(node, self.text_hint))
            return None
        if len(node.pairs) < self.at_least:
            context.problem("too-few", node.mark, "The mapping is empty", f"Write {self.noun}")
        entries: dict[str, T] = {}
        for key, child in node.pairs:
            if context.problems.full:
                break
            if key.text == MERGE:
                context.problem("bad-key", key.mark, MERGE_PROBLEM, MERGE_HINT)
                continue
            read_key = self.key.read(key, context)
            value = self.value.read(child, context, Ref(read_key or key.text, key.mark))
            if read_key is None or value is None:
                context.unreadable_names.add(key.text)
            else:
                entries[read_key] = value
        return entries

    def schema(self, definitions: Definitions) -> JsonSchema:
        keys = self.key.schema(definitions)
        schema: JsonSchema = {"type": "object", "additionalProperties": self.value.schema(definitions)}
        if keys != {"type": "string"}:
            schema["propertyNames"] = keys
        if self.at_least:
            schema["minProperties"] = self.at_least
        return schema

    def parts(self) -> tuple[Shape[Any], ...]:
        return (self.key, self.value)


class TransformedShape(Shape[T], Generic[S, T]):
    """A value that ``shape`` reads and ``make(value, node, name, context)`` transforms."""

    def __init__(
        self, shape: Shape[S], make: Callable[[S, YamlNode, Ref, ReadContext], T | None], noun: str = ""
    ) -> None:
        self.shape, self.make = shape, make
        self.noun = noun or shape.noun

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> T | None:
        value = self.shape.read(node, context, name)
        return None if value is None else self.make(value, node, name, context)

    def schema(self, definitions: Definitions) -> JsonSchema:
        return self.shape.schema(definitions)

    def parts(self) -> tuple[Shape[Any], ...]:
        return (self.shape,)

    def chosen_node(self, node: YamlNode, context: ReadContext) -> YamlNode:
        return self.shape.chosen_node(node, context)


class EitherShape(Shape[T]):
    """A choice of shapes by the kind of the node: ``text``, ``items`` for a list, ``entries`` for a mapping."""

    def __init__(
        self,
        noun: str,
        *,
        text: Shape[T] | None = None,
        items: Shape[T] | None = None,
        entries: Shape[T] | None = None,
    ) -> None:
        self.noun = noun
        self._by_kind: Mapping[type, Shape[T] | None] = {YamlScalar: text, YamlSequence: items, YamlMapping: entries}

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> T | None:
        shape = self._by_kind[type(node)]
        if shape is None or (isinstance(node, YamlScalar) and node.is_empty):
            wrong_kind(node, self.noun, context)
            return None
        return shape.read(node, context, name)

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"anyOf": [shape.schema(definitions) for shape in self.parts()]}

    def parts(self) -> tuple[Shape[Any], ...]:
        return tuple(shape for shape in self._by_kind.values() if shape is not None)
