"""The tightening of a joint: its stages, torque, angle, loosening and check."""

from typing import Literal

from msgspec import Struct

from benchflow.procedure.model.model_basics import Mark
from benchflow.procedure.model.value_model import Remedy
from benchflow.quantity import Limit, Quantity


class TorqueStage(Struct, frozen=True, tag="torque"):
    """Tightening to a torque. ``only`` is the group of fasteners that the stage is for; ``None`` for all.

    ``band`` is the limit if the author wrote one (``12 .. 15 lb-ft``); ``torque`` is then its nominal value, or its
    middle. ``None`` if the author wrote one quantity: a tick is then judged by the :class:`TickTolerance`.
    ``below`` and ``above`` are the remedies for a tick that is too low or too high. ``source`` is where the figure
    comes from, as written; "" if the stage has no source of its own.
    """

    torque: Quantity
    text: str
    only: str | None = None
    band: Limit | None = None
    below: tuple[Remedy, ...] = ()
    above: tuple[Remedy, ...] = ()
    source: str = ""


class OpenStage(Struct, frozen=True, tag="open"):
    """Tightening to a torque, or turning by an angle, whose figure is not in the file.

    With a ``formula`` it is calculated: the calculated value of the operation with this ``stage``. Otherwise it is
    given at the bench, with its source. ``what`` is the dimension of the figure. The other fields are as in
    :class:`TorqueStage`.
    """

    text: str
    formula: str = ""
    only: str | None = None
    below: tuple[Remedy, ...] = ()
    above: tuple[Remedy, ...] = ()
    mark: Mark = Mark()
    what: Literal["torque", "angle"] = "torque"
    source: str = ""

    @property
    def asked(self) -> bool:
        """True if the figure is still to be filled in, and not calculated."""
        return not self.formula


class AngleStage(Struct, frozen=True, tag="angle"):
    """Turning further by an angle. ``band`` is as in :class:`TorqueStage`."""

    angle: Quantity
    text: str
    only: str | None = None
    band: Limit | None = None
    below: tuple[Remedy, ...] = ()
    above: tuple[Remedy, ...] = ()
    source: str = ""


class LoosenStage(Struct, frozen=True, tag="loosen"):
    """Turning back by an angle, such as ``1 turn``. ``band`` is as in :class:`TorqueStage`.

    ``angle`` is ``None`` for a bare ``loosen``: until the fastener carries nothing.
    """

    angle: Quantity | None
    text: str
    only: str | None = None
    band: Limit | None = None
    below: tuple[Remedy, ...] = ()
    above: tuple[Remedy, ...] = ()
    source: str = ""


class HandStage(Struct, frozen=True, tag="hand"):
    """Tightening by hand, which seats the fastener."""

    text: str
    only: str | None = None


class CheckStage(Struct, frozen=True, tag="check"):
    """Checking each fastener against a limit of torque, angle or stretch (a length).

    ``nominal`` is the quantity if the author wrote one quantity (``check: 100 N·m``) instead of a limit; both ends of
    ``limit`` are then this quantity, and the tolerance is added when a reading is judged. ``stretch`` is a second limit
    beside one of torque: both are measured, and a fastener is accepted only if both are within.
    """

    limit: Limit
    text: str
    only: str | None = None
    stretch: Limit | None = None
    nominal: Quantity | None = None
    below: tuple[Remedy, ...] = ()
    above: tuple[Remedy, ...] = ()
    source: str = ""


Stage = TorqueStage | OpenStage | AngleStage | LoosenStage | HandStage | CheckStage


def stage_remedies(stage: Stage) -> tuple[tuple[str, tuple[Remedy, ...]], ...]:
    """The remedies of a stage for each side: those of ``below``, those of ``above``."""
    return () if isinstance(stage, HandStage) else (("below", stage.below), ("above", stage.above))


def single_quantity(stage: Stage) -> Quantity | None:
    """The quantity of a stage that is one quantity; ``None`` for a stage that is a limit or has no figure."""
    if isinstance(stage, CheckStage):
        return stage.nominal
    if isinstance(stage, HandStage | OpenStage) or stage.band is not None:
        return None
    return stage.torque if isinstance(stage, TorqueStage) else stage.angle


class TickTolerance(Struct, frozen=True):
    """How far a reading may be from a stage that is one quantity: an amount, or a percentage of the quantity.

    ``None``: the author stated no tolerance for this kind of quantity.
    """

    torque: Quantity | None = None
    angle: Quantity | None = None
    length: Quantity | None = None  # of a stretch

    def of_kind(self, kind: str) -> Quantity | None:
        """The tolerance of a quantity of this dimension."""
        return {"torque": self.torque, "angle": self.angle, "length": self.length}.get(kind)


NO_TOLERANCE = TickTolerance()


class Tighten(Struct, frozen=True):
    """The tightening of a joint in stages."""

    joint: str
    stages: tuple[Stage, ...]
    total_angle: Quantity | None = None
    draw_down: str = ""  # the instruction for drawing the part down evenly before the first stage; "" if there is none
    instrument: str | None = None  # the author's key is `with`
    mark: Mark = Mark()
    tolerance: TickTolerance = NO_TOLERANCE
    total_band: Limit | None = None  # the total angle, if the author wrote a limit; `total_angle` is then its middle
    source: str = ""  # of the stages, as written
