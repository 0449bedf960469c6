"""Reading again, the rest of a stage together, and a stage begun again, by keys."""

from pathlib import Path

from tests.driving.script import procedure_with
from tests.driving.session_driver import SessionDriver
from tests.driving.small_head import start_session
from tests.tui.app_driver import drive_app

FLOAT = """\
{id: float, title: Measure the float, record: {float: {ask: Float, unit: mm, limit: 0.10 .. 0.20 mm,
 above: [{do: Fit a thicker washer, tries: 2}]}}}"""
SEAT = "{id: seat, title: Look at the seat, check: [{see: The seat is clean, if not: [{do: Lap it}]}]}"
FLANGE = "{id: flange, title: Tighten the flange, tighten: {joint: flange, stages: [20 N·m, 40 N·m]}}"
FLANGE_HEAD = "joints: {flange: {title: Flange nuts, pattern: star 6}}\n"


def started(folder: Path, operation: str, *, head: str = "") -> SessionDriver:
    return start_session(folder, procedure_with(operation, head=head), options={}, start={})


async def test_reading_out_of_its_limit_is_read_again_with_a_reason_by_one_key(tmp_path: Path) -> None:
    async with drive_app(started(tmp_path, FLOAT).controller) as bench:
        await bench.type("0.25\n")
        assert "HIGH" in bench.text
        assert "r remedy" in bench.text
        assert "y read again" in bench.text
        await bench.press("y")
        assert "1  dirt on the part or on the instrument" in bench.text
        await bench.press("2")
        await bench.type("0.15 mm")
        assert "ok" in bench.text
        await bench.press("enter", "enter")
        corrected = bench.last_of("corrected")
        assert corrected["reason"] == "read again: the zero of the instrument was off"
        assert (corrected["quantity"]["value"], corrected["verdict"]) == ("0.15", "ok")
        assert "remedied" not in bench.kinds


async def test_both_keys_are_offered_at_once_though_the_next_entry_is_selected(tmp_path: Path) -> None:
    text = FLOAT[:-1] + ", check: [The washer is dry]}"
    async with drive_app(started(tmp_path, text).controller) as bench:
        await bench.type("0.25\n")
        assert "► [ ] The washer is dry" in bench.text
        assert "r remedy" in bench.text
        await bench.press("y", "1")
        assert "New reading, in mm" in bench.text


async def test_corrected_value_far_from_its_limit_is_asked_about(tmp_path: Path) -> None:
    async with drive_app(started(tmp_path, FLOAT).controller) as bench:
        await bench.type("0.25\n")
        await bench.press("y", "3")
        await bench.type("2.5")
        await bench.press("enter")
        assert "corrected" not in bench.kinds
        assert "2.5 mm is far from the limit" in bench.text
        await bench.press("enter")
        assert bench.last_of("corrected")["quantity"]["value"] == "2.5"


async def test_check_answered_no_is_looked_at_again(tmp_path: Path) -> None:
    async with drive_app(started(tmp_path, SEAT).controller) as bench:
        await bench.press("b", "y", "1")
        await bench.press(*"yes", "enter", "enter")
        assert bench.last_of("corrected")["answer"] == "yes"


async def test_reading_inside_its_limit_has_no_key_to_read_it_again(tmp_path: Path) -> None:
    text = procedure_with(
        "{id: two, title: Two, record: {a: {ask: A, unit: mm, limit: 0.1 .. 0.2 mm}, b: {ask: B, unit: mm}}}"
    )
    async with drive_app(start_session(tmp_path, text, options={}, start={}).controller) as bench:
        await bench.type("0.15\n")
        await bench.press("up")
        assert "read again" not in bench.text


async def test_rest_of_a_stage_is_entered_together_by_one_key(tmp_path: Path) -> None:
    async with drive_app(started(tmp_path, FLANGE, head=FLANGE_HEAD).controller) as bench:
        await bench.press("enter", "enter", "p")
        ticked = [event["data"] for event in bench.events if event["kind"] == "ticked"]
        assert [tick.get("together", False) for tick in ticked] == [False, False, True, True, True, True]
        assert "Entered together: no. " in bench.text
        assert "0 of 6, stage 2 of 2: 40 N·m" in bench.text
        await bench.press("enter", "p")
        assert bench.kinds[-1] == "finished"


async def test_after_a_break_the_last_fastener_is_named_and_the_stage_can_begin_again(tmp_path: Path) -> None:
    driver = started(tmp_path, FLANGE, head=FLANGE_HEAD)
    driver.do("start", operation="flange")
    for fastener in (1, 2):
        driver.do("tick", joint="flange", fastener=fastener)
    async with drive_app(driver.controller) as bench:
        assert "begin the stage again" not in bench.text
        driver.clock.advance(3660)
        await bench.timer_tick()
        assert "last: no. 2. Check no. 2, then no. 3." in bench.text
        assert "b begin the stage again" in bench.text
        await bench.press("b")
        assert bench.kinds[-1] == "stage-again"
        assert "►1◄" in bench.text


async def test_stage_without_ticks_is_not_begun_again(tmp_path: Path) -> None:
    async with drive_app(started(tmp_path, FLANGE, head=FLANGE_HEAD).controller) as bench:
        before = bench.events
        await bench.press("b")
        assert bench.events == before


async def test_after_a_pause_the_last_fastener_is_named_before_the_next_one_is_ticked(tmp_path: Path) -> None:
    async with drive_app(started(tmp_path, FLANGE, head=FLANGE_HEAD).controller) as bench:
        await bench.press("enter", "enter", "a")
        assert "Paused" in bench.text
        assert "last: no. 2. Check no. 2, then no. 3." in bench.text
        await bench.press("enter")
        assert bench.kinds[-2:] == ["started", "ticked"]


async def test_failed_fastener_stops_the_joint_until_its_repair_is_entered(tmp_path: Path) -> None:
    async with drive_app(started(tmp_path, FLANGE, head=FLANGE_HEAD).controller) as bench:
        await bench.press("enter", "enter", "z", "enter", "right", "enter", "enter")
        assert (bench.last["kind"], bench.last["fastener"], bench.last["what"]) == ("fastener-failed", 3, "stripped")
        assert "The joint is stopped" in bench.text
        assert "Enter enter the repair" in bench.text
        before = bench.kinds.count("ticked")
        await bench.press("enter")
        assert bench.screen.title_line == "Repair of a fastener"
        await bench.press("right", "enter", "enter")
        assert (bench.last["kind"], bench.last["repair"]) == ("repaired", "Thread insert fitted")
        assert bench.kinds.count("ticked") == before
        assert "►1◄" in bench.text
