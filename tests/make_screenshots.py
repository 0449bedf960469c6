"""Make the pictures in ``screenshots/`` with the real program and the shipped head installation.

    python -m tests.make_screenshots [FOLDER [NAME...]]

The clock is fixed, so the same version of the program makes the same pictures.
"""

import asyncio
import html
import os
import re
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractAsyncContextManager, suppress
from datetime import timedelta
from pathlib import Path
from typing import Any, NamedTuple

from benchflow.session.machine_folders import MachineFolders
from benchflow.tui.draw.large_letters import QUARTERS
from benchflow.tui.draw.themes import Name, bench_theme
from benchflow.tui.model.job_catalog import JobCatalog
from benchflow.tui.screens.job_list_page import JobListPage
from benchflow.tui.screens.start_page import StartPage
from benchflow.tui.widgets.page import Page
from tests.driving.shipped import LIBRARY, ShippedBuild
from tests.driving.teardown_script import OPEN, TeardownScript
from tests.tui.app_driver import AppDriver, drive_app
from tests.tui.teardown_driver import drive_teardown

HOME = Path(tempfile.gettempdir()) / "benchflow-pictures"
"""A fixed folder, because some pictures show its path."""
SMALL, WIDE, WIDEST = (80, 24), (120, 40), (200, 50)
BLOCKS = re.compile(
    r'<text class="(?P<style>[^"]*)" x="(?P<x>[^"]*)" y="(?P<y>[^"]*)"[^>]*>'
    r"(?P<text>(?:&#160;|[▘▝▀▖▌▞▛▗▚▐▜▄▙▟█])+)</text>"
)
FONT = "ui-monospace, 'DejaVu Sans Mono', 'Liberation Mono', Menlo, Consolas, monospace"


class Shot(NamedTuple):
    """One picture. ``stage`` makes the session, page or log of a teardown to show; then ``keys`` are pressed."""

    name: str
    size: tuple[int, int]
    bench_theme: Name
    stage: Callable[[Path], "ShippedBuild | Page[Any] | Path"]
    keys: tuple[str, ...] = ()


def at(goal: str, entering: int | None = None, wait: timedelta = timedelta()) -> Callable[[Path], ShippedBuild]:
    """The head installation with ``goal`` in progress and the first ``entering`` entries made."""

    def stage(log: Path) -> ShippedBuild:
        driver = ShippedBuild(log, "head-install", pace=6)
        driver.open(pistons="at-deck")
        driver.work_to(goal)
        if entering is not None:
            driver.finish(goal, entering)
        driver.clock.advance(wait.total_seconds())
        return driver

    return stage


def new_job(log: Path) -> ShippedBuild:
    driver = ShippedBuild(log, "head-install")
    driver.open(pistons="at-deck")
    return driver


def before(goal: str, wait: timedelta = timedelta()) -> Callable[[Path], ShippedBuild]:
    """The head installation with everything before ``goal`` done and no operation in progress."""

    def stage(log: Path) -> ShippedBuild:
        driver = ShippedBuild(log, "head-install", pace=6)
        driver.open(pistons="at-deck")
        driver.work_to(goal, before=True)
        driver.clock.advance(wait.total_seconds())
        return driver

    return stage


def catalog_for(log: Path) -> JobCatalog:
    home = log.parent
    clock = new_job(log.with_name("other.jsonl")).clock
    return JobCatalog(MachineFolders(home / "data", home / "config", home / "cache"), log.parent / "sessions", clock)


def job_list(log: Path) -> "Page[Any]":
    (log.parent / "sessions").mkdir()
    for number, goal in ((2417, "measure-protrusion[2]"), (2422, "tighten-head")):
        driver = ShippedBuild(log.parent / "sessions" / f"job-{number}.jsonl", "head-install")
        driver.open(unit=f"job {number}", pistons="at-deck")
        driver.work_to(goal)
        driver.controller.close()
    return JobListPage(catalog_for(log), None, None)


def start(log: Path) -> "Page[Any]":
    catalog = catalog_for(log)
    return StartPage(catalog, catalog.load(LIBRARY / "head-install.yaml"), "head-install.yaml", None, None)


def teardown(log: Path) -> Path:
    """The log of an invented gearbox that is half taken apart."""
    script = TeardownScript(log.parent)
    script.send(OPEN)
    script.do("measure", name="end float", place="input shaft", value="0.12 mm")
    script.do("skip", reason="Measured when it came in")
    lines = (Path(__file__).parent / "session" / "data" / "gearbox_teardown.txt").read_text(encoding="utf-8")
    script.off(*lines.splitlines()[:17])
    return script.path


