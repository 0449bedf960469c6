"""The shape of a figure or text that may still have to be filled in: the word `ask`."""

from typing import Any, TypeVar

from msgspec import Struct

from benchflow.procedure.model import Mark, Ref
from benchflow.procedure.shapes.quantity_shapes import ASK
from benchflow.procedure.shapes.shape_base import NOWHERE, Definitions, JsonSchema, ReadContext, Shape
from benchflow.procedure.yaml_source.yaml_nodes import YamlNode, YamlScalar

T = TypeVar("T")

NOT_GIVEN_YET = "to be filled in"
"""What is shown instead of a figure that is still to be filled in."""


class AskedText(Struct, frozen=True):
    """A text that is still to be filled in, and where it is asked for."""

    mark: Mark


class FigureOrAskShape(Shape[T | AskedText]):
    """What ``inner`` reads, or `ask`."""

    def __init__(self, inner: Shape[T]) -> None:
        self.inner, self.noun = inner, f"{inner.noun}, or `ask`"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> T | AskedText | None:
        if isinstance(node, YamlScalar) and node.text.strip() == ASK:
            return AskedText(node.mark)
        return self.inner.read(node, context, name)

    def schema(self, definitions: Definitions) -> JsonSchema:
        return self.inner.schema(definitions)

    def parts(self) -> tuple[Shape[Any], ...]:
        return (self.inner,)
