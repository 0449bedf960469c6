"""Acceptance of a fastener by torque and stretch together."""

from typing import Literal

from msgspec import Struct

from benchflow.quantity import Limit, Quantity, position

Corner = Literal["ok", "friction-high", "friction-low", "loose", "overtightened"]


class TorqueAndStretch(Struct, frozen=True):
    """Position of a fastener in its limits of torque and stretch, and what that position usually means."""

    corner: Corner
    torque: Literal["low", "within", "high"]
    stretch: Literal["low", "within", "high"]
    words: str


_MEANINGS: dict[tuple[str, str], tuple[Corner, str]] = {
    ("within", "within"): ("ok", "torque and stretch are both within their limits"),
    ("low", "low"): ("loose", "not tight yet: both torque and stretch are below their limits"),
    ("within", "low"): ("friction-high", "the torque went into friction: remove it, check threads and lubricant"),
    ("high", "low"): ("friction-high", "the torque went into friction: remove it, check threads and lubricant"),
    ("high", "within"): ("friction-high", "stretch is right and torque too high: friction is higher than assumed"),
    ("low", "within"): ("friction-low", "stretch is right and torque too low: friction is lower than assumed"),
    ("low", "high"): ("friction-low", "stretched too far at too low a torque: it yielded or is slippery; replace it"),
    ("within", "high"): ("overtightened", "stretched too far: it may have yielded; replace it"),
    ("high", "high"): ("overtightened", "torque and stretch are both above their limits: replace it"),
}
"""By position of torque and of stretch. The meanings are common practice, no source."""


def judge_torque_and_stretch(
    torque: Quantity, stretch: Quantity, torque_limit: Limit, stretch_limit: Limit
) -> TorqueAndStretch:
    """Accept a fastener (corner ``ok``) only where both torque and stretch are within their limits."""
    by_torque, by_stretch = position(torque_limit, torque), position(stretch_limit, stretch)
    corner, words = _MEANINGS[by_torque, by_stretch]
    return TorqueAndStretch(corner, by_torque, by_stretch, words)
