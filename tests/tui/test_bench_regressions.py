"""Regression tests of the bench: defects found while whole procedures were worked by hand. All numbers are invented."""

from pathlib import Path

import pytest

from benchflow.session.controller import SessionController
from benchflow.session.machine_folders import machine_folders
from benchflow.session.shop.live_register import Register
from benchflow.tui.bench.bench_screen import BenchScreen
from benchflow.tui.launch import first_page
from benchflow.tui.model.job_catalog import JobCatalog
from benchflow.tui.screens.job_list_page import JobListPage
from benchflow.tui.screens.start_page import StartPage
from tests.driving.session_driver import ManualClock, SessionDriver, load_text, read_procedure
from tests.tui.app_driver import drive_app

HEAD = """\
benchflow: 1
id: by-hand
title: By hand
revision: "1"
instruments:
  gauge: {title: Height gauge, kind: length}
  wrench: {title: Torque wrench, kind: torque, covers: 20 .. 120 N·m}
"""
MEASURING = (
    HEAD
    + """\
sections:
- title: All
  operations:
  - id: before
    title: The face of it
  - id: height
    title: Measure it
    after: [before]
    record:
      height:
        ask: Height of the block
        unit: mm
        with: gauge
        limit: 100.0 .. 110.0 mm
        below: [{do: Face it again., redo: [before]}, {do: Ask the shop., stop: true}]
"""
)
MANY = (
    HEAD
    + """\
sections:
- title: All
  operations:
  - id: many
    title: Measure all twelve
    record:
      lash:
        ask: Lash as found
        unit: mm
        limit: 0.10 .. 0.20 mm
        readings: [one, two, three, four, five, six, seven, eight, nine, ten, eleven, twelve]
      even: {ask: Gap, unit: mm, limit: equal within 0.5 mm, readings: 2}
"""
)
CAM = (
    HEAD
    + """\
joints: {caps: {title: Caps, layout: "1 2"}}
sections:
- title: All
  operations:
  - id: cam
    title: Draw the cam down
    uses: [wrench]
    tighten: {joint: caps, stages: [25 N·m], draw-down: half a turn}
"""
)
SHOP = """\
shop: 1
people:
  Robin: {roles: [builder]}
  Kim: {roles: [inspector]}
defaults: {by: Robin}
instruments:
  one: {kind: length, serial: H-1, title: Height gauge 1, range: 0 .. 300 mm, calibrated: 2026-01-10}
  two: {kind: length, serial: H-2, title: Height gauge 2, range: 0 .. 300 mm, calibrated: 2026-01-10}
  short: {kind: length, serial: H-3, title: Height gauge 3, range: 0 .. 50 mm, calibrated: 2026-01-10}
"""


def at(folder: Path, text: str, operation: str, *, shop: str = "") -> SessionDriver:
    """A job with ``operation`` in progress, with a shop register if one is given."""
    register = None
    if shop:
        path = folder / "shop.yaml"
        path.write_text(shop, encoding="utf-8")
        register = Register(path)
    clock = ManualClock()
    controller = SessionController.begin(
        folder / "b.jsonl", load_text(text), file="b.yaml", read=read_procedure, clock=clock, register=register
    )
    driver = SessionDriver(controller, clock)
    driver.do("open", by="Robin", unit="7", options={}, start={})
    if operation == "height":
        driver.work("before")
    driver.do("start", operation=operation)
    return driver


async def test_with_two_fit_gauges_the_reading_waits_until_one_is_chosen(tmp_path: Path) -> None:
    async with drive_app(at(tmp_path, MEASURING, "height", shop=SHOP).controller) as bench:
        await bench.type("105\n")
        assert "recorded" not in bench.kinds
        assert "To record: Height of the block: 105 mm" in bench.text
        assert "H-1" in bench.text
        assert "× Height gauge 3  H-3" in bench.text
        await bench.press("down", "enter")
        assert bench.last_of("recorded")["serial"] == "H-2"
        assert bench.kinds[-1] == "finished"


async def test_another_gauge_is_chosen_by_a_key_but_not_one_that_does_not_cover_the_value(tmp_path: Path) -> None:
    async with drive_app(at(tmp_path, MEASURING, "height", shop=SHOP).controller) as bench:
        await bench.press("escape", "i", "up", "up", "enter")  # its range ends at 50 mm
        await bench.type("107\n")
        assert "× Height gauge 3  H-3" in bench.text
        assert "recorded" not in bench.kinds
        await bench.press("home", "down", "enter")
        entered = bench.last_of("recorded")
        assert (entered["serial"], entered["quantity"]["value"]) == ("H-2", "107")


