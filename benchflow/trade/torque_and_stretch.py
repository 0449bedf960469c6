"""Judges a fastener by its torque and its stretch together."""

from typing import Literal

from msgspec import Struct

Corner = Literal["ok", "friction-high", "friction-low", "loose", "overtightened"]
Position = Literal["low", "within", "high"]


class TorqueAndStretch(Struct, frozen=True):
    """The positions of a fastener's torque and stretch in their limits.

    ``corner`` names the combination, and ``meaning`` is its usual cause and remedy as a clause.
    """

    corner: Corner
    torque: Position
    stretch: Position
    meaning: str


_MEANINGS: dict[tuple[Position, Position], tuple[Corner, str]] = {
    ("within", "within"): ("ok", "torque and stretch are both within their limits"),
    ("low", "low"): ("loose", "not tight yet: both torque and stretch are below their limits"),
    ("within", "low"): (
        "friction-high",
        "the torque was lost to friction: remove the fastener, check threads and lubricant",
    ),
    ("high", "low"): (
        "friction-high",
        "the torque was lost to friction: remove the fastener, check threads and lubricant",
    ),
    ("high", "within"): (
        "friction-high",
        "the stretch is right but the torque is too high: friction is higher than assumed",
    ),
    ("low", "within"): (
        "friction-low",
        "the stretch is right but the torque is too low: friction is lower than assumed",
    ),
    ("low", "high"): (
        "friction-low",
        "the fastener stretched too far at a low torque: it yielded or is slippery, so replace it",
    ),
    ("within", "high"): ("overtightened", "the fastener stretched too far: it may have yielded, so replace it"),
    ("high", "high"): ("overtightened", "torque and stretch are both above their limits: replace the fastener"),
}
"""Corner and meaning by the positions of torque and stretch (common practice, no source)."""


def diagnosis(by_torque: Position, by_stretch: Position) -> TorqueAndStretch:
    """The diagnosis from the positions of torque and stretch in their limits. Common practice, no source."""
    corner, meaning = _MEANINGS[by_torque, by_stretch]
    return TorqueAndStretch(corner, by_torque, by_stretch, meaning)
