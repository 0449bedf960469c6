"""The key `tolerance` of a joint and of `tighten`: how far a reading may be from a stage that is one quantity."""

from benchflow.base.plaintext import with_article
from benchflow.procedure.model import Ref, TickTolerance
from benchflow.procedure.shapes.basic_shapes import EitherShape
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
from benchflow.procedure.shapes.quantity_shapes import read_quantity
from benchflow.procedure.shapes.shape_base import NOWHERE, Definitions, JsonSchema, ReadContext, Shape, scalar
from benchflow.procedure.yaml_source.yaml_nodes import YamlNode
from benchflow.quantity import Quantity, base, dimension_of

_KINDS = ("torque", "angle", "length")


class _Amount(Shape[Quantity]):
    """A tolerance: a percentage, or a quantity of one of the ``kinds``. It is above zero."""

    def __init__(self, kinds: tuple[str, ...], example: str) -> None:
        self.kinds, self.example = kinds, example
        self.noun = f"a tolerance such as {example}"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> Quantity | None:
        written = scalar(node, self.noun, context)
        found = None if written is None else read_quantity(written, context, None)
        if written is None or found is None:
            return None
        kind, text = dimension_of(found.unit), written.text.strip()[:40]
        if kind not in ("fraction", *self.kinds):
            message = f"`{text}` is {with_article(kind) if kind else 'a number without a unit'}, not {self.noun}"
            context.problem("wrong-dimension", written.mark, message, f"Write, for example, `{self.example}`")
            return None
        if base(found) <= 0 or (kind == "fraction" and base(found) >= 1):
            message = f"`{text}` is not a tolerance: it has to be above zero, and a percentage below 100 %"
            context.problem("bad-quantity", written.mark, message, f"Write, for example, `{self.example}`")
            return None
        return found

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"type": "string", "pattern": r"\S"}


class _OneAmount(Shape[TickTolerance]):
    """A tolerance as one text. A percentage is for every kind of quantity, an amount for its own kind."""

    noun = "a tolerance such as 4 %"
    _amount = _Amount(_KINDS, "4 %")

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> TickTolerance | None:
        found = self._amount.read(node, context, name)
        if found is None:
            return None
        kind = dimension_of(found.unit)
        torque, angle, length = (found if kind in ("fraction", each) else None for each in _KINDS)
        return TickTolerance(torque, angle, length)

    def schema(self, definitions: Definitions) -> JsonSchema:
        return self._amount.schema(definitions)


_TORQUE = Key(
    "torque", _Amount(("torque",), "4 %"), "How far a torque may be off: a percentage, or a torque.", examples=("4 %",)
)
_ANGLE = Key(
    "angle", _Amount(("angle",), "3°"), "How far an angle may be off: a percentage, or an angle.", examples=("3°",)
)
_STRETCH = Key("stretch", _Amount(("length",), "0.01 mm"), "How far a stretch may be off: a percentage, or a length.")
_OF_KINDS = (_TORQUE, _ANGLE, _STRETCH)


def _tolerance(fields: Fields) -> TickTolerance:
    return TickTolerance(fields.get(_TORQUE), fields.get(_ANGLE), fields.get(_STRETCH))


TOLERANCE: Shape[TickTolerance] = EitherShape(
    "a tolerance such as 4 %, 2 N·m or {torque: 4 %, angle: 3°}",
    text=_OneAmount(),
    entries=KeyedShape("tolerance", "`tolerance`", _OF_KINDS, _tolerance, some_of=_OF_KINDS),
)
