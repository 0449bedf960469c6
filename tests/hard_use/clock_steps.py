"""Real processes on a machine whose clock is set, that sleeps and is started again. No step opens a time window.

After each step the program is asked why two operations cannot start: one at most 10 min after another, the other at
least 30 min after it. What it answers is compared with the time that really passed. A clock that is set before
anything is logged in that boot cannot be found, so a note is logged before and after each step.
"""

import json
import random
import subprocess
import sys
import time
from pathlib import Path

from tests.hard_use.counts import Counts
from tests.hard_use.live_drive import Json, as_lines, environment
from tests.hard_use.moved_clocks import MovedClocks

PROCEDURE = """\
benchflow: 1
id: windows
title: Two invented time windows
revision: "1"
notice: All numbers are invented.
sections:
- title: All
  operations:
  - {id: bead, title: Bead, undo: {do: Wipe}}
  - {id: soon, title: Soon after, time: {bead: at most 10 min}}
  - {id: long, title: Long after, time: {bead: at least 30 min}}
"""

SLACK = 0.5
"""Minutes that a run on a busy machine may take."""

TOLERANCE = 2.0
"""Minutes that the program may be wrong across boots, where only the wall clock counts."""


class ClockedDrive:
    """A ``benchflow drive`` process with moved clocks. ``passed`` is how many minutes really passed since `bead`."""

    def __init__(self, folder: Path, clocks: MovedClocks) -> None:
        self.folder, self.clocks, self.log = folder, clocks, folder / "windows.jsonl"
        (folder / "windows.yaml").write_text(PROCEDURE, encoding="utf-8")
        self.passed, self.set, self.rebooted = 0.0, False, False
        self.process = self.start()
        self.ask({"intent": "open", "by": "Robin", "unit": "7"}, {"intent": "start", "operation": "bead"})
        self.ask({"intent": "finish"})

    def start(self) -> "subprocess.Popen[bytes]":
        """Start the process, and return it."""
        command = [sys.executable, "-m", "benchflow", "drive", "windows.yaml", "--log", str(self.log)]
        self.process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, cwd=self.folder,
            env={**environment(self.folder), **self.clocks.environment()},
        )  # fmt: skip
        return self.process

    def ask(self, *sent: Json) -> Json:
        """Send intents and return the last answer."""
        given, answers = self.process.stdin, self.process.stdout
        assert given is not None
        assert answers is not None
        given.write(as_lines(*sent))
        given.flush()
        answer: Json = {}
        for _ in sent:
            answer = json.loads(answers.readline())
        return answer

    def note(self) -> None:
        """Log a note."""
        assert self.ask({"intent": "note", "text": "x"})["ok"]

    def end(self) -> None:
        """End the process."""
        self.process.communicate()

    def step(self, chance: random.Random) -> str:
        """Make one step and return what it was."""
        self.note()
        what, minutes = chance.choice(("wait", "wait", "set", "set", "restart", "reboot")), chance.uniform(1, 90)
        if what == "set":
            minutes = chance.choice((-1, 1)) * minutes
            self.clocks.set_wall_clock(minutes)
            self.set = True
        elif what == "wait":
            minutes /= 6
            self.clocks.pass_time(minutes)
            self.passed += minutes
        else:
            minutes /= 12
            self.end()
            if what == "reboot":
                self.clocks.reboot(minutes)
                self.rebooted = True
            else:
                self.clocks.pass_time(minutes)
            self.passed += minutes
            self.start()
        self.note()
        return f"{what} {minutes:.1f}"

    def problem(self) -> str:
        """What is wrong with the answers of the program now; "" if nothing is."""
        codes = {
            name: {reason["code"] for reason in self.ask({"intent": "why", "operation": name})["why"]}
            for name in ("soon", "long")
        }
        allowed = TOLERANCE * self.rebooted + SLACK
        late, early = "too-late" in codes["soon"], "too-early" in codes["long"]
        if not late and self.passed > 10 + allowed:
            return f"open {self.passed:.1f} min after the beginning of a window of 10 min"
        if not early and self.passed < 30 - allowed:
            return f"wait of 30 min over after {self.passed:.1f} min"
        if not self.set and late and self.passed < 10 - SLACK:
            return f"window of 10 min closed after {self.passed:.1f} min, and the clock was never set"
        if not self.set and early and self.passed > 30 + SLACK:
            return f"wait of 30 min not over after {self.passed:.1f} min, and the clock was never set"
        return ""


def run(seconds: float, seed: int, folder: Path) -> Counts:
    chance, end = random.Random(seed), time.monotonic() + seconds
    tried, notes = 0, list[str]()
    clocks = MovedClocks(folder)
    while clocks.works and (tried < 10 or time.monotonic() < end):
        job = folder / f"job-{tried}"
        job.mkdir()
        clocks.reboot(0)
        drive, steps = ClockedDrive(job, clocks), list[str]()
        for _ in range(8):
            steps.append(drive.step(chance))
            tried += 1
            problem = drive.problem()
            if problem:
                notes.append(f"{', '.join(steps)}: {problem}")
        drive.end()
    return Counts("steps of a clock that was set", tried, tried - len(notes), tuple(notes))
