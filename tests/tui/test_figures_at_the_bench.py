"""Figures that the procedure asks for, given at the bench by keys. All data is invented."""

from pathlib import Path

import pytest

from tests.driving.small_head import start_session
from tests.tui.app_driver import drive_app

TEXT = """\
benchflow: 1
id: asked
title: Asked
revision: "1"
joints:
  cover: {title: Cover, layout: ask, count: 2, lubricant: ask}
sections:
- title: All
  operations:
  - id: seal
    title: Apply the sealant
    check: [The bead is closed]
  - id: close
    title: Close the cover
    time: {seal: ask}
    record:
      play: {ask: Measure the play, unit: mm, limit: ask}
    work-out:
      twice: {title: Twice the play, is: play * 2, unit: mm, limit: ask}
    tighten: {joint: cover, stages: [{torque: ask}, {angle: ask}]}
"""


async def test_each_figure_is_asked_on_the_way_and_nothing_else_blocks(tmp_path: Path) -> None:
    driver = start_session(tmp_path, TEXT, options={}, start={})
    async with drive_app(driver.controller) as bench:

        async def give(title: str, value: str) -> None:
            assert "give the figure" in bench.text
            await bench.press("enter")
            assert title in bench.text
            assert "The procedure does not have this figure" in bench.text
            await bench.type(f"{value}\n")
            await bench.type("manual p. 3\n")
            assert bench.last_of("figure-given")["figure"] == value

        await give("Time from “Apply the sealant” to “Close the cover”", "at most 2 h")
        # the time of the sealant will run while the cover is closed: its figures are asked for now
        await give("Measure the play: limit", "0.05 .. 0.20 mm")
        await give("Twice the play: limit", "at most 1 mm")
        await give("Cover", "1 2")
        await give("Cover", "engine oil")
        await bench.press("enter")  # the check starts and finishes it
        await bench.press("enter")  # start
        assert bench.last["kind"] == "started"
        assert "0.05 .. 0.20 mm" in bench.text
        await bench.type("0.10\n")
        assert bench.kinds[-1] in ("recorded", "calculated")
        await give("Cover, stage 1", "10 N·m")
        await bench.press("enter")
        await bench.press("enter")
        await give("Cover, stage 2", "90°")
        await bench.press("enter")
        await bench.press("enter")
        kinds = [event["kind"] for event in bench.events]
        assert kinds.count("figure-given") == 7
        assert kinds.count("ticked") == 4
        assert kinds[-1] == "finished"


async def test_figure_can_be_corrected_and_is_judged_again(tmp_path: Path) -> None:
    driver = start_session(tmp_path, TEXT, options={}, start={})
    driver.send({"intent": "figure", "operation": "close", "since": "seal", "value": "at most 2 h", "from": "m"})
    driver.send({"intent": "figure", "name": "play", "value": "0.05 .. 0.20 mm", "from": "manual p. 3"})
    driver.do("start", operation="seal")
    async with drive_app(driver.controller) as bench:
        await bench.press("c")
        assert "limit of play" in bench.text
        assert "Source: manual p. 3" in bench.text


ONE_VALUE = TEXT[: TEXT.index("joints:")] + TEXT[TEXT.index("sections:") : TEXT.index("  - id: seal")]


async def test_reading_typed_before_its_figure_stays_in_the_field(tmp_path: Path) -> None:
    text = f"{ONE_VALUE}  - {{id: m, title: M, record: {{play: {{unit: mm, limit: ask}}}}, check: [ok]}}\n"
    driver = start_session(tmp_path, text, options={}, start={})
    driver.do("start", operation="m")
    async with drive_app(driver.controller) as bench:
        await bench.type("0.10\n")
        assert "The procedure does not have this figure" in bench.text
        await bench.type("0.05 .. 0.20 mm\n")
        await bench.type("manual p. 3\n")
        assert bench.last["kind"] == "figure-given"
        await bench.press("enter")
        assert bench.last_of("recorded")["quantity"]["entered"] == "0.10 mm"


async def test_limit_for_used_parts_alone_is_asked_at_the_bench(tmp_path: Path) -> None:
    text = f"{ONE_VALUE}  - {{id: m, title: M, record: {{play: {{unit: mm, used: ask}}}}}}\n"
    driver = start_session(tmp_path, text, options={}, start={})
    driver.do("start", operation="m")
    async with drive_app(driver.controller) as bench:
        await bench.press("enter")
        assert "limit for used parts" in bench.text


async def test_range_of_an_instrument_that_is_only_used_is_asked_at_a_check_and_at_the_finish(tmp_path: Path) -> None:
    wrench = "instruments: {wr: {kind: torque, title: Wrench, covers: ask}}\nsections:"
    text = ONE_VALUE.replace("sections:", wrench) + "  - {id: m, title: M, uses: [wr], check: [ok]}\n"
    driver = start_session(tmp_path, text, options={}, start={})
    driver.do("start", operation="m")
    async with drive_app(driver.controller) as bench:
        await bench.press("enter")
        assert "Range of Wrench" in bench.text
        await bench.type("10 .. 60 N·m\n")
        await bench.type("manual p. 3\n")
        assert bench.last_of("figure-given")["figure"] == "10 .. 60 N·m"
        await bench.press("enter")
        assert [event["kind"] for event in bench.events][-2:] == ["checked", "finished"]


