"""The rule by which evidence is called weak: the same for everybody, and kept as data so that it can be shown.

A guard is as weak as its weakest point. Points are graded by the table below; the guard whose worst point
has the highest grade comes first, among equals the one whose next point is worse, and so on; what is still
equal stays in the author's order. The grades are a judgement (common practice, no source): what was never
done is worse than what was waived, that is worse than what was not proven, and so on down to what is merely
unusual.
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
"""From this grade on something is held against a guard; below it, a point is only told."""


class Ground(Struct, frozen=True):
    """A kind of weakness: its grade (100 is the worst), what it is called, and when it holds."""

    kind: str
    grade: int
    title: str
    when: str


GROUNDS: Final = (
    Ground("never-done", 100, "never done", "the operation is part of this build and was not finished"),
    Ground("out", 95, "out of its limit", "a value outside its limit stands, and nobody signed for it"),
    Ground(
        "would-be-out", 92, "out when corrected",
        "inside its limit only by an error that its instrument is known to have",
    ),
    Ground("deviation", 90, "deviation", "somebody signed to go on without it"),
    Ground(
        "off-torque", 85, "tightened off",
        "fasteners that stand were tightened with a wrench that was found to read wrong",
    ),
    Ground(
        "not-proven", 80, "not proven",
        "a value is so near its limit that its uncertainty leaves it undecided",
    ),
    Ground("instrument-bad", 75, "instrument found bad", "its instrument is in doubt by the shop's register"),
    Ground(
        "window-missed", 70, "time window missed",
        "begun too early, or finished too late, after the work that it follows",
    ),
    Ground(
        "instrument-overdue", 60, "instrument overdue",
        "its instrument's calibration had run out that day, or it was unfit otherwise",
    ),
    Ground("other-lubricant", 55, "another lubricant", "the torque is stated for another one than was on the threads"),
    Ground("self-signed", 50, "signed by the builder", "a hold point was signed by the one who did the work"),
    Ground(
        "too-fast", 45, "implausibly fast",
        f"in hand for less than {TAKES_SHARE:.0%} of the least time the procedure gives it, or fasteners ticked "
        f"by hand in under {FASTENER_SECONDS:g} s each",
    ),
    Ground("window-tight", 40, "time window nearly missed", f"more than {WINDOW_SHARE:.0%} of the window was used"),
    Ground(
        "near-limit", 35, "near a limit",
        f"less than {NEAR_SHARE:.0%} of the limit's band is left before its nearer end (with one end only: less "
        f"than {NEAR_SHARE_ONE_END:.0%} of its value)",
    ),
    Ground(
        "redone", 30, "redone",
        f"it was taken back and done again, or {TICKS_AGAIN} or more ticks of one stage were",
    ),
    Ground(
        "long-pause", 25, "long pause",
        f"more than {PAUSE_SECONDS / 60:.0f} min between two fasteners of one stage",
    ),
    Ground("retaken", 15, "measured again", "an attempt before the one that stands was out of its limit"),
    Ground("no-serial", 10, "instrument not named", "the log does not say which instrument it was"),
    Ground("word-only", 5, "only a word", "it was finished, and nothing was measured, ticked, checked or signed"),
    Ground("stands", 3, "stands", "the work stands, and nothing speaks against it"),
    Ground("replaced", 1, "replaced", "the work was taken back or measured again since: nothing of it stands"),
)  # fmt: skip

GRADE: Final = {ground.kind: ground.grade for ground in GROUNDS}
TITLE: Final = {ground.kind: ground.title for ground in GROUNDS}


class Reason(Struct, frozen=True):
    """One weak point, in words. ``seq`` is the event that shows it, ``about`` what it is about."""

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


def worst_first(reasons: Iterable[Reason]) -> tuple[Reason, ...]:
    """The reasons by their grade; equals stay in the order they came in."""
    return tuple(sorted(reasons, key=lambda reason: -reason.grade))


def weakness(reasons: Iterable[Reason]) -> tuple[int, ...]:
    """What guards are compared by, greater is weaker: the grades, the worst first."""
    return tuple(sorted((reason.grade for reason in reasons), reverse=True))


def rule() -> tuple[str, ...]:
    """The whole rule in words, a line a ground, the worst first."""
    how = (
        "A guard is as weak as its worst point; among equals the next point decides, then the author's order. "
        f"From grade {SUSPECT} on a point is held against it."
    )
    return (how, *(f"{ground.grade:>3}  {ground.title}: {ground.when}" for ground in GROUNDS))
