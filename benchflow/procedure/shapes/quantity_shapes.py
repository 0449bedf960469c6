"""Shapes for quantities, limits and units: trade notation by :mod:`benchflow.quantity`, each error at its place."""

import re

from benchflow.procedure.model import AboveReading, Bound, EqualWithin, Fixed, Ref
from benchflow.procedure.problems import hint_for
from benchflow.procedure.shapes.basic_shapes import NAME
from benchflow.procedure.shapes.shape_base import NOWHERE, Definitions, JsonSchema, ReadContext, Shape, scalar
from benchflow.procedure.yaml_source.yaml_nodes import YamlNode, YamlScalar
from benchflow.quantity import (
    Limit,
    Quantity,
    QuantityError,
    dimension_of,
    parse_limit,
    parse_quantity,
    unit_symbol,
    units,
)

_above = re.compile(rf"\s*above\s+({NAME}(?:\[[^\[\]]*\])?)\s+by\s+(?=\S)")
_equal = re.compile(r"\s*equal\s+within\s+(?=\S)")

# A number alone is read by an editor's YAML loader as a number; where a unit is wanted it is refused by both.
_WITH_UNIT: JsonSchema = {"type": "string", "pattern": r"\S"}
_MAYBE_COUNT: JsonSchema = {"type": ["string", "number"], "pattern": r"\S"}


def report(error: QuantityError, found: YamlScalar, notes: ReadContext, shift: int = 0) -> None:
    """``error`` at its character in the author's file; ``shift`` is where its text begins in ``found``."""
    notes.problem(error.code, found.at(shift + error.at), f"`{found.text.strip()[:60]}`: {error.why}", error.hint)


def quantity(found: YamlScalar, notes: ReadContext, dimension: str | None) -> Quantity | None:
    try:
        return parse_quantity(found.text, dimension=dimension)
    except QuantityError as error:
        report(error, found, notes)
        return None


def quantity_or_count(found: YamlScalar, notes: ReadContext) -> Quantity | None:
    """A quantity of any kind, or a bare number."""
    try:
        return parse_quantity(found.text, dimension="")
    except QuantityError:
        return quantity(found, notes, None)


def limit(found: YamlScalar, notes: ReadContext, dimension: str | None) -> Limit | None:
    try:
        return parse_limit(found.text, dimension=dimension)
    except QuantityError as error:
        report(error, found, notes)
        return None


def bound_or_count(found: YamlScalar, notes: ReadContext) -> Bound | None:
    """A limit in any of its forms and of any kind, or one of bare numbers."""
    try:
        return Fixed(parse_limit(found.text, dimension=""))
    except QuantityError:
        return bound(found, notes, None)


def bound(found: YamlScalar, notes: ReadContext, dimension: str | None) -> Bound | None:
    """A limit in any of its forms, those that lean on an earlier reading among them."""
    text = found.text
    lean = _above.match(text)
    equal = _equal.match(text)
    start = lean.end() if lean else equal.end() if equal else 0
    try:
        if lean:
            notes.mention("value", lean[1], found.at(lean.start(1)))
            return AboveReading(lean[1], parse_limit(text[start:], dimension=dimension), text.strip())
        if equal:
            return EqualWithin(parse_quantity(text[start:], dimension=dimension), text.strip())
        return Fixed(parse_limit(text, dimension=dimension))
    except QuantityError as error:
        report(error, found, notes, start)
        return None


class QuantityShape(Shape[Quantity]):
    """A quantity of one dimension."""

    def __init__(self, dimension: str) -> None:
        self.dimension = dimension
        self.noun = f"a quantity such as {units.EXAMPLES[dimension]}"

    def read(self, node: YamlNode, notes: ReadContext, name: Ref = NOWHERE) -> Quantity | None:
        found = scalar(node, self.noun, notes)
        return None if found is None else quantity(found, notes, self.dimension)

    def schema(self, definitions: Definitions) -> JsonSchema:
        return dict(_WITH_UNIT)


class LimitShape(Shape[Limit]):
    """A limit; of one dimension, or of any where ``dimension`` is ``None``."""

    def __init__(self, dimension: str | None, example: str) -> None:
        self.dimension = dimension
        self.noun = f"a limit such as {example}"

    def read(self, node: YamlNode, notes: ReadContext, name: Ref = NOWHERE) -> Limit | None:
        found = scalar(node, self.noun, notes)
        return None if found is None else limit(found, notes, self.dimension)

    def schema(self, definitions: Definitions) -> JsonSchema:
        return dict(_WITH_UNIT)


class RawTextShape(Shape[YamlScalar]):
    """A quantity, limit or formula as it is written, to be read when its unit is known."""

    def __init__(self, noun: str) -> None:
        self.noun = noun

    def read(self, node: YamlNode, notes: ReadContext, name: Ref = NOWHERE) -> YamlScalar | None:
        return scalar(node, self.noun, notes)

    def schema(self, definitions: Definitions) -> JsonSchema:
        return dict(_MAYBE_COUNT)


class UnitShape(Shape[str]):
    """A unit as the trade writes it, read to its canonical symbol. ``count`` is the word for a bare number."""

    noun = "a unit such as mm"

    def read(self, node: YamlNode, notes: ReadContext, name: Ref = NOWHERE) -> str | None:
        found = scalar(node, self.noun, notes)
        if found is None:
            return None
        if found.text.strip() in ("", "count"):
            return ""
        try:
            return unit_symbol(found.text)
        except QuantityError as error:
            report(error, found, notes)
            return None

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"type": "string"}


class DimensionShape(Shape[str]):
    """What a quantity is a quantity of, in one word: the key under `units`."""

    noun = "a kind of quantity such as length"
    known = tuple(units.BASES)

    def read(self, node: YamlNode, notes: ReadContext, name: Ref = NOWHERE) -> str | None:
        found = scalar(node, self.noun, notes)
        if found is None:
            return None
        if found.text not in self.known:
            notes.problem(
                "unknown-key", found.mark, f"`{found.text}` is no kind of quantity", hint_for(found.text, self.known)
            )
            return None
        return found.text

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"enum": list(self.known)}


class DisplayUnitShape(UnitShape):
    """The unit in which quantities of its key's kind are shown."""

    def read(self, node: YamlNode, notes: ReadContext, name: Ref = NOWHERE) -> str | None:
        symbol = super().read(node, notes, name)
        if symbol is None or name.name not in DimensionShape.known:
            return symbol
        found = dimension_of(symbol)
        if found != name.name:
            what = f"a unit of {found}" if found else "a bare number"
            notes.problem(
                "wrong-dimension",
                node.mark,
                f"`{symbol}` is {what}, not of {name.name}",
                f"such as {units.BASES[name.name]}",
            )
            return None
        return symbol
