"""A small screen of the bench shows the instruction or the picture, and keys change between them. Data is invented."""

from pathlib import Path

from tests.driving.session_driver import SessionDriver
from tests.driving.small_head import start_session
from tests.tui.app_driver import AppDriver, drive_app

LINES = [f"{number}. Line {number} of the work on the cover." for number in range(1, 13)]
TEXT = f"""\
benchflow: 1
id: cover
title: Cover
revision: "1"
joints:
  bolts:
    title: Bolts
    layout: |
      7 1 8
      5 . 6
      3 . 4
      9 2 10
    sides: {{left: front, top: exhaust side}}
sections:
- title: All
  operations:
  - id: tighten
    title: Tighten the cover
    do: |
      {"      ".join(f"{line}{chr(10)}" for line in LINES)}
    tighten: {{joint: bolts, stages: [10 N·m, 20 N·m]}}
"""


def start_job(folder: Path) -> SessionDriver:
    driver = start_session(folder, TEXT, options={}, start={})
    driver.do("start", operation="tighten")
    return driver


def shown(bench: AppDriver) -> tuple[list[int], bool]:
    """The numbers of the instruction lines on the screen, and whether the map of the joint is there."""
    text = bench.text
    return [n for n in range(1, 13) if f"Line {n} of" in text], "▲ exhaust side" in text


async def test_instruction_is_whole_until_the_first_tick_and_the_map_comes_after_it(tmp_path: Path) -> None:
    async with drive_app(start_job(tmp_path).controller) as bench:
        assert shown(bench) == ([*range(1, 13)], False)
        assert "►1◄" in bench.text
        assert "▼ larger picture (PgDn)" in bench.text
        await bench.press("enter")
        numbers, has_map = shown(bench)
        assert has_map
        hidden = 12 - len(numbers)
        assert f"▲ {hidden} lines of instruction (PgUp)" in bench.text


async def test_page_keys_change_between_instruction_and_picture(tmp_path: Path) -> None:
    async with drive_app(start_job(tmp_path).controller) as bench:
        await bench.press("pagedown")
        assert shown(bench)[1]
        await bench.press("pageup")
        assert shown(bench) == ([*range(1, 13)], False)
        await bench.press("enter", "pageup")
        assert shown(bench) == ([*range(1, 13)], False)
        await bench.press("pagedown")
        assert shown(bench)[1]
