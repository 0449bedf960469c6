"""Waits until files were saved, and have not changed for a moment.

Size, time and identity of the files are read ten times a second (``stat``). For some dozen files the cost is too
small to measure. It works in the same way on every system and on network drives. It detects an editor that renames a
new file over the old one, one that deletes and writes again, and a file that is gone for a moment. A library that uses
change notices of the system (such as ``watchfiles``) needs another way for network drives, and has a compiled part.
"""

import time
from collections.abc import Callable, Iterable
from pathlib import Path

FileState = tuple[int, int, int] | None
"""Time of the last change (ns), size, and the identity of a file; ``None`` if it is not there."""

POLL = 0.1
"""Seconds between two readings of the states."""
STEP = 0.05
"""Seconds between two readings of the states while a save is going on."""
QUIET = 0.2
"""Seconds without a change after which a save is over."""
DOUBTFUL = 0.5
"""Seconds without a change after which a file with an error, or without content, is checked as it is."""
GONE = 1.0
"""Seconds after which a file that has vanished is reported as gone."""


def state_of(path: Path) -> FileState:
    """The state of a file or folder; ``None`` if it does not exist or cannot be read."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino


class SettledFiles:
    """Some files, and their states when they were last read.

    ``first`` is the file that has to be there. ``clock`` and ``sleep`` are those of the machine.
    """

    def __init__(
        self, first: Path, clock: Callable[[], float] = time.monotonic, sleep: Callable[[float], None] = time.sleep
    ) -> None:
        self.first = first
        self._clock, self._sleep = clock, sleep
        self._states: dict[Path, FileState] = {first: state_of(first)}
        self._met: dict[Path, None] = {}
        self._changed_at = clock()

    def watch(self, paths: Iterable[Path]) -> None:
        """Watch ``first`` and these paths from now on. Those that were watched before keep their state."""
        wanted = dict.fromkeys((self.first, *paths))
        self._states = {path: self._states[path] if path in self._states else state_of(path) for path in wanted}

    def look(self) -> bool:
        """Read the present states. Returns true if one of them has changed."""
        states = {path: state_of(path) for path in self._states}
        if states == self._states:
            return False
        self._met.update(dict.fromkeys(path for path in states if states[path] != self._states[path]))
        self._states = states
        self._changed_at = self._clock()
        return True

    def taken_changes(self) -> tuple[Path, ...]:
        """The files that have changed since the last call, without folders."""
        met, self._met = tuple(path for path in self._met if not path.is_dir()), {}
        return met

    @property
    def changed(self) -> bool:
        """True if a file had changed at the last reading of the states. They are not read again."""
        return any(state_of(path) != state for path, state in self._states.items())

    @property
    def is_gone(self) -> bool:
        """True if the first file was missing at the last reading of the states."""
        return self._states[self.first] is None

    def quiet_for(self, seconds: float) -> bool:
        """Wait until no file has changed for this time. Returns true if one of them changed meanwhile."""
        met = False
        while self._clock() - self._changed_at < seconds:
            self._sleep(STEP)
            met = self.look() or met
        return met

    def wait_for_save(self) -> None:
        """Wait for a change, and then until the save is over. If a file vanishes, wait a little longer for it."""
        while not self.look():
            self._sleep(POLL)
        self.settle()

    def settle(self) -> None:
        """Wait until a save that is going on is over."""
        self.quiet_for(QUIET)
        while self.is_gone and self._clock() - self._changed_at < GONE:
            self._sleep(STEP)
            if self.look():
                self.quiet_for(QUIET)
