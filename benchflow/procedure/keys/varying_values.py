"""Reads a value once for each of its readings, where its limit or its instrument varies by the readings' places."""

from typing import Any

from msgspec.structs import replace

from benchflow.procedure.model import CalculatedValue, EqualWithin, ReadingTerms, RecordedValue, Ref
from benchflow.procedure.shapes.by_shapes import read_variants
from benchflow.procedure.shapes.shape_base import NOWHERE, Definitions, JsonSchema, ReadContext, Shape
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, YamlScalar


class VaryingRecord(Shape[RecordedValue]):
    """A recorded value. Its limits and its instrument can vary by the set of places that `readings` names."""

    def __init__(self, keys: Shape[RecordedValue]) -> None:
        self.keys, self.noun = keys, keys.noun

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> RecordedValue | None:
        slots = _readings_set(node)
        varying = context.varying
        if slots not in context.place_sets:
            return self.keys.read(node, context, name)
        varying.readings = (slots,)
        found = read_variants(lambda: self.keys.read(node, context, name), lambda met: met == slots, context)
        varying.readings = ()
        first: RecordedValue | None = None if found is None else found[0].value
        if found is None or len(found) == 1 or first is None:
            return first
        terms = {
            one.choices[slots]: ReadingTerms(one.value.bound, one.value.used, one.value.instrument, one.value.with_more)
            for one in found
            if one.value is not None
        }
        together = first.judge != "all" or any(isinstance(bound, EqualWithin) for one in terms.values()
                                               for bound in (one.bound, one.used))  # fmt: skip
        if together and len({(one.bound, one.used) for one in terms.values()}) > 1:
            what = "`equal within`" if first.judge == "all" else f"`judge: {first.judge}`"
            message = f"The limit varies by reading, but {what} compares one figure of all readings"
            context.problem("which-reading", name.mark, message, "Write one limit, or `judge: all`")
        if any(one.value is not None and one.value.also != first.also for one in found):
            message = "A further limit (`also`) varies by reading, but it is about all readings"
            context.problem("which-reading", name.mark, message, "Write one limit for all readings")
        return replace(first, by_reading=terms)

    def schema(self, definitions: Definitions) -> JsonSchema:
        return self.keys.schema(definitions)

    def parts(self) -> tuple[Shape[Any], ...]:
        return (self.keys,)


def _readings_set(node: YamlNode) -> str:
    """What `readings` names, as written; "" if it is not a name."""
    pairs = node.pairs if isinstance(node, YamlMapping) else []
    texts = (value.text for key, value in pairs if key.text == "readings" and isinstance(value, YamlScalar))
    return next(texts, "")


class VaryingWorkOut(Shape[CalculatedValue]):
    """A calculated value. Its limit can vary by a set of places that readings are named after.

    Whether the value is calculated for these readings is known, and checked, when the whole file is read.
    """

    def __init__(self, keys: Shape[CalculatedValue]) -> None:
        self.keys, self.noun = keys, keys.noun

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> CalculatedValue | None:
        varying = context.varying
        sets = tuple(one for one in context.place_sets if one not in varying.sets)
        varying.readings = sets
        found = read_variants(lambda: self.keys.read(node, context, name), lambda met: met in sets, context)
        varying.readings = ()
        first: CalculatedValue | None = None if found is None else found[0].value
        if found is None or len(found) == 1 or first is None:
            return first
        named = list(dict.fromkeys(one for variant in found for one in variant.choices))
        if len(named) > 1:
            message = f"The limit varies by `{named[0]}` and by `{named[1]}`, but a value has one set of readings"
            context.problem("which-reading", name.mark, message, "Name one of the two")
            return first
        terms = {one.choices[named[0]]: ReadingTerms(one.value.bound) for one in found if one.value is not None}
        return replace(first, by_reading=terms, limit_set=named[0])

    def schema(self, definitions: Definitions) -> JsonSchema:
        return self.keys.schema(definitions)

    def parts(self) -> tuple[Shape[Any], ...]:
        return (self.keys,)