async def test_second_reading_of_a_gauge_does_not_choose_an_instrument(tmp_path: Path) -> None:
    async with drive_app(at(tmp_path, MEASURING, "height", shop=SHOP).controller) as bench:
        await bench.type("105\n106\n")
        assert "Which instrument do you use?" in bench.text
        assert "“106” was typed, but there is no field for it" in bench.text
        assert "recorded" not in bench.kinds


async def test_default_builder_is_selected_and_the_people_of_the_shop_are_listed(tmp_path: Path) -> None:
    where = machine_folders()
    where.shop.parent.mkdir(parents=True)
    where.shop.write_text(SHOP, encoding="utf-8")
    page = StartPage(JobCatalog(where, tmp_path / "logs", ManualClock()), load_text(MEASURING), "b.yaml", None, "7")
    async with drive_app(page) as bench:
        assert "● Robin" in bench.text
        assert "○ Kim" in bench.text
        await bench.press("enter")
        assert (bench.last["kind"], bench.last["by"]) == ("opened", "Robin")


TWO_READINGS = (
    HEAD
    + """\
sections:
- title: All
  operations:
  - {id: other, title: Something else}
  - {id: before, title: The face of it}
  - id: height
    title: Measure it
    after: [before]
    record:
      height:
        {ask: Height of the block, unit: mm, limit: 100.0 .. 110.0 mm, below: [{do: Face it again., redo: [before]}]}
      width: {ask: Width of the block, unit: mm, limit: 100.0 .. 110.0 mm}
"""
)


async def test_remedy_is_offered_at_the_next_item_and_the_route_leads_back(tmp_path: Path) -> None:
    """The cursor moves on after a reading out of its limit. The key for the remedy stays."""
    async with drive_app(at(tmp_path, TWO_READINGS, "height").controller) as bench:
        await bench.type("99\n")
        assert "Height of the block: 99 mm LOW" in bench.text
        await bench.press("escape", "r")
        assert "Then do: 2 The face of it" in bench.text
        await bench.press("enter")
        assert bench.last["kind"] == "remedied"
        assert "Guiding to 3 Measure it: 2 steps" in bench.text
        await bench.press("enter")
        assert (bench.last["kind"], bench.last["operation"]) == ("started", "before")


async def test_remedy_that_stops_cannot_be_confirmed(tmp_path: Path) -> None:
    driver = at(tmp_path, MEASURING, "height")
    driver.do("record", name="height", value="99 mm")
    async with drive_app(driver.controller) as bench:
        await bench.press("escape", "r")
        assert "Then do: 1 The face of it" in bench.text
        await bench.press("enter")
        assert bench.last["kind"] == "remedied"
        assert "Do now: 1 The face of it. Then measure again." in " ".join(bench.text.split())
        await bench.press("enter", "enter", "enter")
        await bench.type("99\n")
        await bench.press("escape", "r")
        assert "→ Stop here: Ask the shop." in bench.text
        assert "The work stops here" in bench.text
        await bench.press("enter")
        assert "This cannot be confirmed as done" in bench.text
        assert bench.kinds.count("remedied") == 1


async def test_enter_of_a_gauge_does_not_confirm_a_remedy(tmp_path: Path) -> None:
    driver = at(tmp_path, MEASURING, "height")
    driver.do("record", name="height", value="99 mm")
    async with drive_app(driver.controller) as bench:
        await bench.press("escape", "r")
        await bench.type("105.0\n")
        assert "remedied" not in bench.kinds
        assert "“105.0” was typed" in bench.text


async def test_field_of_the_twelfth_reading_is_visible(tmp_path: Path) -> None:
    driver = at(tmp_path, MANY, "many")
    async with drive_app(driver.controller) as bench:
        for number in range(12):
            assert "] mm   0.10 .. 0.20 mm" in bench.text, number
            await bench.type("0.31\n")
        await bench.press("up")
        assert "►twelve 0.31 HIGH" in bench.text
        assert "] mm   0.10 .. 0.20 mm" in bench.text


async def test_first_reading_of_values_that_must_agree_is_not_shown_as_out_of_limit(tmp_path: Path) -> None:
    driver = at(tmp_path, MANY, "many")
    for _ in range(12):
        driver.do("record", name="lash", value="0.15 mm")
    async with drive_app(driver.controller) as bench:
        await bench.type("7.0\n")
        assert "●" not in bench.text.split("Gap")[1].split("equal within 0.5 mm")[1].split("\n")[2]


