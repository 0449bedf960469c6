"""Ranks steps by their weak points. The table :data:`WEAK_POINT_KINDS` gives each kind of weak point a grade.

A step is as weak as its worst weak point. If the worst points of two steps have the same grade, their next points are
compared. Steps that are still equal keep the order of the procedure. The grades are a judgement (common practice, no
source). A step that was never done is worse than a waived step. A waived step is worse than one that was not proven.
The lowest grades are for points that are unusual but not wrong.
"""

from collections.abc import Iterable
from typing import Final

from msgspec import Struct

NEAR_SHARE: Final = 0.05
NEAR_SHARE_ONE_END: Final = 0.02
WINDOW_SHARE: Final = 0.90
PAUSE_SECONDS: Final = 30 * 60.0
TAKES_SHARE: Final = 0.25
FASTENER_SECONDS: Final = 1.0
TICKS_AGAIN: Final = 3

SUSPECT: Final = 20
"""A step with a weak point of this grade or higher is suspect; lower grades are only mentioned."""


class WeakPointKind(Struct, frozen=True):
    """A kind of weak point: its grade (100 is the worst), its name for people, and when it applies."""

    kind: str
    grade: int
    title: str
    when: str


_KINDS: Final = (
    ("never-done", 100, "never done", "the step is part of this build and was not finished"),
    ("not-known", 98, "not known", "the log is damaged, and nothing before the damage says that the step was finished"),
    ("failed-audit", 97, "failed audit", "the rules would have refused an entry of the step, or judged it differently"),
    ("out-of-limit", 95, "out of its limit", "a value is outside its limit, and nobody signed a deviation"),
    (
        "would-be-out", 92, "out of its limit when corrected",
        "the value is inside its limit only because of the known error of its instrument",
    ),
    ("deviation", 90, "deviation", "somebody signed to continue although a rule was not met"),
    (
        "taken-on-trust", 88, "taken over without evidence",
        "somebody signed that the step was done under an earlier log, but no trusted line of that log says so",
    ),
    ("off-torque", 85, "wrong torque", "fasteners were tightened with a wrench that was later found to read wrong"),
    ("not-proven", 80, "not proven", "a value is so near its limit that the uncertainty leaves it undecided"),
    ("instrument-bad", 75, "instrument in doubt", "the shop's register marks its instrument as doubtful"),
    (
        "window-missed", 70, "time window missed",
        "the step was started too early or finished too late after an earlier step",
    ),
    (
        "state-contradicted", 68, "found in another state",
        "the step was taken over from an earlier log, but the engine was not found in the state that it sets",
    ),
    (
        "window-unknown", 65, "time not known",
        "the clocks contradict each other, so nobody knows how much time passed in a time window",
    ),
    ("taken-over", 62, "from an earlier log", "the step was done under an earlier log, damaged or left"),
    (
        "instrument-overdue", 60, "instrument overdue",
        "the calibration of its instrument had expired that day, or the instrument was not fit for another reason",
    ),
    ("other-lubricant", 55, "other lubricant", "the torque is stated for a lubricant other than the one used"),
    ("self-signed", 50, "signed by the builder", "a hold point was signed by the person who did the work"),
    (
        "overtightened", 48, "tightened too far",
        "a fastener was tightened above its band, whether it was then loosened, cleared or waived",
    ),
    (
        "too-fast", 45, "implausibly fast",
        f"finished in less than {TAKES_SHARE:.0%} of the shortest time that the procedure states, or fasteners ticked "
        f"by hand in less than {FASTENER_SECONDS:g} s each",
    ),
    ("window-tight", 40, "time window nearly missed", f"more than {WINDOW_SHARE:.0%} of the window was used"),
    (
        "near-limit", 35, "near a limit",
        f"the value is nearer to an end of its limit than {NEAR_SHARE:.0%} of the band, or than "
        f"{NEAR_SHARE_ONE_END:.0%} of the limit if it has one end",
    ),
    ("redone", 30, "redone", f"the step was reworked, or at least {TICKS_AGAIN} ticks of one stage were cleared"),
    (
        "long-pause", 25, "long pause",
        f"more than {PAUSE_SECONDS / 60:.0f} min between two fasteners of one stage",
    ),
    (
        "fastener-failed", 24, "fastener failed",
        "a fastener stripped, broke or turned without getting tighter, and was repaired or left out",
    ),
    ("clock-back", 22, "computer clock set back", "the computer clock was set back while a time window ran"),
    ("entered-together", 18, "entered together", "fasteners of one stage were entered together, not one by one"),
    (
        "retaken", 15, "measured again",
        "an earlier attempt at the reading was out of its limit, or a fastener was ticked below its band first",
    ),
    (
        "window-across", 12, "time by the computer clock",
        "only the computer clock shows the time in a window, because the computer was started again in it",
    ),
    ("no-serial", 10, "instrument not named", "the log does not say which instrument was used"),
    ("word-only", 5, "no evidence", "the step was finished without a reading, tick, check or signature"),
    ("in-force", 3, "in force", "the work is in force and has no weak point"),
    ("replaced", 1, "replaced", "the work was reworked or measured again later, and no part of it is in force"),
)  # fmt: skip
WEAK_POINT_KINDS: Final = tuple(WeakPointKind(*fields) for fields in _KINDS)

GRADE: Final = {kind.kind: kind.grade for kind in WEAK_POINT_KINDS}
TITLE: Final = {kind.kind: kind.title for kind in WEAK_POINT_KINDS}


class WeakPoint(Struct, frozen=True):
    """One weak point of a step. ``seq`` is the event that shows it, ``about`` the value, joint or instrument."""

    kind: str
    words: str
    seq: int | None = None
    about: str = ""

    @property
    def grade(self) -> int:
        return GRADE[self.kind]

    @property
    def title(self) -> str:
        return TITLE[self.kind]


def worst_first(points: Iterable[WeakPoint]) -> tuple[WeakPoint, ...]:
    """The weak points by grade, the highest first. Points of one grade keep their order."""
    return tuple(sorted(points, key=lambda point: -point.grade))


def weakness(points: Iterable[WeakPoint]) -> tuple[int, ...]:
    """The sort key of a step: the grades of its weak points, the highest first. A greater key means weaker evidence."""
    return tuple(sorted((point.grade for point in points), reverse=True))


def rule() -> tuple[str, ...]:
    """The whole rule in words: how steps are ranked, then one line for each kind of weak point."""
    first_line = (
        "A step is as weak as its worst point. If two steps are equal, their next points decide, then the order of "
        f"the procedure. A step with a point of grade {SUSPECT} or more is suspect."
    )
    return (first_line, *(f"{kind.grade:>3}  {kind.title}: {kind.when}" for kind in WEAK_POINT_KINDS))
