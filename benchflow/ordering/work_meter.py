"""Counts the work of a search, so that a search that is too long ends at the same point on every machine."""

import sys
from collections.abc import Callable

WORK_PER_CONFIGURATION = 10
"""Units of work for one configuration of the bound. A unit is about one test if an action is allowed."""
_TELL_EVERY = 20_000

Progress = Callable[[str, int], None]
"""Called now and then during long work, with the name of the phase and the number of configurations explored."""


class WorkMeter:
    """Counts units of work up to ``limit``.

    Work spent on a part of another meter counts on both. ``tell`` is called after every 20,000 units or so.
    """

    def __init__(self, limit: int, *, whole: "WorkMeter | None" = None, tell: Callable[[], None] | None = None) -> None:
        self.limit = limit
        self.spent = 0
        self._whole = whole
        self._tell = tell
        self._tell_at = _TELL_EVERY

    @property
    def left(self) -> int:
        return max(self.limit - self.spent, 0)

    def spend(self, units: int) -> bool:
        """Count work that is done now. False if it goes past the limit; the search then has to end."""
        self.spent += units
        if self._tell is not None and self.spent >= self._tell_at:
            self._tell_at = self.spent + _TELL_EVERY
            self._tell()
        within = self.spent <= self.limit
        return (self._whole is None or self._whole.spend(units)) and within

    @property
    def is_spent(self) -> bool:
        """True if the search has to end."""
        return self.spent > self.limit or (self._whole is not None and self._whole.is_spent)

    def part(self, limit: int) -> "WorkMeter":
        """A meter for a part of this work: it ends after ``limit`` units, or when this one ends."""
        return WorkMeter(min(limit, self.left), whole=self)


def unlimited() -> WorkMeter:
    """A meter that never ends a search."""
    return WorkMeter(sys.maxsize)