@pytest.mark.parametrize(
    ("thread", "grade", "warning"),
    [("M6", "8", "is a class of metric nuts"), ("M6", "8.8", "bears before it breaks"), ("M999", "8.8", "of M999")],
)
async def test_figure_of_a_joint_is_warned_about_as_check_does(
    tmp_path: Path, thread: str, grade: str, warning: str
) -> None:
    joint = "joints: {cover: {layout: '1 2', thread: ask, class: ask}}\nsections:"
    text = ONE_VALUE.replace("sections:", joint)
    text += "  - {id: m, title: M, tighten: {joint: cover, stages: [{torque: ask}]}}\n"
    driver = start_session(tmp_path, text, options={}, start={})
    driver.do("start", operation="m")
    given = {"intent": "figure", "joint": "cover", "from": "manual p. 3"}
    driver.send({**given, "thread": thread})
    driver.send({**given, "class": grade})
    driver.send({**given, "stage": 1, "value": "90 N·m"})
    async with drive_app(driver.controller, size=(120, 40)) as bench:
        assert warning in " ".join(bench.text.split())


async def test_figure_of_a_stage_starts_the_operation_that_its_first_entry_would_start(tmp_path: Path) -> None:
    text = ONE_VALUE.replace("sections:", "joints: {cover: {layout: '1 2'}}\nsections:")
    text += "  - {id: m, title: M, tighten: {joint: cover, stages: [{torque: ask}]}}\n"
    driver = start_session(tmp_path, text, options={}, start={})
    async with drive_app(driver.controller) as bench:
        await bench.press("enter")
        await bench.type("9 N·m\n")
        await bench.type("manual p. 3\n")
        assert [event["kind"] for event in bench.events][-2:] == ["started", "figure-given"]
        await bench.press("enter")
        assert bench.last["kind"] == "ticked"


SEALED = """\
benchflow: 1
id: sealed
title: Sealed
revision: "1"
joints:
  cover: {title: Cover bolts, layout: 1 2, lubricant: ask}
sections:
- title: All
  operations:
  - {id: seal, title: Apply the sealant, check: [The bead is closed]}
  - {id: close, title: Close the cover, time: {seal: at most 10 min}, tighten: {joint: cover, stages: [9 N·m]}}
"""


async def test_bench_asks_for_the_figures_of_a_sealed_joint_before_the_time_of_the_sealant_runs(tmp_path: Path) -> None:
    driver = start_session(tmp_path, SEALED, options={}, start={})
    async with drive_app(driver.controller) as bench:
        text = bench.text
        assert "NOTICE" in text
        assert "lubricant." in text
        assert "give the figure" in text
        await bench.press("enter")
        await bench.type("dry\n")
        await bench.type("manual p. 3\n")
        assert bench.last_of("figure-given")["figure"] == "dry"
        assert "NOTICE" not in bench.text
        await bench.press("enter")
        assert "checked" in bench.kinds


async def test_range_of_the_wrench_is_asked_before_the_time_of_the_sealant_runs(tmp_path: Path) -> None:
    text = SEALED.replace("lubricant: ask", "lubricant: dry").replace("{joint: cover,", "{joint: cover, with: wrench,")
    text = text.replace("joints:", "instruments: {wrench: {kind: torque, title: Wrench, covers: ask}}\njoints:")
    driver = start_session(tmp_path, text, options={}, start={})
    async with drive_app(driver.controller) as bench:
        await bench.press("enter")
        assert "Range of Wrench" in bench.text


async def test_figures_of_a_blocked_operation_are_given_where_it_says_that_they_are_missing(tmp_path: Path) -> None:
    driver = start_session(tmp_path, SEALED.replace("layout: 1 2", "layout: ask, count: 2"), options={}, start={})
    async with drive_app(driver.controller) as bench:
        await bench.press("slash")
        await bench.type("2\n")
        assert "Blocked" in bench.text
        assert "→ To be filled in: Cover bolts:" in bench.text
        await bench.press("enter")
        await bench.type("1 2\nmanual p. 3\n")
        await bench.press("w")
        assert "→ Cover bolts: lubricant" in bench.text
        assert "give the figure" in bench.text
        await bench.press("enter")
        assert "Cover bolts: lubricant" in bench.text
        await bench.type("dry\nmanual p. 3\n")
        assert bench.kinds[-2:] == ["figure-given", "figure-given"]
        assert "To be filled in" not in bench.text
        assert "why blocked" in bench.text  # Enter does again what it does for every blocked operation


async def test_figure_of_a_later_operation_is_given_while_another_is_in_progress(tmp_path: Path) -> None:
    driver = start_session(tmp_path, SEALED, options={}, start={})
    driver.do("start", operation="seal")
    async with drive_app(driver.controller) as bench:
        await bench.press("slash")
        await bench.type("2\n")
        await bench.press("enter")
        await bench.type("dry\nmanual p. 3\n")
        assert bench.last["kind"] == "figure-given"
        await bench.press("enter")
        assert "1 Apply the sealant" in " ".join(bench.text.split())
