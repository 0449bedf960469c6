"""Measures the speed of the screen in a real terminal, and compares it with a minimal Textual app.

Run: ``python -m tests.benchmarks.bench_screen [ROUNDS]``. It prints medians and 95th percentiles in milliseconds, and
the ratios to the minimal app, on a small and on a large screen. Aims: the first paint takes at most 1.3 times as long.
On a procedure of 500 operations, the time from a key to its repaint is at most 2.0 times as long at the 95th
percentile.
"""

import os
import select
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

from benchflow.session.controller import SessionController
from benchflow.session.procedure_loading import load_procedure, procedure_reader
from tests.driving.shipped import ShippedBuild
from tests.tui.terminal import Terminal

MINIMAL = """
from textual.app import App
from textual.widgets import Static
class Minimal(App):
    count = 0
    def compose(self):
        self.shown = Static("count 0")
        yield self.shown
    def on_key(self, event):
        self.count += 1
        self.shown.update(f"count {self.count}")
Minimal().run()
"""
RUN = ["-c", "import sys; from benchflow.cli import main; sys.exit(main())", "run"]
SIZES = ((80, 24), (200, 50))
FIRST_PAINT, KEY = 1.3, 2.0
"""The aims, as ratios to the minimal app."""

KEYS = 60
PAUSE = 0.75
"""Seconds between keys. An Enter that follows more quickly ticks no fastener."""


def long_procedure() -> str:
    """Return an invented procedure of 500 operations. The first has 144 ticks."""
    lines = [
        "benchflow: 1", "id: long", "title: Five hundred operations", 'revision: "1"', "notice: Invented.",
        "state:",
        *(f"  part-{n}: {{values: [off, on], start: 'off'}}" for n in range(6)),
        "interference:", "- {never: {part-0: 'on', part-5: 'on'}, because: they strike each other}",
        "joints:", "  ring: {title: Ring, pattern: star 24}",
        "sections:", "- title: All of it", "  operations:",
        "  - id: first", "    title: The first of them",
        "    tighten: {joint: ring, stages: [10 N·m, 20 N·m, 30 N·m, 40 N·m, 50 N·m, 60 N·m]}",
    ]  # fmt: skip
    for number in range(1, 500):
        after = [f"op-{number - 7}"] if number > 7 else ["first"]
        lines += [f"  - id: op-{number}", f"    title: Operation number {number}", f"    after: [{', '.join(after)}]"]
        if number % 50 == 0:
            lines += [f"    sets: {{part-{number // 50 % 5}: 'on'}}"]
    return "\n".join(lines) + "\n"


def long_session(folder: Path) -> Path:
    """Write a log of the long procedure with the first operation in progress, and return its path."""
    folder.mkdir()
    procedure = folder / "long.yaml"
    procedure.write_text(long_procedure(), encoding="utf-8")
    controller = SessionController.begin(
        folder / "long.jsonl", load_procedure(procedure), file=procedure.name, read=procedure_reader()
    )
    controller.send({"intent": "open", "by": "R. Tiller", "unit": "1", "options": {}, "start": {}})
    controller.send({"intent": "start", "operation": "first"})
    controller.close()
    return controller.journal.path


def head_session(folder: Path) -> Path:
    """Write a log of the shipped head installation with the nuts of the head half tightened, and return its path."""
    began = datetime.now(UTC) - timedelta(hours=1)
    driver = ShippedBuild(folder / "head.jsonl", "head-install", pace=1, start=began)
    driver.open(pistons="at-deck")
    driver.work_to("tighten-head")
    driver.finish("tighten-head", 20)
    driver.controller.close()
    return driver.controller.journal.path


def first_paint(argv: Sequence[str], seen: bytes, size: tuple[int, int]) -> float:
    """Return the milliseconds from the start of the process until the terminal has painted ``seen``."""
    began = time.perf_counter()
    with Terminal(argv, columns=size[0], rows=size[1]) as terminal:
        while seen not in terminal.painted:
            assert terminal.read(5.0), terminal.text
        return (time.perf_counter() - began) * 1000


