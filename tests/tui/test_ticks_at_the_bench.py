"""Ticks with a reading at the bench: the optional field, HIGH and LOW, answers of a click wrench. Data is invented."""

from pathlib import Path

from tests.driving.session_driver import SessionDriver
from tests.driving.shipped import ShippedBuild
from tests.driving.small_head import start_session
from tests.tui.app_driver import drive_app

TEXT = """\
benchflow: 1
id: pulled
title: Pulled
revision: "1"
joints:
  caps: {title: Caps, layout: "2 1 3"}
sections:
- title: All
  operations:
  - id: pull
    title: Pull the caps down
    tighten: {joint: caps, stages: [40 N·m, {check: 38 N·m}]}
"""


def start_job(folder: Path) -> SessionDriver:
    driver = start_session(folder, TEXT, options={}, start={})
    driver.do("start", operation="pull")
    return driver


async def test_digit_opens_a_field_for_the_reading_of_a_tick(tmp_path: Path) -> None:
    async with drive_app(start_job(tmp_path).controller) as bench:
        assert "37.6 .. 42.4 N·m" in bench.text
        assert "the program's tolerance" in bench.text
        await bench.press("enter")
        assert "quantity" not in bench.last
        await bench.type("41")
        assert bench.field == "41"
        await bench.press("enter")
        assert (bench.last["fastener"], bench.last["quantity"]["entered"]) == (2, "41 N·m")
        assert "41 N·m ok" in bench.text
        await bench.press("backspace")
        assert bench.last["kind"] == "unticked"


async def test_escape_closes_the_field_without_an_entry(tmp_path: Path) -> None:
    async with drive_app(start_job(tmp_path).controller) as bench:
        before = bench.events
        await bench.type("41")
        await bench.press("escape")
        assert bench.field == ""
        await bench.press("enter")
        assert bench.events[len(before) :][0]["data"].get("quantity") is None


async def test_high_reading_asks_to_loosen_the_fastener_first(tmp_path: Path) -> None:
    async with drive_app(start_job(tmp_path).controller) as bench:
        await bench.type("50\n")
        assert bench.last["verdict"] == "high"
        assert "No. 1 is HIGH: 50 N·m" in bench.text
        assert "Loosen it, bring it up again, then press Enter" in " ".join(bench.text.split())
        assert "loosened, tightened again" in bench.text
        assert "►1◄" in bench.text
        await bench.type("40\n")
        assert (bench.last["verdict"], bench.last["loosened"]) == ("ok", True)
        assert "►2◄" in bench.text


async def test_low_reading_is_ticked_again(tmp_path: Path) -> None:
    async with drive_app(start_job(tmp_path).controller) as bench:
        await bench.type("30\n")
        assert "30 ft-lb would be inside it" in bench.text
        await bench.press("enter")
        assert "No. 1 is LOW: 30 N·m" in bench.text
        await bench.type("40\n")
        assert (bench.last["verdict"], bench.last["fastener"]) == ("ok", 1)


async def test_click_wrench_answers_held_or_moved_at_a_check(tmp_path: Path) -> None:
    async with drive_app(start_job(tmp_path).controller) as bench:
        await bench.press("enter", "enter", "enter")
        await bench.press("h")
        assert (bench.last["answer"], bench.last["verdict"]) == ("held", "ok")
        await bench.press("v", "h")
        assert [event["data"]["answer"] for event in bench.events[-2:]] == ["moved", "held"]
        assert "No. 3 done" in bench.text
        await bench.press("h")
        assert (bench.last_of("ticked")["fastener"], bench.last_of("ticked")["verdict"]) == (2, "ok")


async def test_tick_is_in_the_list_of_corrections(tmp_path: Path) -> None:
    async with drive_app(start_job(tmp_path).controller) as bench:
        await bench.type("42\n")
        await bench.press("c")
        assert "no. 1 of Caps, stage 1" in bench.text
        await bench.press("enter")
        assert "37.6 .. 42.4 N·m" in bench.text
        await bench.type("24\n")
        await bench.type("digits swapped\n")
        assert (bench.last["kind"], bench.last["verdict"]) == ("corrected", "low")


REMEDY_TEXT = """\
benchflow: 1
id: caps
title: Caps
joints: {caps: {title: Cap bolts, layout: '1 2'}}
sections:
- title: Bottom
  operations:
  - id: pull
    title: Pull the caps down
    tighten: {joint: caps, stages: [{torque: 40 N·m, below: [{do: Clean the thread}]}]}
"""


async def test_remedy_of_a_fastener_is_carried_out_by_its_key(tmp_path: Path) -> None:
    driver = start_session(tmp_path, REMEDY_TEXT, options={}, start={})
    driver.do("start", operation="pull")
    async with drive_app(driver.controller) as bench:
        await bench.type("20\n")
        assert bench.last["verdict"] == "low"
        assert "Clean the thread" in bench.text
        await bench.press("r")
        assert "Cap bolts, fastener 1" in bench.text
        await bench.press("enter")
        assert (bench.last["kind"], bench.last["fasteners"]) == ("remedied", [1])
        await bench.type("40\n")
        assert bench.last["verdict"] == "ok"


ASK_TEXT = TEXT.replace("[40 N·m, {check: 38 N·m}]", "[{torque: ask}]")


async def test_torque_that_is_not_printed_is_asked_for_with_its_source(tmp_path: Path) -> None:
    driver = start_session(tmp_path, ASK_TEXT, options={}, start={})
    driver.do("start", operation="pull")
    async with drive_app(driver.controller) as bench:
        assert "torque not printed" in bench.text
        await bench.press("enter")
        assert "The procedure does not have this figure" in bench.text
        await bench.type("110 ft-lb\n")
        await bench.type("bulletin 4\n")
        assert (bench.last["kind"], bench.last["figure"]) == ("figure-given", "110 ft-lb")
        assert bench.last["source"] == "bulletin 4"
        assert "110 ft-lb" in bench.text
        await bench.press("enter")
        assert (bench.last["kind"], bench.last["torque"]["entered"]) == ("ticked", "110 ft-lb")
        await bench.press("c")
        (line,) = [line for line in bench.text.splitlines() if "stage 1 of Caps" in line]
        assert line.endswith("110 ft-lb")
        await bench.press("enter")
        assert "bulletin 4" in bench.text, "the figure and its source can be corrected"


async def test_limit_of_a_torque_check_is_whole_on_a_narrow_screen(tmp_path: Path) -> None:
    driver = ShippedBuild(tmp_path / "build.jsonl", "head-install", pace=6)
    driver.open()
    driver.work_to("mark-nuts")
    async with drive_app(driver.controller) as bench:
        field = next(y for y, line in enumerate(bench.text.splitlines()) if "Torque at no. 1 [" in line)
        assert "at least 100 N·m" in "\n".join(bench.text.splitlines()[field : field + 2])


async def test_left_hand_thread_is_said_above_the_number(tmp_path: Path) -> None:
    """The wrong way round loosens or breaks the fastener: common practice, no source."""
    text = TEXT.replace('layout: "2 1 3"', 'layout: "2 1 3", left-hand: true, lubricant: dry')
    driver = start_session(tmp_path, text, options={}, start={})
    driver.do("start", operation="pull")
    async with drive_app(driver.controller) as bench:
        lines = bench.text.splitlines()
        notice = [n for n, line in enumerate(lines) if "▲ Left-hand thread: tighten counter-clockwise" in line]
        picture, lubricant = (next(n for n, line in enumerate(lines) if word in line) for word in ("►1◄", "Lubricant"))
        assert len(notice) == 1
        assert notice[0] < picture < lubricant
