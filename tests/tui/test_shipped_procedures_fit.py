"""Every operation of every shipped procedure on 80 by 24: nothing important is hidden."""

import re
from datetime import UTC, datetime
from pathlib import Path

import msgspec
import pytest

from benchflow.session.view.bench_view import OperationView
from benchflow.session.view.build import operation_view
from benchflow.tui.draw.bench_layout import BenchContent, BenchPicture, draw_bench
from benchflow.tui.draw.joint_map import next_fastener
from benchflow.tui.draw.large_type import draw_large
from benchflow.tui.draw.operation_panel import paragraph_lines
from benchflow.tui.draw.styled_lines import plain
from benchflow.tui.model.bench_inputs import BenchInput, TickInput, bench_inputs, input_of, takes_text
from benchflow.tui.model.current_task import OperationTask
from tests.driving.shipped import LIBRARY, ShippedBuild

NOON = datetime(2030, 1, 1, 14, 7, tzinfo=UTC)
PROCEDURES = sorted(path.stem for path in LIBRARY.glob("*.yaml"))
LEFT = 48
"""Columns on a screen of 80 up to the line beside the side column, with the margin."""


@pytest.mark.parametrize("procedure", PROCEDURES)
@pytest.mark.parametrize("large", [False, True], ids=["ordinary", "large"])
def test_cautions_current_input_and_field_are_complete(tmp_path: Path, procedure: str, large: bool) -> None:
    driver = ShippedBuild(tmp_path / "build.jsonl", procedure)
    driver.open()
    view = driver.controller.view()
    for name in driver.state.plan.steps:
        now = msgspec.structs.replace(operation_view(driver.state, driver.controller.context(), name), in_progress=True)
        for item in bench_inputs(now):
            scene = BenchContent(NOON, OperationTask(now), item)
            picture = (draw_large if large else draw_bench)(view, scene, 80, 24)
            left = " ".join(" ".join(plain(line)[: 80 if large else 49].split()) for line in picture.lines)
            for caution in now.cautions:
                assert caution.signal.upper() in left, name
                assert caution.text.split()[-1] in left, (name, caution.text)
            if takes_text(item):
                assert picture.place is not None, (name, item)
                row = plain(picture.lines[picture.place.y])
                assert row[picture.place.x - 1] == "[", (name, row)
                assert row[picture.place.x + picture.place.width] == "]", (name, row)
            if isinstance(item, TickInput) and not large:
                assert f"►{next_fastener(item.input)}◄" in left, (name, left)
            elif not large:
                assert label_of(item).split()[0] in left, (name, label_of(item))
    driver.controller.close()


def label_of(item: BenchInput) -> str:
    """The text by which an item is recognised on the screen."""
    given = input_of(item)
    found = next((getattr(given, name, "") for name in ("ask", "text", "title") if getattr(given, name, "")), "Finish")
    return str(found)


def instruction_lines(now: OperationView, width: int) -> list[str]:
    return [plain(line) for text in now.do for line in paragraph_lines(text, width)]


def hidden_lines_said(picture: BenchPicture) -> int:
    """The number of hidden instruction lines that the screen states."""
    rows = [plain(line)[:LEFT] for line in picture.lines]
    said = [re.search(r"[▲▼] (\d+) (?:more )?lines?(?: of instruction)? \(Pg(?:Dn|Up)\)", row) for row in rows]
    return sum(int(found[1]) for found in said if found)


@pytest.mark.parametrize("procedure", PROCEDURES)
def test_no_instruction_line_is_hidden_without_a_line_that_says_so(tmp_path: Path, procedure: str) -> None:
    driver = ShippedBuild(tmp_path / "build.jsonl", procedure)
    driver.open()
    view = driver.controller.view()
    turns = 0
    for name in driver.state.plan.steps:
        shown = operation_view(driver.state, driver.controller.context(), name)
        now = msgspec.structs.replace(shown, in_progress=True)
        scenes = [BenchContent(NOON, OperationTask(shown))]
        scenes += [
            BenchContent(NOON, OperationTask(now), item, show_text=turn)
            for item in bench_inputs(now)
            for turn in (None, True, False)
        ]
        for scene in scenes:
            picture = draw_bench(view, scene, 80, 24)
            left = [plain(line)[:LEFT].strip() for line in picture.lines]
            missing = [line for line in instruction_lines(now, LEFT - 1) if line.strip() and line.strip() not in left]
            assert len(missing) == hidden_lines_said(picture), (name, scene.show_text, missing)
            turns += picture.turn != ""
            if scene.show_text is None or scene.show_text:
                assert picture.turn != "picture", name
            assert picture.turn != "text" or any("(PgDn)" in line for line in left), name
    driver.controller.close()
    assert turns or procedure not in ("head-install", "pipe-flange")


@pytest.mark.parametrize("procedure", PROCEDURES)
def test_instruction_is_whole_on_the_screen_before_the_start(tmp_path: Path, procedure: str) -> None:
    driver = ShippedBuild(tmp_path / "build.jsonl", procedure)
    driver.open()
    view = driver.controller.view()
    for name in driver.state.plan.steps:
        now = operation_view(driver.state, driver.controller.context(), name)
        startable = msgspec.structs.replace(now, missing=())  # the reasons that block it take rows
        picture = draw_bench(view, BenchContent(NOON, OperationTask(startable)), 80, 24)
        assert picture.hidden == 0, name
    driver.controller.close()