async def test_deviation_is_shown_only_at_readings_out_of_limit(tmp_path: Path) -> None:
    driver = at(tmp_path, MANY, "many")
    for value in (*["0.15 mm"] * 11, "0.31 mm"):
        driver.do("record", name="lash", value=value)
    driver.do("deviate", operation="many", about="lash", reason="tried", by="Robin")
    async with drive_app(driver.controller) as bench:
        assert bench.text.count("signed") == 1
        assert "twelve 0.31 mm HIGH by 0.11 mm, signed" in bench.text


async def test_full_torque_needs_confirmation_that_the_part_is_seated(
    tmp_path: Path,
) -> None:
    async with drive_app(at(tmp_path, CAM, "cam").controller) as bench:
        await bench.press("enter")
        assert bench.kinds[-1] == "drawn-down"
        await bench.press("t", "enter")
        assert bench.kinds[-2:] == ["seated", "ticked"]


async def test_part_drawn_down_without_counting_must_be_confirmed_as_seated(tmp_path: Path) -> None:
    async with drive_app(at(tmp_path, CAM, "cam").controller) as bench:
        await bench.press("t", "enter")
        assert bench.kinds[-2:] == ["seated", "ticked"]


@pytest.mark.parametrize("large", [False, True])
async def test_with_an_extension_the_wrench_setting_is_shown(tmp_path: Path, large: bool) -> None:
    driver = at(tmp_path, CAM, "cam")
    driver.do("draw-down", joint="caps", seated=True)
    driver.do("wrench", extension="50 mm", lever="400 mm")
    async with drive_app(driver.controller) as bench:
        if large:
            await bench.press("f5")
            assert "AS SET ON THE TOOL" in bench.text
        else:
            assert "SET THE WRENCH TO 22.2 N·m" in bench.text


async def test_warning_about_another_lubricant_comes_first_on_the_smallest_screen(tmp_path: Path) -> None:
    driver = at(tmp_path, CAM, "cam")
    driver.do("draw-down", joint="caps", seated=True)
    driver.do("wrench", extension="50 mm", lever="400 mm")
    driver.do("lubricant", joint="caps", lubricant="engine oil")
    async with drive_app(driver.controller) as bench:
        assert "engine oil on the threads" in bench.text


async def test_message_about_the_arrow_disappears_when_the_typo_is_corrected(tmp_path: Path) -> None:
    async with drive_app(at(tmp_path, MEASURING, "height").controller) as bench:
        await bench.type("10x5\n")
        assert "The arrow shows" in bench.text
        await bench.press("backspace", "backspace")
        assert "The arrow shows" not in bench.text


async def test_converted_reading_is_shown_with_its_significant_digits_and_logged_exactly(tmp_path: Path) -> None:
    async with drive_app(at(tmp_path, MEASURING, "height").controller) as bench:
        await bench.type("4.2031 in\n")
        assert bench.last_of("recorded")["quantity"]["value"] == "106.75874"
        assert "106.7587 mm (4.2031 in)" in bench.text


async def test_log_of_a_simulated_job_can_be_viewed_under_any_name(tmp_path: Path) -> None:
    driver = at(tmp_path, MEASURING, "height")
    driver.controller.close()
    renamed = tmp_path / "tried.log"
    (tmp_path / "b.jsonl").rename(renamed)
    controller = first_page(JobCatalog(machine_folders(), tmp_path), renamed, None, None)
    assert isinstance(controller, SessionController)
    async with drive_app(controller) as bench:
        assert isinstance(bench.screen, BenchScreen)
        assert "Measure it" in bench.text


async def test_damaged_log_is_listed_with_the_least_that_was_done_and_opened_view_only(tmp_path: Path) -> None:
    at(tmp_path, MEASURING, "height").controller.close()
    log = tmp_path / "b.jsonl"
    lines = log.read_bytes().splitlines(keepends=True)
    log.write_bytes(b"".join([lines[0], lines[1].replace(b'"by":"', b'"by":"X'), *lines[2:]]))
    before = log.read_bytes()
    catalog = JobCatalog(machine_folders(), tmp_path)
    async with drive_app(JobListPage(catalog, None, None), (100, 30)) as bench:
        shown = " ".join(bench.text.split())
        assert "Continue: at least 0 done, the rest is not known" in shown
        assert "line 2 has been changed" in shown
        await bench.press("enter")
        assert isinstance(bench.screen, BenchScreen)
        assert "At least what is shown here was done; the rest is not known" in bench.text
    assert log.read_bytes() == before
    assert isinstance(first_page(catalog, log, None, None), SessionController)


