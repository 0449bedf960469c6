"""Ranks steps by their weak points. The table of kinds is in :mod:`benchflow.review.evidence.weights`.

A step is as weak as its worst weak point. If the worst points of two steps have the same grade, their next points are
compared. Steps that are still equal keep the order of the procedure.
"""

from collections.abc import Iterable
from typing import Final

from msgspec import Struct

from benchflow.review.evidence.weights import KIND, NATURE_TEXT, RECORD_CEILING, SUSPECT, WEAK_POINT_KINDS, Nature

NEAR_SHARE: Final = 0.05
NEAR_SHARE_ONE_END: Final = 0.02
"""A value is near its limit if less than this part of the band, or of the only end, is left."""
ONE_END_FACTOR: Final = NEAR_SHARE / NEAR_SHARE_ONE_END
"""The part of a limit with one end, multiplied by this, is as much as that part of a band."""
WINDOW_SHARE: Final = 0.90
"""If more than this part of a time window was used, that is mentioned."""
TAKES_SHARE: Final = 0.25
"""Work is too fast if it took less than this part of the time that it needs."""
FASTENER_SECONDS: Final = 1.0
"""What hands need for one fastener without a wrench (own rule)."""


class WeakPoint(Struct, frozen=True):
    """One weak point of a step or of the whole job.

    ``words`` is one clause with its figures. ``seq`` is the event that shows it, ``about`` the value, joint or
    instrument. ``size`` is in the unit of the scale of its kind.
    """

    kind: str
    words: str
    seq: int | None = None
    about: str = ""
    size: float = 1.0

    @property
    def grade(self) -> int:
        """The grade by its kind and size, from 0 to 100."""
        return KIND[self.kind].grade(self.size)

    @property
    def title(self) -> str:
        """The name of its kind for people."""
        return KIND[self.kind].title

    @property
    def nature(self) -> Nature:
        """What may be wrong: the work, a measurement, or only the record."""
        return KIND[self.kind].nature


class Adjustment(Struct, frozen=True):
    """How far something besides the log moves a step in the order: ``by`` grades, with the reason ``words``."""

    by: int
    words: str


def worst_first(points: Iterable[WeakPoint]) -> tuple[WeakPoint, ...]:
    """The weak points by grade, the highest first. Points of one grade keep their order."""
    return tuple(sorted(points, key=lambda point: -point.grade))


def weakness(points: Iterable[WeakPoint], adjustments: Iterable[Adjustment] = ()) -> tuple[int, ...]:
    """The sort key of a step: the grades of its weak points, the highest first. A greater key means weaker evidence.

    ``adjustments`` move the highest grade. A step without a weak point is not moved.
    """
    grades = sorted((point.grade for point in points), reverse=True)
    return (grades[0] + sum(each.by for each in adjustments), *grades[1:]) if grades else ()


def rule() -> tuple[str, ...]:
    """The whole rule in words: how steps are ranked, then the scale of each kind of weak point with its reason."""
    lines = [
        "A step is as weak as its worst point. If two steps are equal, their next points decide, then the order of "
        f"the procedure. A step with a point of grade {SUSPECT} or more is suspect.",
        "The grade of a point follows from its size: each kind has a scale (size → grade), linear between its points. "
        f"A point that is only on paper has at most grade {RECORD_CEILING}: a signature does not outweigh a cause.",
    ]
    for nature, text in NATURE_TEXT.items():
        lines.append(f"What may be wrong: {text}")
        kinds = sorted((kind for kind in WEAK_POINT_KINDS if kind.nature == nature), key=lambda kind: -kind.highest)
        for kind in kinds:
            lines.append(
                f"  {kind.title}: {kind.when}. Grade {kind.scale_text}{f' ({kind.unit})' if kind.unit else ''}."
            )
            lines.append(f"      Because {kind.why}.")
    return tuple(lines)
