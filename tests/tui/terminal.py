"""A terminal for tests: a program runs in a pty, and pyte interprets what it paints."""

import fcntl
import os
import pty
import re
import select
import signal
import struct
import sys
import termios
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from types import TracebackType

import pyte

from tests.driving.command_server import InTerminal, needs_a_start

ROOT = Path(__file__).parents[2]
NOT_FOR_PYTE = re.compile(rb"\x1b\[[<>=][0-9;]*u|\x1b\[\?[0-9;]*\$p|\x1b\[>[0-9;]*[a-z]")
"""Queries about keyboard protocol and modes. pyte would treat them as cursor commands."""


class Terminal:
    """A program running in a pseudo-terminal: ``with Terminal([...]) as t: t.wait_for("text"); t.type("12.34\\r")``.

    Every wait has a time limit.
    """

    def __init__(
        self,
        argv: Sequence[str],
        *,
        env: Mapping[str, str] | None = None,
        columns: int = 80,
        rows: int = 24,
        patience: float = 90.0,
    ) -> None:
        self.screen = pyte.Screen(columns, rows)
        self.stream = pyte.ByteStream(self.screen)
        self.patience = patience
        self.painted = b""
        self.status: int | None = None
        self._open = True
        self._forked: InTerminal | None = None
        wanted = {
            **os.environ,
            "TERM": "xterm-256color",
            "COLORTERM": "truecolor",
            "PYTHONPATH": str(ROOT),
            **(env or {}),
        }
        wanted = {name: value for name, value in wanted.items() if name not in ("COLUMNS", "LINES")}
        if [*argv[:2]] == ["-m", "benchflow"] and not needs_a_start(wanted):
            self.fd, slave = os.openpty()
            fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
            self._forked = InTerminal(slave, argv[2:], wanted)
            self.pid = self._forked.pid
            os.close(slave)
            return
        self.pid, self.fd = pty.fork()
        if self.pid == 0:
            try:
                # The child may start before the parent has set the size.
                fcntl.ioctl(0, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
                os.execve(sys.executable, [sys.executable, *argv], wanted)
            finally:
                os._exit(127)

    def __enter__(self) -> "Terminal":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.status is None:
            with suppress(ProcessLookupError):  # it has just ended by itself, and the command server has reaped it
                os.kill(self.pid, signal.SIGKILL)
            self._poll(20)
        self.close()
        if self._forked is not None:
            self._forked.close()

    def type(self, text: str) -> None:
        """Type a text in one write, as a gauge or a scanner does."""
        os.write(self.fd, text.encode())

    def paste(self, text: str) -> None:
        """Paste a text as a terminal does (bracketed paste)."""
        self.type(f"\x1b[200~{text}\x1b[201~")

    def signal(self, number: signal.Signals) -> None:
        """Send a signal to the program."""
        os.kill(self.pid, number)

    def close(self) -> None:
        """Close the terminal. The program in it gets SIGHUP."""
        if self._open:
            os.close(self.fd)
            self._open = False

    def read(self, seconds: float) -> bool:
        """Read what the program has painted. False if it has closed the terminal."""
        ready, _, _ = select.select([self.fd], [], [], seconds)
        if not ready:
            return True
        try:
            data = os.read(self.fd, 65536)
        except OSError:
            return False
        self.painted += data
        self.stream.feed(NOT_FOR_PYTE.sub(b"", data))
        return bool(data)

    @property
    def lines(self) -> list[str]:
        """The rows of the screen."""
        return [line.rstrip() for line in self.screen.display]

    @property
    def text(self) -> str:
        """The text on the screen."""
        return "\n".join(self.lines)

    def wait_until(self, seen: Callable[[], bool], what: str) -> None:
        """Read until ``seen`` is true. ``what`` describes it in the error."""
        end = time.monotonic() + self.patience
        while not seen():
            if not self.read(0.05) and not seen():
                raise AssertionError(f"the program ended before {what}; the screen:\n{self.text}")
            if time.monotonic() > end:
                raise AssertionError(f"waited {self.patience} s for {what}; the screen:\n{self.text}")

    def wait_for(self, *texts: str) -> None:
        """Wait until all texts are on the screen."""
        self.wait_until(lambda: all(text in self.text for text in texts), " and ".join(map(repr, texts)))

    def wait_gone(self, text: str) -> None:
        """Wait until a text is no longer on the screen."""
        self.wait_until(lambda: text not in self.text, f"{text!r} to go")

    def _poll(self, seconds: float = 0.0) -> int | None:
        """The exit status if the program has ended; a program that was killed is waited for ``seconds``."""
        if self._forked is not None:
            return self._forked.poll(seconds)
        pid, status = os.waitpid(self.pid, 0 if seconds else os.WNOHANG)
        return os.waitstatus_to_exitcode(status) if pid else None

    def wait_end(self) -> int:
        """Wait for the end of the program and return its exit status, negative for a signal as in ``subprocess``."""
        end = time.monotonic() + self.patience
        while time.monotonic() < end:
            if self._open:
                self.read(0.02)
            self.status = self._poll()
            if self.status is not None:
                while self._open and self.read(0.0) and select.select([self.fd], [], [], 0)[0]:
                    pass
                return self.status
        raise AssertionError(f"the program did not end in {self.patience} s; the screen:\n{self.text}")