async def test_deviation_form_selects_the_value_out_of_limit_and_lists_no_time_window(
    tmp_path: Path,
) -> None:
    driver = at(tmp_path, MEASURING, "height")
    driver.do("record", name="height", value="120 mm")
    async with drive_app(driver.controller) as bench:
        await bench.press("escape", "d")
        assert "● Height of the block" in bench.text
        assert "time window" not in bench.text.split("What is waived?")[1]


async def test_reason_names_a_value_by_its_question(tmp_path: Path) -> None:
    driver = at(tmp_path, MANY, "many")
    async with drive_app(driver.controller) as bench:
        await bench.press("escape", "w")
        assert "Lash as found is not entered yet" in bench.text


BEARING = (
    HEAD
    + """\
sections:
- title: All
  operations:
  - id: bearing
    title: Measure the bearing
    record:
      journal: {ask: Journal, unit: mm}
      bore: {ask: Bearing, unit: mm}
    work-out:
      clearance:
        title: Oil clearance
        is: bore - journal
        unit: mm
        limit: 0.020 .. 0.050 mm
        below: [{do: Look for dirt.}, {do: Fit a thinner shell.}]
"""
)


async def test_after_a_remedy_the_old_readings_are_asked_for_again(
    tmp_path: Path,
) -> None:
    driver = at(tmp_path, BEARING, "bearing")
    async with drive_app(driver.controller) as bench:
        await bench.type("55.00\n55.01\n")
        await bench.press("up", "enter")
        assert "→ Look for dirt." in bench.text
        await bench.press("enter")
        assert bench.last["kind"] == "remedied"
        assert "Oil clearance  not calculated yet" in bench.text
        assert "Fit a thinner shell." not in bench.text
        await bench.type("55.00\n55.03\n")
        assert bench.kinds[-1] == "finished"


TWO_PLACES = (
    HEAD
    + """\
sections:
- title: All
  operations:
  - id: float
    title: Measure the float
    record:
      float:
        {ask: End float, unit: mm, readings: 2, limit: 0.10 .. 0.20 mm,
         above: [{do: Fit a washer.}, {do: Ask the shop., stop: true}], below: [{do: Take a washer out.}]}
"""
)


async def test_remedy_is_shown_and_confirmed_at_the_reading_that_was_out(tmp_path: Path) -> None:
    driver = at(tmp_path, TWO_PLACES, "float")
    async with drive_app(driver.controller) as bench:
        await bench.type("0.30\n0.05\n")
        await bench.press("escape", "up", "up", "down")
        assert "→ Take a washer out." in bench.text
        assert "Fit a washer." not in bench.text
        await bench.type("0.15\n")
        assert "carry out the remedy first. Take a washer out." in " ".join(bench.text.split())
        await bench.press("escape", "r")
        assert "End float, reading 2" in bench.text
        await bench.press("enter")
        assert (bench.last["kind"], bench.last["readings"]) == ("remedied", ["2"])
        await bench.type("0.15\n")
        assert "→ Fit a washer." in bench.text


async def test_remedy_of_a_calculated_value_has_its_key_at_every_item(tmp_path: Path) -> None:
    driver = at(tmp_path, BEARING, "bearing")
    async with drive_app(driver.controller) as bench:
        await bench.type("55.00\n55.01\n")
        await bench.press("r")
        assert "→ Look for dirt." in bench.text
        await bench.press("enter")
        assert bench.last["kind"] == "remedied"


async def test_rest_of_a_stage_waits_for_its_wrench_and_is_then_entered_whole(tmp_path: Path) -> None:
    wrenches = SHOP + "".join(
        f"  {name}: {{kind: torque, serial: {serial}, range: 10 .. 100 N·m, calibrated: 2026-01-10}}\n"
        for name, serial in (("left", "T-1"), ("right", "T-2"))
    )
    text = CAM.replace('layout: "1 2"', 'layout: "1 2 3"').replace(", draw-down: half a turn", "")
    async with drive_app(at(tmp_path, text, "cam", shop=wrenches).controller) as bench:
        await bench.press("p")
        assert "Which instrument do you use?" in bench.text
        assert "ticked" not in bench.kinds
        await bench.press("down", "enter")
        ticked = [event["data"] for event in bench.events if event["kind"] == "ticked"]
        assert [(tick["fastener"], tick["serial"]) for tick in ticked] == [(1, "T-2"), (2, "T-2"), (3, "T-2")]