CALCULATION_INPUTS = (*"300 in-lb", "enter", *"10 in", "enter", *"4 in")
SEALANT_OPEN = before("set-head-down", timedelta(minutes=7))
SHOTS = (
    Shot("reading", SMALL, "dark", at("measure-protrusion[2]"), tuple("4.7 thou")),
    Shot("reading-wide", WIDE, "light", at("measure-protrusion[2]", 1), tuple("0.12")),
    Shot("tightening", SMALL, "dark", at("tighten-head", 17)),
    Shot("tightening-wide", WIDE, "dark", at("tighten-head", 17)),
    Shot("tightening-widest", WIDEST, "dark", at("tighten-head", 17)),
    Shot("tightening-light", SMALL, "light", at("tighten-head", 17)),
    Shot("tightening-16", SMALL, "16-colour", at("tighten-head", 17)),
    Shot("tightening-plain", SMALL, "plain", at("tighten-head", 17)),
    Shot("large", SMALL, "dark", at("tighten-head", 17), ("f5",)),
    Shot("large-reading", SMALL, "light", at("measure-protrusion[2]"), ("f5", *"0.12")),
    Shot("out-of-limit", SMALL, "dark", at("dry-holes"), (*"41.5", "enter", "up")),
    Shot("read-again", SMALL, "light", at("dry-holes"), (*"41.5", "enter", "y", "2", *"42.6")),
    Shot("find", SMALL, "dark", at("tighten-head", 17), ("slash", *"cam")),
    Shot("countdown", SMALL, "dark", SEALANT_OPEN),
    Shot("countdown-large", WIDE, "light", SEALANT_OPEN, ("f5",)),
    Shot("blocked", SMALL, "dark", new_job, ("o", *["down"] * 40, "w")),
    Shot("operations", WIDE, "dark", at("lay-cam[intake]"), ("o",)),
    Shot("rework", SMALL, "light", before("lay-cam[intake]"), ("u", *["down"] * 5, "enter")),
    Shot("hold", SMALL, "dark", at("mark-nuts", -1), ("enter",)),
    Shot("entry-error", SMALL, "light", at("measure-protrusion[2]"), (*"0,12", "enter")),
    Shot("start", SMALL, "dark", start),
    Shot("job-list", SMALL, "light", job_list),
    Shot("help", SMALL, "dark", at("measure-protrusion[2]"), ("question_mark",)),
    Shot("leave", SMALL, "dark", at("measure-protrusion[2]", 1), ("q",)),
    Shot("teardown", SMALL, "dark", teardown, tuple("interlock plate, 2x M6x16, bag 5, replace: bent")),
    Shot("calculation", SMALL, "light", new_job, ("equals_sign", "down", "enter", *CALCULATION_INPUTS)),
)


async def take_picture(shot: Shot, log: Path) -> str:
    stage = shot.stage(log)
    running: AbstractAsyncContextManager[AppDriver]
    if isinstance(stage, Path):
        running = drive_teardown(stage, shot.size)
    else:
        running = drive_app(stage.controller if isinstance(stage, ShippedBuild) else stage, shot.size)
    async with running as bench:
        apply_theme(bench, shot.bench_theme)
        for key in shot.keys:
            await bench.press(key)
        return without_web_font(bench.app.export_screenshot(title=" "))


def apply_theme(bench: AppDriver, name: Name) -> None:
    bench.app.bench_theme = bench_theme(name)
    bench.app._apply_theme()
    bench.screen.apply_theme()
    bench.screen.redraw()


def without_web_font(svg: str) -> str:
    """Replace the web font by local fonts, so that the picture fetches nothing, and keep all blanks."""
    svg = re.sub(r"@font-face \{.*?\}", "", svg, flags=re.DOTALL)
    svg = re.sub(r"font-family: [^;]*;", f"font-family: {FONT};", svg)
    svg = re.sub(r"<circle [^>]*/>|<!--.*?-->", "", svg, flags=re.DOTALL)
    svg = svg.replace("<svg ", '<svg xml:space="preserve" ', 1)
    return BLOCKS.sub(drawn_blocks, svg)


def drawn_blocks(text: re.Match[str]) -> str:
    """Draw quarter blocks as squares. As text, a font would leave gaps between the rows."""
    left, base = float(text["x"]), float(text["y"])
    top, across, down = base - 18.5, 12.2, 24.4  # the size of a cell in the export
    boxes = []
    for column, char in enumerate(html.unescape(text["text"])):
        lit = QUARTERS.find(char)
        for bit, (row, side) in enumerate(((0, 0), (0, 1), (1, 0), (1, 1))):
            if lit > 0 and lit & (1 << bit):
                x, y = left + (column + side / 2) * across, top + row * down / 2
                boxes.append(f"M{x:.1f} {y:.1f}h{across / 2 + 0.2:.1f}v{down / 2 + 0.2:.1f}h-{across / 2 + 0.2:.1f}z")
    return f'<path class="{text["style"]}" d="{"".join(boxes)}"/>'


def chosen_shots(names: list[str]) -> Iterator[Shot]:
    return (shot for shot in SHOTS if not names or shot.name in names)


def main(argv: list[str]) -> None:
    folder = Path(argv[0]) if argv else Path(__file__).parents[1] / "screenshots"
    os.environ["TZ"] = "UTC"
    time.tzset()
    for shot in chosen_shots(argv[1:]):
        shutil.rmtree(HOME, ignore_errors=True)
        HOME.mkdir()
        os.environ["BENCHFLOW_HOME"] = str(HOME)
        svg = asyncio.run(take_picture(shot, HOME / "job-2417.jsonl"))
        (folder / f"{shot.name}.svg").write_text(svg, encoding="utf-8")
        print(shot.name)
    shutil.rmtree(HOME, ignore_errors=True)
    if not argv[1:]:
        draw_order(folder / "order.svg")


def draw_order(out: Path) -> None:
    """Draw the order of the head installation with `benchflow order --svg`."""
    from benchflow.cli import main as benchflow

    out.unlink(missing_ok=True)
    with suppress(SystemExit):
        benchflow(["order", str(LIBRARY / "head-install.yaml"), "--svg", str(out)])
    if not out.exists():
        raise SystemExit("order.svg was not drawn")
    print("order")


if __name__ == "__main__":
    main(sys.argv[1:])
