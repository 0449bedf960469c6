"""The key `grip` of a joint: the segments of a bolt between head and nut."""

from typing import Literal

from benchflow.procedure.model import GripSegment
from benchflow.procedure.shapes.basic_shapes import ListShape
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
from benchflow.procedure.shapes.quantity_shapes import QuantityShape
from benchflow.quantity import Quantity, base

_SHANK = Key(
    "shank",
    QuantityShape("length"),
    "The length of a plain part. Without a diameter it has the thread size.",
    examples=("80 mm",),
)
_NECK = Key("neck", QuantityShape("length"), "The length of a part that is thinner than the thread.")
_THREAD = Key("thread", QuantityShape("length"), "The length of free thread within the grip.", examples=("15 mm",))
_DIAMETER = Key("diameter", QuantityShape("length"), "The diameter of the shank or neck.", examples=("10 mm",))
_KINDS: tuple[tuple[Literal["shank", "neck", "thread"], Key[Quantity]], ...] = (
    ("shank", _SHANK),
    ("neck", _NECK),
    ("thread", _THREAD),
)


def _segment(fields: Fields) -> GripSegment | None:
    diameter = fields.get(_DIAMETER)
    for kind, key in _KINDS:
        length = fields.get(key)
        if length is None:
            continue
        for value, at in ((length, key), (diameter, _DIAMETER)):
            if value is not None and base(value) <= 0:
                fields.problem("bad-quantity", at, f"`{value.entered}` is not above zero", "Write the size of the bolt")
                return None
        if kind == "thread" and diameter is not None:
            fields.problem("bad-quantity", _DIAMETER, "A thread has the size of the joint's `thread`", "Delete it")
            return None
        return GripSegment(kind, length, diameter)
    return None


GRIP = ListShape(
    KeyedShape(
        "grip-segment", "a segment of `grip`", (_SHANK, _NECK, _THREAD, _DIAMETER), _segment,
        one_of=(_SHANK, _NECK, _THREAD), requires=((_NECK, _DIAMETER),),
    ),
    at_least=1,
)  # fmt: skip
