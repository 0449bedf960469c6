"""A key enters only what the screen shows as current: bounces, held pedals, scans, line ends, and the cursor."""

from pathlib import Path

import pytest

from tests.driving.log_files import events_in
from tests.driving.script import procedure_with
from tests.driving.session_driver import SessionDriver
from tests.driving.small_head import start_session
from tests.tui.app_driver import drive_app
from tests.tui.terminal import Terminal

RUN = ["-m", "benchflow", "run"]

FLANGE = """\
{id: flange, title: Tighten the flange, tighten: {joint: flange, stages: [20 N·m, 40 N·m]},
 check: [In the last stage no nut moved]}"""
FLANGE_HEAD = "joints: {flange: {title: Flange nuts, pattern: star 6}}\n"

FIRST_NEXT = """\
{id: first, title: Look at the first, check: [The first is clean]}
  - {id: second, title: Look at the second, after: [first], check: [The second is clean, The second is dry]}
  - {id: mind, title: Mind the spring, after: [second], cautions: [{warning: The spring can jump out}],
     check: [The spring is in]}
  - {id: read, title: Read, after: [mind], record: {gap: {ask: Gap, unit: mm, limit: 0.10 .. 0.20 mm}}}"""


def flange(folder: Path) -> SessionDriver:
    return start_session(folder, procedure_with(FLANGE, head=FLANGE_HEAD), options={}, start={})


def checks(folder: Path) -> SessionDriver:
    return start_session(folder, procedure_with(FIRST_NEXT), options={}, start={})


def measuring(folder: Path) -> SessionDriver:
    driver = start_session(folder)
    driver.lower_and_tighten()
    driver.do("start", operation="measure[1]")
    return driver


async def test_joint_stays_selected_until_its_last_stage_and_its_check_comes_after_it(tmp_path: Path) -> None:
    async with drive_app(flange(tmp_path).controller) as bench:
        await bench.press(*["enter"] * 12)
        assert bench.kinds[1:] == ["started", *["ticked"] * 12]
        assert "► [ ] In the last stage no nut moved" in bench.text
        await bench.press("enter")
        assert bench.kinds[-2:] == ["checked", "finished"]


async def test_enter_within_the_bounce_time_of_the_one_before_ticks_nothing(tmp_path: Path) -> None:
    async with drive_app(flange(tmp_path).controller) as bench:
        await bench.press("enter")
        await bench.press("enter", "enter", pause=0.6)
        assert bench.kinds.count("ticked") == 1
        assert "0.6 s after the one before, so nothing was entered" in bench.text
        await bench.press("enter", pause=0.6)  # refused too: the one before was refused, but it came as quickly
        assert bench.kinds.count("ticked") == 1
        await bench.press("enter", pause=0.8)
        assert bench.kinds.count("ticked") == 2


@pytest.mark.parametrize("key", ["enter", "space"])
async def test_held_foot_switch_ticks_one_fastener(tmp_path: Path, key: str) -> None:
    async with drive_app(flange(tmp_path).controller) as bench:
        await bench.press(key)
        await bench.press(*[key] * 40, pause=0.03)
        assert bench.kinds.count("ticked") == 1


async def test_bounce_neither_ticks_a_check_nor_starts_or_finishes_an_operation(tmp_path: Path) -> None:
    async with drive_app(checks(tmp_path).controller) as bench:
        await bench.press("enter")
        assert bench.kinds[1:] == ["started", "checked", "finished"]
        await bench.press("enter", pause=0.2)
        assert bench.kinds[1:] == ["started", "checked", "finished"]
        await bench.press("enter")
        await bench.press("enter", pause=0.2)
        assert bench.kinds[4:] == ["started", "checked"]


async def test_reading_sent_twice_does_not_start_the_next_operation(tmp_path: Path) -> None:
    text = procedure_with(
        "{id: one, title: One, record: {a: {ask: A, unit: mm, limit: 0.1 .. 0.2 mm}}}\n"
        "  - {id: two, title: Two, after: [one], record: {b: {ask: B, unit: mm, limit: 0.1 .. 0.2 mm}}}"
    )
    async with drive_app(start_session(tmp_path, text, options={}, start={}).controller) as bench:
        await bench.type("0.15\n0.15\n")
        assert bench.kinds[1:] == ["started", "recorded", "finished"]
        assert bench.field == "0.15"  # kept: Enter records it
        await bench.press("enter")
        assert bench.kinds[4:] == ["started", "recorded", "finished"]


