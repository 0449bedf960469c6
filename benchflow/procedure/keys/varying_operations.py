"""Reads an operation once for each combination of choices, where something in it is written with `{by: ...}`."""

from typing import Any, TypeVar

from msgspec.structs import replace

from benchflow.base.plaintext import clean_line
from benchflow.procedure.model import Operation, OperationVariant, Ref
from benchflow.procedure.shapes.by_shapes import MOST_VARIANTS, read_variants
from benchflow.procedure.shapes.shape_base import NOWHERE, Definitions, JsonSchema, ReadContext, Shape
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, YamlScalar

T = TypeVar("T")


class RepeatedShape(Shape[T]):
    """What ``keys`` reads. If it has `each`, `by` may name that set of places everywhere in it."""

    def __init__(self, keys: Shape[T]) -> None:
        self.keys, self.noun = keys, keys.noun

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> T | None:
        varying, outer = context.varying, context.varying.sets
        each = _written_each(node)
        varying.sets = (*outer, each) if each in context.place_sets else outer
        try:
            return self._read_inside(node, context, name)
        finally:
            varying.sets = outer

    def _read_inside(self, node: YamlNode, context: ReadContext, name: Ref) -> T | None:
        return self.keys.read(node, context, name)

    def schema(self, definitions: Definitions) -> JsonSchema:
        return self.keys.schema(definitions)

    def parts(self) -> tuple[Shape[Any], ...]:
        return (self.keys,)


class VaryingOperation(RepeatedShape[Operation]):
    """An operation, read once for each combination of the choices of options and places that its `by` names."""

    def _read_inside(self, node: YamlNode, context: ReadContext, name: Ref) -> Operation | None:
        found = read_variants(lambda: self.keys.read(node, context, name), lambda _: True, context)
        if found is None:
            message = f"`by` gives this operation more than {MOST_VARIANTS} variants"
            context.problem("too-large", node.mark, message, "Name fewer options in one operation, or split it")
            return None
        first: Operation | None = found[0].value
        if len(found) == 1 or first is None:
            return first
        variants = []
        for one in found:
            if one.value is None:
                continue
            variants.append(OperationVariant(one.choices, one.value))
            context.variant_nodes[first.mark, tuple(one.choices.items())] = one.nodes
        return replace(first, variants=tuple(variants))


def _written_each(node: YamlNode) -> str:
    """The set of places that something is repeated over, as written; "" if there is none."""
    pairs = node.pairs if isinstance(node, YamlMapping) else []
    texts = (value.text for key, value in pairs if key.text == "each" and isinstance(value, YamlScalar))
    return clean_line(next(texts, ""))
