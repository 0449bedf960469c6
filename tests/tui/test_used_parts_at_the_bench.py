"""The builder says at the bench whether a part is used: its own limit then judges the reading. Invented data.

The key `used` is that of `procedure-format.md`, "record". No source outside.
"""

from pathlib import Path

from tests.driving.small_head import start_session
from tests.tui.app_driver import drive_app

TEXT = """\
benchflow: 1
id: used
title: Used
revision: "1"
sections:
- title: All
  operations:
  - id: m
    title: M
    record:
      play: {ask: Measure the play, unit: mm, limit: 0.10 .. 0.28 mm, used: LIMIT, ABOVE}
    check: [Noted]
"""


def text_with(limit: str, above: str = "") -> str:
    return TEXT.replace("LIMIT", limit).replace(", ABOVE", f", {above}" if above else "")


async def test_reading_that_is_out_is_judged_as_that_of_a_used_part_by_one_key(tmp_path: Path) -> None:
    text = text_with("at most 0.40 mm", "above: [{do: Fit a new washer}]")
    driver = start_session(tmp_path, text, options={}, start={})
    driver.do("start", operation="m")
    async with drive_app(driver.controller) as bench:
        await bench.type("0.35\n")
        assert "HIGH" in bench.text
        assert "If the part is used, press p: limit at most 0.40 mm." in bench.text
        await bench.press("p")
        said = bench.last_of("recorded")
        assert (said["used"], said["verdict"], said["quantity"]["entered"]) == (True, "ok", "0.35 mm")
        assert "claims" in said  # it is not another reading
        assert "Measure the play: 0.35 mm ok, used part, limit at most 0.40 mm" in bench.text
        await bench.press("up")
        assert "0.35 mm  ok, used part, limit at most 0.40 mm" in bench.text
        assert "Used part. If new (p): limit 0.10 .. 0.28 mm" in bench.text
        await bench.press("p")
        assert bench.last_of("recorded")["verdict"] == "high"


async def test_part_is_stated_before_its_reading_and_survives_leaving(tmp_path: Path) -> None:
    driver = start_session(tmp_path, text_with("at most 0.40 mm"), options={}, start={})
    driver.do("start", operation="m")
    async with drive_app(driver.controller) as bench:
        await bench.press("p")
        assert "Used part. If new (p): limit 0.10 .. 0.28 mm" in bench.text
        await bench.press("a")  # pause
        await bench.press("enter")
        assert "Used part" in bench.text
        await bench.press("p", "p")  # taken back, and stated again
        await bench.type("0.35\n")
        assert (bench.last_of("recorded")["used"], bench.last_of("recorded")["verdict"]) == (True, "ok")


async def test_limit_for_used_parts_is_asked_only_when_the_part_is_used(tmp_path: Path) -> None:
    driver = start_session(tmp_path, text_with("ask"), options={}, start={})
    driver.do("start", operation="m")
    async with drive_app(driver.controller) as bench:
        await bench.press("p", "enter")
        assert "Measure the play: limit for used parts" in bench.text
        await bench.type("at most 0.40 mm\nmanual p. 3\n")
        await bench.type("0.35\n")
        assert bench.last_of("recorded")["limit"] == "at most 0.40 mm"


async def test_limit_for_used_parts_is_asked_for_a_reading_that_is_entered(tmp_path: Path) -> None:
    driver = start_session(tmp_path, text_with("ask"), options={}, start={})
    driver.do("start", operation="m")
    async with drive_app(driver.controller) as bench:
        await bench.type("0.35\n")
        await bench.press("p")
        assert "Measure the play: limit for used parts" in bench.text
        await bench.type("at most 0.40 mm\nmanual p. 3\n")
        assert (bench.last_of("recorded")["used"], bench.last_of("recorded")["verdict"]) == (True, "ok")


async def test_part_that_an_option_decides_about_has_no_key(tmp_path: Path) -> None:
    text = text_with("{limit: at most 0.40 mm, when: {rods: old}}").replace(
        "sections:", "options: {rods: {ask: Which rods?, choices: [old, new]}}\nsections:"
    )
    driver = start_session(tmp_path, text, options={"rods": "new"}, start={})
    driver.do("start", operation="m")
    async with drive_app(driver.controller) as bench:
        assert "part is" not in bench.text


JOINT = """\
joints:
  caps: {thread: M8x1.25, class: "8.8", lubricant: oil, layout: "1 2 3 4"}
sections:
"""


async def test_key_for_a_used_part_never_ticks_the_rest_of_a_stage(tmp_path: Path) -> None:
    text = text_with("at most 0.40 mm").replace("sections:\n", JOINT)
    text = text.replace("check: [Noted]", "tighten: {joint: caps, stages: [10 N·m]}")
    driver = start_session(tmp_path, text, options={}, start={})
    driver.do("start", operation="m")
    async with drive_app(driver.controller) as bench:
        await bench.type("0.35\n")
        assert "select this reading again (↑) and press p: limit at most 0.40 mm" in " ".join(bench.text.split())
        assert "p tick the rest" in bench.text
        assert "part is used" not in bench.text.splitlines()[-1]
        await bench.press("up")
        assert "p part is used" in bench.text
        await bench.press("p")
        assert bench.last_of("recorded")["verdict"] == "ok"
        assert not any(line.kind == "ticked" for line in driver.controller.journal.lines)


async def test_key_for_a_used_part_is_about_the_selected_reading(tmp_path: Path) -> None:
    text = text_with("at most 0.40 mm").replace("{ask:", "{readings: 2, ask:")
    driver = start_session(tmp_path, text, options={}, start={})
    driver.do("start", operation="m")
    async with drive_app(driver.controller) as bench:
        await bench.type("0.35\n")
        assert "select this reading again" in bench.text
        await bench.press("up", "p")
        assert (bench.last_of("recorded")["reading"], bench.last_of("recorded")["used"]) == ("1", True)


async def test_question_about_a_reading_goes_when_the_part_is_stated(tmp_path: Path) -> None:
    driver = start_session(tmp_path, text_with("ask"), options={}, start={})
    driver.do("start", operation="m")
    async with drive_app(driver.controller) as bench:
        await bench.type("150\n")
        assert "is far from the limit 0.10 .. 0.28 mm" in bench.text
        await bench.press("escape", "p")
        assert "is far from the limit" not in bench.text