async def test_danger_or_warning_is_read_before_a_start_key(tmp_path: Path) -> None:
    async with drive_app(checks(tmp_path).controller) as bench:
        await bench.press("enter", "enter", "enter")
        assert "WARNING" in bench.text
        assert "Enter start" in bench.text
        await bench.press("enter")
        assert bench.kinds[-1] == "started"


async def test_lot_neither_starts_nor_finishes_an_operation(tmp_path: Path) -> None:
    text = procedure_with(
        "{id: seal, title: Seal, uses: [paste], check: [The bead is closed]}",
        head="kit: {consumables: {paste: {title: Paste, lot: required}}}\n",
    )
    async with drive_app(start_session(tmp_path, text, options={}, start={}).controller) as bench:
        assert "► [ ] The bead is closed" in bench.text
        await bench.press("enter")
        assert bench.kinds[1:] == ["started", "checked"]
        await bench.type("P-77\n")
        assert bench.kinds[3:] == ["lot"]
        assert "► Finish" in bench.text


@pytest.mark.parametrize("scan", ["A-0042\n", "unit 7\n", "wo"])
async def test_scan_without_a_field_is_refused_entirely(tmp_path: Path, scan: str) -> None:
    async with drive_app(flange(tmp_path).controller) as bench:
        await bench.press("enter")
        before = bench.events
        await bench.type(scan)
        assert bench.events == before
        assert f"“{scan.strip()}” was typed, but there is no field for it. Nothing was entered." in bench.text
        await bench.press("enter")
        assert bench.kinds.count("ticked") == 2


@pytest.mark.parametrize("scan", ["A-0042\n", "pq7\n"])
async def test_scan_of_a_label_at_a_reading_is_refused_entirely(tmp_path: Path, scan: str) -> None:
    async with drive_app(measuring(tmp_path).controller) as bench:
        before = bench.events
        await bench.type(scan)
        assert (bench.events, bench.field) == (before, "")
        assert "there is no field for it" in bench.text


async def test_digit_of_a_scan_chooses_no_part(tmp_path: Path) -> None:
    text = procedure_with(
        "{id: fit, title: Fit, record: {gap: {ask: Gap, unit: mm}}, "
        "choose: {shim: {by: gap, from: [{up to: 0.1 mm, take: thin}, {up to: 0.2 mm, take: thick}]}}}"
    )
    async with drive_app(start_session(tmp_path, text, options={}, start={}).controller) as bench:
        await bench.type("0.15\n")
        await bench.type("2140\n")
        assert "chosen" not in bench.kinds


@pytest.mark.parametrize("line_end", ["\r", "\n", "\r\n"], ids=["CR", "LF", "CR LF"])
def test_gauge_ends_its_reading_with_any_line_end(tmp_path: Path, line_end: str) -> None:
    driver = measuring(tmp_path)
    driver.controller.close()
    log = driver.controller.journal.path
    with Terminal([*RUN, str(log)], env={"BENCHFLOW_HOME": str(tmp_path / "home")}) as terminal:
        terminal.wait_for("Lash")
        terminal.type("".join(f"{value}{line_end}" for value in ("0.25", "0.01", "0.02", "0.03")))
        terminal.wait_for("Finished: 5 Measure no. 1")
    read = [event["data"]["quantity"]["value"] for event in events_in(log) if event["kind"] == "recorded"]
    assert read == ["0.25", "0.01", "0.02", "0.03"]


def test_six_enters_in_one_write_tick_one_fastener(tmp_path: Path) -> None:
    driver = flange(tmp_path)
    driver.controller.close()
    log = driver.controller.journal.path
    with Terminal([*RUN, str(log)], env={"BENCHFLOW_HOME": str(tmp_path / "home")}) as terminal:
        terminal.wait_for("►1◄")
        terminal.type("\r" * 6)
        terminal.wait_for("so nothing was entered")
    assert [event["kind"] for event in events_in(log)].count("ticked") == 1


