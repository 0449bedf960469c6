"""A time window that has closed blocks its operation, and one key begins the rework that it asks for."""

from pathlib import Path

from tests.driving.small_head import start_session
from tests.tui.app_driver import drive_app


async def test_closed_window_blocks_the_start_and_one_key_begins_its_rework(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.do("start", operation="seal")
    driver.do("lot", consumable="sealant", lot="0042")
    driver.do("finish", operation="seal")
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
