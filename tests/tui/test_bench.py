"""The bench driven by keys, with a real log: what the screen shows as done is in the file."""

import re
from pathlib import Path

from tests.driving.session_driver import SessionDriver
from tests.driving.small_head import start_session
from tests.tui.app_driver import drive_app

DOWN = {"pistons": "down"}


def measuring(folder: Path) -> SessionDriver:
    """A job with a measuring operation in progress: lash, and three readings of run-out."""
    driver = start_session(folder)
    driver.lower_and_tighten()
    driver.do("start", operation="measure[1]")
    return driver


async def test_first_entry_starts_an_operation_and_the_last_one_finishes_it(tmp_path: Path) -> None:
    driver = start_session(tmp_path, start=DOWN)
    driver.lower_and_tighten()
    async with drive_app(driver.controller) as bench:
        assert "Ready to start" in bench.text
        assert "Seat the cam" in bench.text
        await bench.press("enter")
        assert bench.kinds[-1] == "started"  # it has a temporary setting (`during`), so it has a start key of its own
        await bench.press("enter", "enter")
        assert bench.kinds[-3:] == ["checked", "checked", "finished"]
        assert "Finished: 4 Seat the cam" in bench.text
        assert (bench.last["kind"], bench.last["operation"], bench.last["by"]) == ("finished", "seat-cam", "Robin")
        assert f"{len(bench.events)} log lines" in bench.text


async def test_reading_without_unit_gets_the_unit_of_its_field(tmp_path: Path) -> None:
    async with drive_app(measuring(tmp_path).controller) as bench:
        assert "] mm   0.20 .. 0.30 mm" in bench.text
        await bench.type("0.25\n")
        assert bench.last["quantity"] == {"value": "0.25", "unit": "mm", "entered": "0.25 mm"}
        assert "Lash: 0.25 mm ok" in bench.text


async def test_value_in_another_unit_is_converted_on_the_screen_and_logged_as_typed(tmp_path: Path) -> None:
    async with drive_app(measuring(tmp_path).controller) as bench:
        await bench.type(".0098 in")
        assert "= 0.2489 mm" in bench.text
        assert "recorded" not in bench.kinds
        await bench.press("enter")
        assert bench.last["quantity"]["entered"] == ".0098 in"


async def test_typo_is_marked_and_nothing_is_cleared_or_entered(tmp_path: Path) -> None:
    async with drive_app(measuring(tmp_path).controller) as bench:
        before = bench.events
        await bench.type("0,25\n")
        row = next(line for line in bench.text.splitlines() if "↑" in line)
        field = next(line for line in bench.text.splitlines() if "] mm" in line)
        assert row.index("↑") == field.index("[") + 1 + "0,25".index(",")
        assert bench.field == "0,25"
        assert bench.events == before


async def test_gauge_fills_the_readings_in_order(tmp_path: Path) -> None:
    async with drive_app(measuring(tmp_path).controller) as bench:
        await bench.type("0.25\n0.01\n0.02\n0.03\n")
        recorded = [event["data"] for event in bench.events if event["kind"] == "recorded"]
        assert [(r["name"], r["reading"], r["quantity"]["value"]) for r in recorded] == [
            ("lash[1]", "1", "0.25"), ("runout[1]", "1", "0.01"),
            ("runout[1]", "2", "0.02"), ("runout[1]", "3", "0.03"),
        ]  # fmt: skip


async def test_extra_gauge_reading_neither_finishes_nor_starts_an_operation(tmp_path: Path) -> None:
    async with drive_app(measuring(tmp_path).controller) as bench:
        await bench.type("0.25\n0.01\n0.02\n0.03\n0.04\n")
        assert bench.kinds[-1] == "finished"
        assert "so nothing was entered" in bench.text


async def test_letter_is_a_command_only_in_an_empty_value_field(tmp_path: Path) -> None:
    async with drive_app(measuring(tmp_path).controller) as bench:
        await bench.press("w")
        assert "Before it can be finished" in bench.text
        await bench.press("escape")
        await bench.type("0.25 w")
        assert bench.field == "0.25 w"


async def test_draft_stays_after_leaving_the_field_and_opening_other_screens(tmp_path: Path) -> None:
    async with drive_app(measuring(tmp_path).controller) as bench:
        await bench.type("0.2")
        await bench.press("escape", "o")
        assert "Operations" in bench.text
        await bench.press("escape")
        assert bench.field == "0.2"
        await bench.press("down")
        assert bench.field == ""
        await bench.press("up")
        assert bench.field == "0.2"


async def test_digit_typed_after_leaving_the_field_goes_to_the_field(tmp_path: Path) -> None:
    async with drive_app(measuring(tmp_path).controller) as bench:
        await bench.press("escape")
        await bench.type("0.25\n")
        assert bench.last["quantity"]["value"] == "0.25"


async def test_reading_out_of_limit_is_logged_shown_and_keeps_the_operation_open(tmp_path: Path) -> None:
    async with drive_app(measuring(tmp_path).controller) as bench:
        await bench.type("0.35\n0.01\n0.02\n0.03\n")
        assert bench.events[-4]["data"]["verdict"] == "high"
        assert "HIGH" in bench.text
        await bench.press("down", "down", "down", "down")
        before = bench.events
        await bench.press("enter")
        assert bench.events == before
        assert "× Lash" in bench.text or "×" in bench.text