async def test_escape_goes_back_to_what_is_next_and_never_leaves(tmp_path: Path) -> None:
    async with drive_app(checks(tmp_path).controller) as bench:
        await bench.press("enter", "slash")
        await bench.press("1", "enter")
        assert "1 Look at the first" in bench.text
        assert "The first is clean" in bench.text
        await bench.press("escape")
        assert "2 Look at the second" in bench.text
        await bench.press("escape", "escape", "escape")
        assert "To leave the bench, press q" in bench.text


async def test_operation_can_be_shown_while_another_is_in_progress(tmp_path: Path) -> None:
    async with drive_app(checks(tmp_path).controller) as bench:
        await bench.press("enter", "enter")
        before = bench.events
        await bench.press("j", *"spring", "enter")
        assert "3 Mind the spring" in bench.text
        await bench.press("enter")  # no start: another operation is in progress
        assert bench.events == before
        assert "► [ ] The second is dry" in bench.text


async def test_search_without_a_result_says_so(tmp_path: Path) -> None:
    async with drive_app(checks(tmp_path).controller) as bench:
        await bench.press("slash", *"gearbox")
        assert "No operation has this number or these words." in bench.text
        await bench.press("enter", "escape")
        assert "1 Look at the first" in bench.text


async def test_scanned_number_at_a_joint_is_asked_about_and_ticks_nothing(tmp_path: Path) -> None:
    async with drive_app(flange(tmp_path).controller) as bench:
        await bench.press("enter")
        await bench.type("4006381333931\n")
        assert "4006381333931 N·m is far from the limit" in bench.text
        assert bench.kinds.count("ticked") == 1
        assert "1 Tighten the flange" in bench.text


async def test_reading_far_from_its_limit_asks_before_it_is_recorded(tmp_path: Path) -> None:
    async with drive_app(measuring(tmp_path).controller) as bench:
        await bench.type("3.1\n")
        assert "3.1 mm is far from the limit 0.20 .. 0.30 mm" in bench.text
        assert "Correct it, or press Enter" in bench.text
        await bench.press("enter", pause=0.3)  # a bounce does not answer the question
        assert "3.1 mm is far from the limit" in bench.text
        assert "recorded" not in bench.kinds
        await bench.press("enter")
        assert bench.last_of("recorded")["quantity"]["value"] == "3.1"


async def test_bounce_leaves_the_question_about_a_far_torque_on_the_screen(tmp_path: Path) -> None:
    async with drive_app(flange(tmp_path).controller) as bench:
        await bench.type("1.5\n")
        assert "1.5 N·m is far from the limit" in bench.text
        await bench.press("enter", pause=0.1)
        assert "1.5 N·m is far from the limit" in bench.text
        assert "ticked" not in bench.kinds


async def test_question_about_a_far_reading_disappears_when_it_is_corrected(tmp_path: Path) -> None:
    async with drive_app(measuring(tmp_path).controller) as bench:
        await bench.type("25\n")
        assert "25 mm is far from the limit" in bench.text
        await bench.press("ctrl+u")
        assert "far from the limit" not in bench.text
        await bench.type("0.25\n")
        assert bench.last_of("recorded")["quantity"]["value"] == "0.25"


async def test_number_in_another_unit_is_asked_about(tmp_path: Path) -> None:
    text = procedure_with("{id: bore, title: Bore, record: {bore: {ask: Bore, unit: mm, limit: 25.35 .. 25.45 mm}}}")
    async with drive_app(start_session(tmp_path, text, options={}, start={}).controller) as bench:
        await bench.type("1\n")
        assert "1 in would be inside it" in bench.text
        assert "recorded" not in bench.kinds


async def test_hold_is_signed_after_everything_else_is_entered(tmp_path: Path) -> None:
    text = procedure_with(
        "{id: seal, title: Seal, uses: [paste], check: [The bead is closed], hold: {by: inspector, for: the bead}}",
        head="kit: {consumables: {paste: {title: Paste, lot: required}}}\n",
    )
    async with drive_app(start_session(tmp_path, text, options={}, start={}).controller) as bench:
        await bench.press("enter")
        assert "► Lot of Paste" in bench.text
        await bench.type("P-77\n")
        assert "inspector signs: the bead" in bench.text
        assert "Enter sign" in bench.text


