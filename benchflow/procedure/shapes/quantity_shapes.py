"""Shapes of quantities, limits and units in trade notation (:mod:`benchflow.quantity`)."""

import re

from benchflow.procedure.model import AboveReading, AskedLimit, Bound, EqualWithin, Fixed, Ref
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

ASK = "ask"
"""Written instead of a figure that is still to be filled in."""

# An editor's YAML loader reads a bare number as a number; where a unit is needed, reader and schema refuse it.
_WITH_UNIT: JsonSchema = {"type": "string", "pattern": r"\S"}
_MAYBE_COUNT: JsonSchema = {"type": ["string", "number"], "pattern": r"\S"}


def report_quantity_error(error: QuantityError, written: YamlScalar, context: ReadContext, shift: int = 0) -> None:
    """Report ``error`` at its character in the file. The faulty text begins at index ``shift`` of ``written``."""
    context.problem(error.code, written.at(shift + error.at), error.why, error.hint)


def read_quantity(written: YamlScalar, context: ReadContext, dimension: str | None) -> Quantity | None:
    """A quantity of the given dimension. ``None`` allows any dimension."""
    try:
        return parse_quantity(written.text, dimension=dimension)
    except QuantityError as error:
        report_quantity_error(error, written, context)
        return None


def read_quantity_or_count(written: YamlScalar, context: ReadContext) -> Quantity | None:
    """A quantity of any dimension, or a number without a unit."""
    try:
        return parse_quantity(written.text, dimension="")
    except QuantityError:
        return read_quantity(written, context, None)


def read_limit(
    written: YamlScalar, context: ReadContext, dimension: str | None, *, nominal: bool = False, difference: bool = False
) -> Limit | None:
    """A limit given by numbers. ``nominal`` also accepts one quantity, such as ``0.15 mm``."""
    try:
        return parse_limit(written.text, dimension=dimension, nominal=nominal, difference=difference)
    except QuantityError as error:
        report_quantity_error(error, written, context)
        return None


def read_bound_or_count(written: YamlScalar, context: ReadContext, *, difference: bool | None = False) -> Bound | None:
    """A limit in any form: of any dimension, or with numbers that have no unit.

    One number without a unit is refused. It is more likely a quantity whose unit is missing.
    """
    if written.text.strip() == ASK:
        return AskedLimit(written.mark)
    try:
        return Fixed(parse_limit(written.text, dimension="", nominal=False))
    except QuantityError:
        return read_bound(written, context, None, difference=difference)


def read_bound(
    written: YamlScalar, context: ReadContext, dimension: str | None, *, difference: bool | None = False
) -> Bound | None:
    """A limit in any form, including one relative to an earlier value.

    ``difference`` is true if the compared figure is a difference of temperatures, and ``None`` if that is not known
    yet. A relative limit and ``equal within`` are always differences.
    """
    text = written.text
    if text.strip() == ASK:
        return AskedLimit(written.mark)
    relative = _above.match(text)
    start = relative.end() if relative else 0
    try:
        if relative:
            context.mention("value", relative[1], written.at(relative.start(1)))
            return AboveReading(
                relative[1], parse_limit(text[start:], dimension=dimension, difference=True), text.strip()
            )
        equal = _equal.match(text)
        start = equal.end() if equal else 0
        return parse_plain_bound(text, dimension, difference=difference)
    except QuantityError as error:
        report_quantity_error(error, written, context, start)
        return None


def parse_plain_bound(text: str, dimension: str | None, *, difference: bool | None = False) -> Fixed | EqualWithin:
    """A limit given by numbers, or ``equal within``. The parameters are as in :func:`read_bound`.

    Raises:
        QuantityError: the text is neither. Its place counts from the figures of ``equal within``.
    """
    equal = _equal.match(text)
    if equal is None:
        return Fixed(parse_limit(text, dimension=dimension, difference=difference))
    figure = text[equal.end() :]
    spread = parse_quantity(figure, dimension=dimension, difference=True)
    return EqualWithin(spread, text.strip(), parse_limit(f"at most {figure}", dimension=dimension, difference=True))


class QuantityShape(Shape[Quantity]):
    """A quantity of one dimension."""

    def __init__(self, dimension: str) -> None:
        self.dimension = dimension
        self.noun = f"a quantity such as {units.EXAMPLES[dimension]}"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> Quantity | None:
        written = scalar(node, self.noun, context)
        return None if written is None else read_quantity(written, context, self.dimension)

    def schema(self, definitions: Definitions) -> JsonSchema:
        return dict(_WITH_UNIT)


class LimitShape(Shape[Limit]):
    """A limit of the given dimension. ``None`` allows any dimension.

    ``nominal`` also accepts one quantity, which means equal within half its last digit. ``difference`` is true for
    differences of temperatures, such as an uncertainty.
    """

    def __init__(self, dimension: str | None, example: str, *, nominal: bool = False, difference: bool = False) -> None:
        self.dimension, self.nominal, self.difference = dimension, nominal, difference
        self.noun = f"a limit such as {example}"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> Limit | None:
        written = scalar(node, self.noun, context)
        if written is None:
            return None
        return read_limit(written, context, self.dimension, nominal=self.nominal, difference=self.difference)

    def schema(self, definitions: Definitions) -> JsonSchema:
        return dict(_WITH_UNIT)


class RawTextShape(Shape[YamlScalar]):
    """A quantity, limit or formula as text. It is parsed later, when its unit is known."""

    def __init__(self, noun: str) -> None:
        self.noun = noun

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> YamlScalar | None:
        return scalar(node, self.noun, context)

    def schema(self, definitions: Definitions) -> JsonSchema:
        return dict(_MAYBE_COUNT)


class UnitShape(Shape[str]):
    """A unit in trade notation, read to its canonical symbol. ``count`` means a number without a unit."""

    noun = "a unit such as mm"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> str | None:
        written = scalar(node, self.noun, context)
        if written is None:
            return None
        if written.text.strip() in ("", "count"):
            return ""
        try:
            return unit_symbol(written.text)
        except QuantityError as error:
            report_quantity_error(error, written, context)
            return None

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"type": "string"}


class DimensionShape(Shape[str]):
    """The name of a dimension, such as length: a key under `units`."""

    noun = "a dimension such as length"
    known = tuple(units.BASES)

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> str | None:
        written = scalar(node, self.noun, context)
        if written is None:
            return None
        if written.text not in self.known:
            context.problem(
                "unknown-key",
                written.mark,
                f"`{written.text}` is not a known dimension",
                hint_for(written.text, self.known),
            )
            return None
        return written.text

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"enum": list(self.known)}


class DisplayUnitShape(UnitShape):
    """The unit that quantities of a dimension are shown in. The key names the dimension."""

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> str | None:
        symbol = super().read(node, context, name)
        if symbol is None or name.name not in DimensionShape.known:
            return symbol
        dimension = dimension_of(symbol)
        if dimension != name.name:
            kind = f"a unit of {dimension}" if dimension else "a number without a unit"
            context.problem(
                "wrong-dimension",
                node.mark,
                f"`{symbol or 'count'}` is {kind}, but a unit of {name.name} is expected",
                f"Write, for example, `{units.BASES[name.name]}`",
            )
            return None
        return symbol