async def test_one_key_ticks_the_next_fastener_and_another_clears_the_tick(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_head()
    driver.do("start", operation="tighten")
    async with drive_app(driver.controller) as bench:
        assert "►1◄" in bench.text
        await bench.press("enter", "enter")
        assert (bench.last["kind"], bench.last["fastener"], bench.last["stage"]) == ("ticked", 2, 1)
        assert "2 of 4, stage 1 of 3: 20 N·m" in bench.text
        await bench.press("backspace")
        assert (bench.last["kind"], bench.last["fastener"]) == ("unticked", 2)
        assert "►2◄" in bench.text


async def test_check_stage_asks_for_the_reading_of_the_wrench(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_head()
    driver.do("start", operation="tighten")
    for fastener in (1, 2, 3, 4, 1, 2):
        driver.do("tick", joint="studs", fastener=fastener)
    async with drive_app(driver.controller) as bench:
        await bench.type("35 N·m\n")
        assert bench.last_of("ticked")["quantity"]["entered"] == "35 N·m"


async def test_scanned_lot_is_logged_as_text(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.do("start", operation="seal")
    async with drive_app(driver.controller) as bench:
        await bench.type("nwq-0042\n")
        assert bench.last["kind"] == "lot"
        assert bench.last["lot"] == "nwq-0042"


async def test_tick_of_a_check_can_be_cleared(tmp_path: Path) -> None:
    driver = start_session(tmp_path, start=DOWN)
    driver.lower_and_tighten()
    driver.do("start", operation="seat-cam")
    async with drive_app(driver.controller) as bench:
        await bench.press("enter", "up", "enter")
        assert bench.kinds[-2:] == ["checked", "unchecked"]


async def test_paused_operation_keeps_its_entries_and_can_be_continued(tmp_path: Path) -> None:
    async with drive_app(measuring(tmp_path).controller) as bench:
        await bench.type("0.25\n")
        await bench.press("a")
        assert bench.kinds[-1] == "paused"
        assert "Measure no. 1" in bench.text
        assert "Paused" in bench.text
        assert "0.25 mm" in bench.text
        await bench.type("0.01\n")
        assert bench.kinds[-2:] == ["started", "recorded"]
        assert "In progress" in bench.text


async def test_time_window_counts_down_and_rings_once_before_it_closes(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.do("start", operation="seal")
    driver.do("lot", consumable="sealant", lot="0042")
    driver.do("finish", operation="seal")
    async with drive_app(driver.controller) as bench:
        assert "10:00 left" in bench.text
        rung: list[str] = []
        bench.app.bell = lambda: rung.append("bell")  # type: ignore[method-assign]  # to count them
        driver.clock.advance(60)
        await bench.timer_tick()
        assert "9:00 left" in bench.text
        assert not rung
        driver.clock.advance(480)
        for _ in range(2):
            await bench.timer_tick()
        assert "▲ 1:00 left" in bench.text
        assert rung == ["bell"]
        driver.clock.advance(70)
        await bench.timer_tick()
        assert "× closed 0:10 ago" in bench.text
        assert "Redo step 1, or sign a" in bench.text


async def test_blocked_operation_shows_every_reason_and_one_key_guides_to_it(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_and_tighten()
    async with drive_app(driver.controller) as bench:
        await bench.press("o", "home", "down", "down", "down", "enter")
        assert "Blocked · 3 of 9 done" in bench.text
        await bench.press("enter")
        assert "an open valve would reach them" in bench.text
        assert " 1  Turn the pistons down" in bench.text
        assert " 2  Seat the cam (operation 4)" in bench.text
        await bench.press("g")
        assert "Guiding to 4 Seat the cam: 2 steps" in bench.text
        assert bench.kinds[-1] == "finished"
        await bench.press("enter")
        assert bench.last["kind"] == "moved"
        assert "Guiding to 4 Seat the cam: last step" in bench.text
        await bench.press("enter")
        assert (bench.last["kind"], bench.last["operation"]) == ("started", "seat-cam")


async def test_key_can_be_run_from_the_help(tmp_path: Path) -> None:
    async with drive_app(measuring(tmp_path).controller) as bench:
        await bench.press("question_mark")
        for word in ("pause", "rework", "deviate", "large type", "colours", "leave"):
            assert word in bench.text, word
        for _ in range(40):
            if re.search(r"► +n  note", bench.text):
                break
            await bench.press("down")
        await bench.press("enter")
        assert bench.screen.title_line == "Note"


async def test_greyed_key_shows_why_it_is_blocked(tmp_path: Path) -> None:
    async with drive_app(measuring(tmp_path).controller) as bench:
        await bench.press("u")
        assert "only between operations" in bench.text
        await bench.press("x")
        assert "while a joint is tightened" in bench.text
        await bench.press("down", "down", "down", "down", "enter")
        assert "Lash is not entered yet" in bench.text.split("────")[-1]


async def test_paused_operation_is_continued_not_started(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.do("start", operation="seal")
    async with drive_app(driver.controller) as bench:
        await bench.press("escape", "a")
        assert "Enter continue" in bench.text
        await bench.press("enter")
        assert bench.kinds[-1] == "started"


async def test_error_in_a_value_is_written_as_sentences(tmp_path: Path) -> None:
    async with drive_app(measuring(tmp_path).controller) as bench:
        await bench.type("0,25\n")
        assert "A comma can mean" in bench.text
        assert "Write 0.25" in bench.text
