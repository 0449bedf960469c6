"""Input and screen of the robot for the program in a real terminal, with the real clock."""

import json
from pathlib import Path
from typing import Any

from benchflow.session.machine_folders import machine_folders
from benchflow.session.state.state import State
from benchflow.tui.model.job_catalog import JobCatalog
from tests.tui.seen_screen import SeenScreen
from tests.tui.terminal import Terminal

BYTES = {
    "Enter": "\r",
    "Esc": "\x1b",
    "Space": " ",
    "⌫": "\x7f",
    "PgDn": "\x1b[6~",
    "↑↓": "\x1b[B",
    "←→": "\x1b[C",
    "F2": "\x1bOQ",
}
"""The bytes that a terminal sends for each key of the key bar. For a pair of arrows, the forward one."""

QUIET = 0.02
"""Seconds between two polls of a program that seems to wait for keys."""

LOOKS = 3
"""The screen is complete after this many polls in a row without work or paint."""


class TerminalHands:
    """Sends keys to a program in a terminal and reads its screen. Its log is the only one in ``folder``."""

    def __init__(self, terminal: Terminal, folder: Path) -> None:
        self.terminal, self.folder = terminal, folder
        self._events = 0

    def see(self) -> SeenScreen:
        return SeenScreen(self.terminal.lines)

    def new_events(self) -> list[dict[str, Any]]:
        log = self._log()
        lines = [] if log is None else log.read_bytes().splitlines()
        new, self._events = lines[self._events :], len(lines)
        return [json.loads(line) for line in new]

    def state(self) -> State | None:
        log = self._log()
        if log is None:
            return None
        watching = JobCatalog(machine_folders(), self.folder).watch(log)
        state = watching.state
        watching.close()
        return state

    def _log(self) -> Path | None:
        return next(self.folder.glob("*.jsonl"), None)

    async def press(self, name: str) -> None:
        self._send(BYTES.get(name, name))

    async def type(self, text: str) -> None:
        self._send(text)

    def _send(self, text: str) -> None:
        """Send keys, and wait until the screen has changed and the program waits for keys again."""
        before = self.terminal.text
        self.terminal.type(text)
        self.terminal.wait_until(lambda: self.terminal.text != before, f"an answer to {text!r}")
        quiet = 0
        while quiet < LOOKS:
            painted = len(self.terminal.painted)
            self.terminal.read(QUIET)
            quiet = quiet + 1 if painted == len(self.terminal.painted) and self._waits() else 0

    def _waits(self) -> bool:
        """True if no thread of the program runs."""
        for task in Path(f"/proc/{self.terminal.pid}/task").glob("*/stat"):
            try:
                state = task.read_text().rpartition(")")[2].split()[0]
            except FileNotFoundError:  # the thread has just ended
                return False
            if state != "S":
                return False
        return True

    def pause(self, seconds: float) -> None:
        pass

    async def wait(self, seconds: float) -> None:
        raise AssertionError(f"the job has to wait {seconds} s:\n{self.terminal.text}")
