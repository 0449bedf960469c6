"""The tightening of a joint: its stages, torque, angle, loosening and check."""

from msgspec import Struct

from benchflow.procedure.model.model_basics import Mark
from benchflow.quantity import Limit, Quantity


class TorqueStage(Struct, frozen=True, tag="torque"):
    """Tightening to a torque. ``only`` is the group of fasteners that the stage is for; ``None`` for all."""

    torque: Quantity
    text: str
    only: str | None = None


class AngleStage(Struct, frozen=True, tag="angle"):
    """Turning further by an angle."""

    angle: Quantity
    text: str
    only: str | None = None


class LoosenStage(Struct, frozen=True, tag="loosen"):
    """Turning back by an angle, such as ``1 turn``."""

    angle: Quantity
    text: str
    only: str | None = None


class CheckStage(Struct, frozen=True, tag="check"):
    """Checking each fastener against a limit of torque, angle or stretch (a length).

    ``stretch`` is a second limit beside one of torque: both are measured, and a fastener is accepted only if both are
    within.
    """

    limit: Limit
    text: str
    only: str | None = None
    stretch: Limit | None = None


Stage = TorqueStage | AngleStage | LoosenStage | CheckStage


class Tighten(Struct, frozen=True):
    """The tightening of a joint in stages."""

    joint: str
    stages: tuple[Stage, ...]
    total_angle: Quantity | None = None
    draw_down: str = ""  # the instruction for drawing the part down evenly before the first stage; "" if there is none
    instrument: str | None = None  # the author's key is `with`
    mark: Mark = Mark()
