"""Shows the progress of long work on one line of the terminal."""

import sys
import time
from collections.abc import Callable
from types import TracebackType

from benchflow.base.plaintext import clean

_FIRST_AFTER = 1.0
_EVERY = 0.1
_WIDTH = 79
"""Columns of the line. A longer one would wrap on a terminal of 80 columns, and could not be cleared."""


class ProgressLine:
    """A line on standard error that is updated in place. It appears after one second and is cleared at the end.

    Nothing is shown unless standard output and standard error are both a terminal. ``clock`` gives seconds.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._next = clock() + _FIRST_AFTER
        self._is_shown = False
        self._on_terminal = sys.stderr.isatty() and sys.stdout.isatty()

    def __enter__(self) -> "ProgressLine":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.clear()

    def show(self, text: str) -> None:
        """Show how far the work is, if it is time to do so. May be called as often as wanted."""
        if not self._on_terminal or self._clock() < self._next:
            return
        self._next = self._clock() + _EVERY
        self._is_shown = True
        self._write(f"\r{clean(text)[:_WIDTH]:<{_WIDTH}}")

    def clear(self) -> None:
        """Remove the line. A later :meth:`show` shows it again."""
        if self._is_shown:
            self._is_shown = False
            self._write(f"\r{'':<{_WIDTH}}\r")

    def _write(self, text: str) -> None:
        try:
            sys.stderr.write(text)
            sys.stderr.flush()
        except OSError:
            self._on_terminal = False  # the terminal was closed; the work goes on