async def test_rest_of_a_stage_does_not_continue_into_the_next_one(tmp_path: Path) -> None:
    async with drive_app(flange(tmp_path).controller) as bench:
        await bench.press("p")
        await bench.press("p", "enter", pause=0.4)
        assert bench.kinds.count("ticked") == 6
        await bench.press("p")
        assert bench.kinds.count("ticked") == 12


@pytest.mark.parametrize("key", ["h", "v"])
async def test_tapped_answer_of_a_check_stage_counts_once(tmp_path: Path, key: str) -> None:
    driver = start_session(tmp_path)
    driver.lower_head()
    driver.do("start", operation="tighten")
    for fastener in (1, 2, 3, 4, 1, 2):
        driver.do("tick", joint="studs", fastener=fastener)
    async with drive_app(driver.controller) as bench:
        before = bench.kinds.count("ticked")
        await bench.press(key, *[key] * 5, pause=0.15)
        assert bench.kinds.count("ticked") == before + 1


async def test_joint_stays_selected_while_a_fastener_waits_for_its_remedy(tmp_path: Path) -> None:
    text = procedure_with(
        "{id: check, title: Check the nuts, tighten: {joint: flange, stages: [{check: at least 30 N·m, "
        "below: [{do: Bring it up, tries: 2}]}]}, check: [All nuts have a line]}",
        head=FLANGE_HEAD,
    )
    async with drive_app(start_session(tmp_path, text, options={}, start={}).controller) as bench:
        await bench.press("h", "v")
        assert "► [ ] All nuts have a line" not in bench.text
        before = bench.kinds.count("checked")
        await bench.press("enter")
        assert bench.kinds.count("checked") == before


async def test_reading_after_one_that_was_not_accepted_replaces_it(tmp_path: Path) -> None:
    async with drive_app(measuring(tmp_path).controller) as bench:
        await bench.type("25\n")
        assert "25 mm is far from the limit" in bench.text
        await bench.type("0.25\n")
        assert bench.last_of("recorded")["quantity"]["value"] == "0.25"


async def test_person_can_continue_a_text_that_was_not_accepted(tmp_path: Path) -> None:
    async with drive_app(measuring(tmp_path).controller) as bench:
        await bench.type("0,2\n")
        await bench.press("left", "left", "delete", ".", "end", "5", pause=0.3)
        assert bench.field == "0.25"


@pytest.mark.parametrize("size", [(40, 8), (80, 8)])
async def test_fastener_that_is_not_on_the_screen_is_not_ticked(tmp_path: Path, size: tuple[int, int]) -> None:
    async with drive_app(flange(tmp_path).controller, size) as bench:
        shown = "►1◄" in bench.text
        await bench.press("enter")
        assert ("ticked" in bench.kinds) == shown


async def test_enter_after_an_unavailable_letter_still_counts(tmp_path: Path) -> None:
    async with drive_app(flange(tmp_path).controller) as bench:
        await bench.press("k")
        await bench.press("enter", pause=1.5)
        assert bench.kinds.count("ticked") == 1


async def test_slash_opens_the_search_from_an_empty_field_and_is_part_of_a_fraction(tmp_path: Path) -> None:
    async with drive_app(measuring(tmp_path).controller) as bench:
        await bench.press("slash")
        assert bench.screen.title_line == "Find an operation"
        await bench.press("escape")
        await bench.type("1/64 in")
        assert bench.field == "1/64 in"


async def test_draft_of_another_reading_is_not_dropped_after_a_refusal(tmp_path: Path) -> None:
    async with drive_app(measuring(tmp_path).controller) as bench:
        await bench.press("down")
        await bench.type("0.0")
        await bench.press("up")
        await bench.type("25\n")  # far from its limit, so it is not recorded
        await bench.press("down")
        assert bench.field == "0.0"
        await bench.type("12")
        assert bench.field == "0.012"


async def test_key_without_a_meaning_is_named(tmp_path: Path) -> None:
    async with drive_app(measuring(tmp_path).controller) as bench:
        await bench.press("o", "y")  # the list of operations
        assert "Key y does nothing here." in bench.text
