"""A time window that has closed blocks its operation, and one key begins the rework that it asks for."""

from pathlib import Path

from tests.driving.small_head import SmallHead, start_session
from tests.tui.app_driver import drive_app


def sealed(folder: Path) -> SmallHead:
    """A job with the sealant on the head: the next operation has to follow within 10 min."""
    driver = start_session(folder)
    driver.do("start", operation="seal")
    driver.do("lot", consumable="sealant", lot="0042")
    driver.do("finish", operation="seal")
    return driver


async def test_closed_window_blocks_the_start_and_one_key_begins_its_rework(tmp_path: Path) -> None:
    driver = sealed(tmp_path)
    async with drive_app(driver.controller) as bench:
        assert "2 Lower the head" in bench.text
        driver.clock.advance(1200)
        await bench.timer_tick()
        assert "Blocked" in bench.text
        assert "closed 10:00 ago" in bench.text
        before = bench.events
        await bench.press("enter", "escape")
        assert bench.events == before
        assert "u begin the rework" in bench.text
        await bench.press("u")
        assert "Do again: 1 " in bench.text
        await bench.type("it has skinned\n")
        assert (bench.last_of("rework-started")["operation"]) == "seal"
        await bench.press("enter")
        assert "1 Seal the corners" in bench.text
        assert "Guiding to 1" in bench.text


async def test_page_of_the_reasons_has_the_keys_that_they_ask_for(tmp_path: Path) -> None:
    driver = sealed(tmp_path)
    async with drive_app(driver.controller) as bench:
        driver.clock.advance(1200)
        await bench.timer_tick()
        await bench.press("w")
        assert bench.screen.title_line == "Why blocked"
        assert "u rework" in bench.text
        assert "d deviate" in bench.text
        await bench.press("u")
        assert bench.screen.title_line == "Rework plan"
        await bench.press("escape", "w", "d")
        assert bench.screen.title_line == "Deviation"


async def test_panel_alarm_and_clock_tell_the_same_time(tmp_path: Path) -> None:
    driver = sealed(tmp_path)
    async with drive_app(driver.controller) as bench:
        driver.clock.advance(620)
        await bench.timer_tick()
        assert "0:20" in bench.text
        driver.clock.advance(180)
        await bench.timer_tick()
        assert "closed 3:20 ago" in bench.text
        assert "0:20 min" not in bench.text


async def test_alarm_at_another_operation_says_how_to_get_to_its_keys(tmp_path: Path) -> None:
    driver = sealed(tmp_path)
    async with drive_app(driver.controller) as bench:
        driver.clock.advance(1200)
        await bench.timer_tick()
        await bench.press("slash", "8", "enter")
        assert "To see what to do, press / and type 2." in bench.text
        await bench.press("slash", "2", "enter")
        assert "u begin the rework" in bench.text


async def test_deviation_about_a_time_window_names_its_limits_and_its_operation(tmp_path: Path) -> None:
    driver = sealed(tmp_path)
    async with drive_app(driver.controller) as bench:
        driver.clock.advance(1200)
        await bench.timer_tick()
        await bench.press("d")
        assert "time window: at most 10 min after Seal the corners" in bench.text


PROVED = """\
benchflow: 1
id: proved
title: Proved
revision: "1"
state:
  bead: {title: Bead of sealant, values: [wet, cured], start: wet}
sections:
- title: All
  operations:
  - {id: bead, title: Apply the bead}
  - id: cure
    title: Let it cure
    after: [bead]
    time: {bead: {limit: at least 60 min, proves: bead}}
    sets: {bead: cured}
  - {id: fill, title: Fill the coolant, after: [cure], needs: {bead: cured}}
"""


async def test_state_that_a_waived_window_leaves_unknown_is_entered_from_the_reasons(tmp_path: Path) -> None:
    driver = start_session(tmp_path, PROVED, options={}, start={})
    driver.work("bead")
    driver.do("deviate", operation="cure", about="time", reason="in a hurry", by="Robin")
    driver.work("cure")
    async with drive_app(driver.controller) as bench:
        assert "→ Bead of sealant: not known. Look at it and" in bench.text
        await bench.press("w")
        assert bench.screen.title_line == "Why blocked"
        assert "There is no safe route to it now" in bench.text
        assert "→ Bead of sealant: not known. Look at it and enter its state: s" in bench.text
        assert "s state" in bench.text
        await bench.press("s", "enter")
        assert bench.screen.title_line == "State found"
        await bench.press("right", "right", "enter")
        await bench.type("skinned hard\n")
        assert (bench.last_of("state-set")["variable"], bench.last_of("state-set")["value"]) == ("bead", "cured")
        await bench.press("enter")
        assert "Blocked" not in bench.text