class Typist:
    """A program in its own terminal, and a key that is pressed repeatedly in it."""

    def __init__(
        self, argv: Sequence[str], size: tuple[int, int], ready: str, key: str, shows: Callable[[int], str]
    ) -> None:
        self.terminal, self.key, self.shows = Terminal(argv, columns=size[0], rows=size[1]), key, shows
        self.terminal.wait_for(ready)
        for _ in range(20):
            self.terminal.read(0.05)
        self.took: list[float] = []

    def press_key(self) -> None:
        """Press the key once, and measure the milliseconds until its result is painted."""
        expected, painted = self.shows(len(self.took) + 1).encode(), b""
        began = time.perf_counter()
        self.terminal.type(self.key)
        while expected not in painted:
            assert select.select([self.terminal.fd], [], [], 5.0)[0], self.terminal.text
            painted += os.read(self.terminal.fd, 65536)
        self.took.append((time.perf_counter() - began) * 1000)


def repaints(*typists: Typist) -> None:
    """Press the keys of all programs in turn, so that other load on the machine affects all of them."""
    for _ in range(KEYS):
        for typist in typists:
            typist.press_key()
        time.sleep(PAUSE)
    for typist in typists:
        typist.terminal.__exit__(None, None, None)


def p95(values: Sequence[float]) -> float:
    return statistics.quantiles(values, n=20)[-1]


def line(title: str, ours: float, reference: float, selected: float) -> None:
    print(f"{title:<52} {ours:8.1f} ms   minimal {reference:7.1f} ms   {ours / reference:5.2f} times (aim {selected})")


def tick_text(number: int) -> str:
    """Return the text of the bench after ``number`` ticks of a joint with 24 fasteners."""
    done, stage = number % 24, number // 24 + 1
    return f"{done} of 24, stage {stage} of 6"


def main(rounds: int) -> None:
    with tempfile.TemporaryDirectory() as home:
        os.environ["BENCHFLOW_HOME"] = home
        # Both run with compiled modules, as installed programs do.
        os.environ.update(PYTHONDONTWRITEBYTECODE="", PYTHONPYCACHEPREFIX=str(Path(home) / "compiled"))
        folder = Path(home)
        minimal = folder / "minimal.py"
        minimal.write_text(MINIMAL, encoding="utf-8")
        head = head_session(folder)
        for size in SIZES:
            print(f"{size[0]} by {size[1]}")
            long = long_session(folder / f"{size[0]}")
            measure(rounds, size, minimal, head, long)


def measure(rounds: int, size: tuple[int, int], minimal: Path, head: Path, long: Path) -> None:
    """Measure and print the first paints and the keys on a screen of one size. ``long`` gets the ticks."""
    cases = {
        "minimal": ([str(minimal)], b"count 0"),
        "head install": ([*RUN, str(head)], b"STATE"),
        "500 operations": ([*RUN, str(long)], b"STATE"),
    }
    paints: dict[str, list[float]] = {name: [] for name in cases}
    for argv, seen in cases.values():
        first_paint(argv, seen, size)  # the modules are compiled
    for _ in range(rounds):  # alternate, so that other load affects all of them
        for name, (argv, seen) in cases.items():
            paints[name].append(first_paint(argv, seen, size))
    reference = statistics.median(paints["minimal"])
    for name in ("head install", "500 operations"):
        line(f"first paint, {name}, median of {rounds}", statistics.median(paints[name]), reference, FIRST_PAINT)
    base = Typist([str(minimal)], size, "count 0", "x", lambda n: f"count {n}")
    ours = Typist([*RUN, str(long)], size, "0 of 24", "\r", tick_text)
    repaints(base, ours)
    line(f"key to repaint, tick on disk, 500 operations, p95 of {KEYS}", p95(ours.took), p95(base.took), KEY)
    line("  the same, median", statistics.median(ours.took), statistics.median(base.took), KEY)
    print(f"{'longest single repaint':<52} {max(ours.took):8.1f} ms")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 11)
