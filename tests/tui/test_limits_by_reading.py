"""Limits that vary by reading, at the bench: each field has the limit and the gauge of its own reading."""

from pathlib import Path

from tests.driving.small_head import start_session
from tests.tui.app_driver import drive_app

TEXT = """\
benchflow: 1
id: bores
title: Bores
revision: "1"
places: {cap: [1, 2, 3, 4, 5, 6, 7]}
sections:
- title: All
  operations:
  - id: bore
    title: Measure the bores
    record:
      bore:
        ask: Bore of each cap
        unit: mm
        readings: cap
        limit: {by: cap, 1: 10 .. 11 mm, 2: 20 .. 21 mm, 3: 30 .. 31 mm, 4: 40 .. 41 mm, else: 50 .. 51 mm}
"""


async def test_field_has_the_limit_of_its_reading(tmp_path: Path) -> None:
    driver = start_session(tmp_path, TEXT, options={}, start={})
    driver.do("start", operation="bore")
    async with drive_app(driver.controller) as bench:
        assert "10 .. 11 mm" in bench.text
        assert "20 .. 21 mm" not in bench.text
        await bench.type("10.5\n")
        assert bench.last["verdict"] == "ok"
        assert "20 .. 21 mm" in bench.text
        assert "10 .. 11 mm" not in bench.text
        await bench.type("10.5")
        assert "●━" not in bench.text  # below the limit of this reading, although within that of the first
        await bench.press("enter")
        assert (bench.last["reading"], bench.last["verdict"]) == ("2", "low")
        assert "LOW" in bench.text


SIDE_CLEARANCE = """\
benchflow: 1
id: gears
title: Gears
revision: "1"
places: {gear: [drive, driven]}
sections:
- title: All
  operations:
  - id: measure
    title: Measure housing and gears
    record:
      depth: {ask: Depth of the housing, unit: mm}
      width: {ask: Width of the gear, unit: mm, readings: gear}
    work-out:
      clearance: {title: Side clearance, is: depth - width, unit: mm, limit: 0.05 .. 0.10 mm}
"""


async def test_every_result_of_a_value_that_is_calculated_by_reading_is_shown(tmp_path: Path) -> None:
    driver = start_session(tmp_path, SIDE_CLEARANCE, options={}, start={})
    driver.do("start", operation="measure")
    async with drive_app(driver.controller) as bench:
        await bench.type("32.06\n")
        await bench.type("31.99\n")
        await bench.type("31.93\n")
        assert "drive: 0.07 mm  ok" in bench.text
        assert "driven: 0.13 mm  HIGH" in bench.text
