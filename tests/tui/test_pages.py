"""The other screens of a job: what they log, and that each can be left in two ways."""

import errno
import importlib
import json
import pkgutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from textual.binding import Binding

import benchflow.tui
from benchflow.session.machine_folders import machine_folders
from benchflow.trade.calculations.table import CALCULATIONS
from benchflow.tui.app.bench_app import BenchApp
from benchflow.tui.model.job_catalog import JobCatalog
from benchflow.tui.screens.start_page import StartPage
from benchflow.tui.widgets.entry_field import EntryField
from benchflow.tui.widgets.page import Page
from tests.driving.failing_disk import FailingDisk
from tests.driving.script import procedure_with
from tests.driving.session_driver import SessionDriver, load_text
from tests.driving.small_head import SMALL_HEAD, resume_session, start_session
from tests.tui.app_driver import AppDriver, drive_app

DOWN = {"pistons": "down"}


def holding(folder: Path) -> SessionDriver:
    """A job with the curing in progress, two hours after the head was lowered. The curing needs a signature."""
    driver = start_session(folder)
    driver.lower_head()
    driver.clock.advance(7200)
    driver.do("start", operation="cure")
    return driver


async def test_signature_finishes_an_operation_in_which_nothing_else_is_open(tmp_path: Path) -> None:
    async with drive_app(holding(tmp_path).controller) as bench:
        assert "Hold point, inspector signs: the joint" in bench.text
        await bench.press("enter")
        await bench.type("K. Lathe\n")
        signed = bench.last_of("signed")
        assert (signed["by"], signed["self_signed"]) == ("K. Lathe", False)
        assert bench.kinds[-1] == "finished"


async def test_signature_without_a_name_is_refused(tmp_path: Path) -> None:
    async with drive_app(holding(tmp_path).controller) as bench:
        await bench.press("enter", "enter")
        assert "signed" not in bench.kinds
        assert "Enter the name" in bench.text


async def test_note_is_logged_with_its_operation(tmp_path: Path) -> None:
    async with drive_app(holding(tmp_path).controller) as bench:
        await bench.type("n")
        await bench.type("the hoist drifts, look at it\n")
        assert bench.last["kind"] == "noted"
        assert bench.last["text"] == "the hoist drifts, look at it"
        assert bench.last["operation"] == "cure"


async def test_draft_of_a_note_is_kept(tmp_path: Path) -> None:
    async with drive_app(holding(tmp_path).controller) as bench:
        await bench.type("n")
        await bench.type("the hoist")
        await bench.press("escape", "n")
        assert bench.field == "the hoist"


async def test_deviation_is_logged_with_subject_reason_and_name(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_and_tighten()
    driver.do("start", operation="measure[1]")
    for slot in (1, 2, 3):
        driver.do("record", name="runout", reading=slot, value="0.01 mm")
    driver.do("record", name="lash", value="0.35 mm")
    async with drive_app(driver.controller) as bench:
        await bench.press("d")  # the only value out of limit and the builder are selected already
        await bench.type("no thinner shim to be had\n")
        assert bench.last["kind"] == "deviated"
        assert (bench.last["about"], bench.last["by"]) == ("lash[1]", "Robin")
        assert bench.last["reason"] == "no thinner shim to be had"
        assert "deviation signed" in bench.text


async def test_corrected_entry_stays_in_the_log(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_and_tighten()
    driver.do("start", operation="measure[1]")
    driver.do("record", name="lash", value="0.52 mm")
    async with drive_app(driver.controller) as bench:
        wrong = bench.events[-1]["seq"]
        await bench.press("c", "enter")
        assert "0.52 mm" in bench.text
        await bench.type("0.25\n")
        await bench.type("digits swapped\n")
        assert bench.last["kind"] == "corrected"
        assert (bench.last["event"], bench.last["quantity"]["entered"]) == (wrong, "0.25 mm")
        assert [event["kind"] for event in bench.events].count("recorded") == 1
        assert "0.25 mm" in bench.text


async def test_rework_plan_is_shown_before_it_starts_and_then_done_step_by_step(tmp_path: Path) -> None:
    driver = start_session(tmp_path, start=DOWN)
    driver.lower_and_tighten()
    async with drive_app(driver.controller) as bench:
        before = bench.events
        await bench.press("u", "end", "enter")
        for words in (
            "1  Undo 3 Tighten the studs",
            "2  Undo 2 Lower the head",
            "3  Undo 1 Seal the corners",
        ):
            assert words in bench.text
        assert "Discard: Sealant" in bench.text
        assert bench.events == before
        await bench.type("the gasket was the wrong way up\n")
        assert bench.last["kind"] == "rework-started"
        assert "step 1 of 3" in bench.text
        assert "Undo: Tighten the studs" in bench.text
        assert "Loosen the studs" in bench.text
        await bench.press("enter", "enter")
        assert bench.kinds[-2:] == ["undone", "undone"]
        assert "Discard: Sealant" in bench.text
        await bench.press("enter")
        assert (bench.last["kind"], bench.last["operation"]) == ("undone", "seal")
        assert "Ready to start" in bench.text


async def test_rework_continues_after_leaving(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_head()
    driver.do("rework", operation="seal", reason="wrong sealant", walk=True)
    driver.do("rework-step")
    async with drive_app(driver.controller) as bench:
        assert "Rework: step 2 of 2" in bench.text
        assert "Wipe it off" in bench.text


async def test_move_changes_the_state(tmp_path: Path) -> None:
    async with drive_app(start_session(tmp_path).controller) as bench:
        assert "at-deck" in bench.text
        await bench.press("m", "enter")
        assert (bench.last["kind"], bench.last["move"]) == ("moved", "turn-down")
        assert "Pistons  down" in bench.text


async def test_state_found_is_logged_with_a_reason(tmp_path: Path) -> None:
    async with drive_app(start_session(tmp_path, start={"pistons": None}).controller) as bench:
        assert "? not known" in bench.text
        await bench.press("s", "enter", "right", "enter")
        await bench.type("looked in\n")
        assert bench.last["kind"] == "state-set"
        assert (bench.last["variable"], bench.last["value"], bench.last["reason"]) == (
            "pistons",
            "at-deck",
            "looked in",
        )


async def test_state_can_be_set_to_unknown(tmp_path: Path) -> None:
    async with drive_app(start_session(tmp_path).controller) as bench:
        await bench.press("s", "enter", "left", "enter")
        await bench.type("the crank was bumped\n")
        assert (bench.last["kind"], bench.last["value"]) == ("state-set", None)


async def test_full_disk_is_reported_and_the_job_continues_in_another_folder(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_and_tighten()
    driver.do("start", operation="measure[1]")
    disk = FailingDisk()
    driver.controller.journal._disk = disk
    async with drive_app(driver.controller) as bench:
        before = bench.events
        disk.error, disk.failing = errno.ENOSPC, {"write"}
        await bench.type("0.25\n")
        assert "The entry was not saved" in bench.text
        assert bench.field == "0.25"
        assert bench.events == before
        disk.failing = set()
        await bench.press("escape", "f")
        elsewhere = tmp_path / "stick"
        elsewhere.mkdir()
        await bench.type(f"{elsewhere}\n")
        assert f"Thelogcontinuesin{elsewhere}" in "".join(bench.text.split())
        assert bench.app.client is not None
        assert bench.app.client.log.parent == elsewhere
        assert bench.field == "0.25"
        await bench.press("enter")
        assert bench.last["quantity"]["entered"] == "0.25 mm"


async def test_same_key_tries_again_after_a_disk_error(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_and_tighten()
    driver.do("start", operation="measure[1]")
    disk = FailingDisk()
    driver.controller.journal._disk = disk
    async with drive_app(driver.controller) as bench:
        disk.failing = {"sync"}
        await bench.type("0.25\n")
        assert "recorded" not in bench.kinds
        disk.failing = set()
        await bench.press("enter")
        assert bench.kinds[-1] == "recorded"
        assert bench.field == ""


async def test_draft_is_kept_after_leaving_the_program(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_and_tighten()
    driver.do("start", operation="measure[1]")
    async with drive_app(driver.controller) as bench:
        await bench.type("0.2")
        await bench.press("f10")
        assert "Everything you entered is on disk." in bench.text
        await bench.press("enter")
    assert json.loads((tmp_path / "build.jsonl.draft").read_text())["texts"] == {"measure[1] reading lash[1] 1": "0.2"}
    async with drive_app(resume_session(driver).controller) as bench:
        assert bench.field == "0.2"
        await bench.type("5\n")
        assert bench.last["quantity"]["entered"] == "0.25 mm"
    assert not (tmp_path / "build.jsonl.draft").exists()


FOLLOWED = """\
benchflow: 1
id: short
title: Short
revision: "1"
notice: Invented for the tests.
sections:
- title: All
  operations:
  - {id: one, title: The one thing}
follow-up:
- {title: Tighten again, due: 14 d, or: 500 km}
"""


async def test_end_sheet_lists_follow_ups_with_dates_and_the_log(tmp_path: Path) -> None:
    driver = start_session(tmp_path, FOLLOWED, options={}, start={})
    driver.work("one")
    async with drive_app(driver.controller) as bench:
        assert "Every operation is done" in bench.text
        await bench.press("enter")
        assert "2026-03-15  Tighten again, or 500 km" in bench.text
        assert "closed" not in bench.kinds
        await bench.press("enter")
        assert bench.kinds[-1] == "closed"
        assert "Job ended" in bench.text
        assert "2026-03-15" in bench.text
        assert "build.jsonl" in "".join(bench.text.split())  # a long path is wrapped
        await bench.press("enter")


async def test_job_can_end_early_with_a_reason_but_not_with_a_temporary_state(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.work("hold-chain")
    async with drive_app(driver.controller) as bench:
        await bench.press("e")
        await bench.type("the block is cracked\n")
        assert "closed" not in bench.kinds
        assert "is temporary" in bench.text
        await bench.press("escape")
        driver.work("let-chain-down")
        bench.app.client.refresh()  # type: ignore[union-attr]  # the bench has one
        await bench.press("e", "enter")
        assert (bench.last["kind"], bench.last["reason"]) == ("closed", "the block is cracked")
        assert "Ended early: the block is cracked" in bench.text


HOSTILE = SMALL_HEAD.replace(
    "title: Seal the corners", r'title: "[/] [red]Seal[/red] [@click=app.quit]x[/] \e[31m \u202e [qty 4]"'
)


async def test_markup_and_control_sequences_in_a_file_are_shown_as_text(tmp_path: Path) -> None:
    async with drive_app(start_session(tmp_path, HOSTILE).controller, (120, 40)) as bench:
        assert "[/] [red]Seal[/red] [@click=app.quit]x[/]" in bench.text
        assert "[qty 4]" in bench.text
        painted = "".join(
            segment.text for y in range(40) for segment in bench.screen.query_one("Canvas").render_line(y)
        )
        assert "\x1b" not in painted
        assert "\u202e" not in painted
        await bench.press("o", "w", "escape", "escape", "m", "escape", "s")
        assert "State" in bench.text


async def test_control_characters_are_removed_from_a_pasted_text(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.do("start", operation="seal")
    async with drive_app(driver.controller) as bench:
        await bench.paste("\x1b]52;c;YQ==\x07A-42\x9b31m")
        await bench.press("enter")
        assert bench.last["lot"] == "]52;c;YQ==A-4231m"


async def test_pasted_text_of_several_lines_is_refused(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.do("start", operation="seal")
    async with drive_app(driver.controller) as bench:
        await bench.paste("A-42\nA-43")
        assert bench.field == ""
        assert "2 lines were pasted" in bench.text


async def every_page(bench: AppDriver) -> list[str]:
    """Open every screen by its key and leave it by F10, then by Esc. Return the titles."""
    seen = []
    for key in ("w", "o", "m", "n", "u", "c", "s", "question_mark", "equals_sign", "q", "e"):
        await bench.press(key)
        seen.append(bench.screen.title_line)
        await bench.press("f10")
        assert bench.screen.title_line == "Bench", seen[-1]
        await bench.press(key)
        await bench.press("escape")
        assert bench.screen.title_line == "Bench", seen[-1]
    return seen


async def test_every_screen_can_be_left_in_two_ways(tmp_path: Path) -> None:
    driver = start_session(tmp_path, start=DOWN)
    driver.lower_and_tighten()
    async with drive_app(driver.controller) as bench:
        assert len(set(await every_page(bench))) == 11


def screen_classes(of: type[Page[Any]] = Page) -> Iterator[type[Page[Any]]]:
    """Every screen class in the package."""
    for module in pkgutil.walk_packages(benchflow.tui.__path__, "benchflow.tui."):
        importlib.import_module(module.name)
    yield of
    for each in of.__subclasses__():
        if each.__module__.startswith("benchflow."):
            yield from screen_classes(each)


@pytest.mark.parametrize("screen", [*dict.fromkeys(screen_classes()), EntryField], ids=lambda screen: screen.__name__)
def test_every_binding_has_an_id_an_action_and_a_key_that_terminals_pass_on(
    screen: type[Page[Any]] | type[EntryField],
) -> None:
    bindings = [binding for binding in screen.BINDINGS if isinstance(binding, Binding)]
    assert len(bindings) == len(screen.BINDINGS)
    names = [binding.id for binding in bindings]
    assert all(names)
    assert len(set(names)) == len(names)
    keys = {key for binding in bindings for key in binding.key.split(",")}
    assert not keys & {"ctrl+m", "ctrl+h", "ctrl+i", "ctrl+j"}
    for binding in bindings:
        action = binding.action.partition("(")[0]
        owner: type[object] = BenchApp if action.startswith("app.") else screen
        assert hasattr(owner, f"action_{action.removeprefix('app.')}"), action


@pytest.mark.parametrize("keys", [("f5",), ("f6",), ("f6", "f6", "f6")])
async def test_typed_text_is_kept_when_theme_or_type_size_changes(tmp_path: Path, keys: tuple[str, ...]) -> None:
    driver = start_session(tmp_path)
    driver.lower_and_tighten()
    driver.do("start", operation="measure[1]")
    async with drive_app(driver.controller) as bench:
        await bench.type("0.2")
        await bench.press(*keys)
        assert bench.field == "0.2"
        assert "Lash" in bench.text


async def test_calculation_is_updated_while_typing_and_its_result_goes_into_the_field(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_and_tighten()
    driver.do("start", operation="measure[1]")
    async with drive_app(driver.controller) as bench:
        before = bench.events
        await bench.press("equals_sign", "down", "enter")
        assert "in N·m or with a unit, such as 300 in-lb" in bench.text
        await bench.type("300 in-lb\n10 in\n4 in")
        assert "214 in-lb" in bench.text
        await bench.press("enter", "enter")
        assert bench.field == "214 in-lb"
        assert bench.events == before


async def test_calculation_shows_a_hazard_below_its_first_result(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    async with drive_app(driver.controller) as bench:
        await bench.press("equals_sign", *["down"] * list(CALCULATIONS).index("spring-rate"), "enter")
        await bench.type("44\n450\n32\n1100\n")
        rows = [row.strip() for row in bench.text.splitlines()]
        first = rows.index("Spring rate: 54.17 N/mm")
        assert rows[first + 1] == "(1100 N − 450 N) / (44 mm − 32 mm) ≈ 54.17 N/mm"
        assert rows[first + 2].startswith("WARNING  A compressed spring can fly out")


async def touch(bench: AppDriver, text: str) -> None:
    """Click on the first cell of the text."""
    rows = bench.text.splitlines()
    y = next(index for index, row in enumerate(rows) if text in row)
    await bench.pilot.click(offset=(rows[y].index(text), y))
    await bench.press()


async def test_click_on_a_key_in_the_key_bar_runs_it(tmp_path: Path) -> None:
    async with drive_app(start_session(tmp_path).controller) as bench:
        await touch(bench, "Enter start")
        assert bench.kinds[-1] == "started"
        await bench.press("escape")
        await touch(bench, "o list")
        assert bench.screen.title_line == "Operations"


async def test_click_chooses_from_a_list_and_from_the_choices_of_a_form(tmp_path: Path) -> None:
    async with drive_app(start_session(tmp_path).controller) as bench:
        await bench.press("s")
        await touch(bench, "Valves")
        await touch(bench, "Valves")
        assert "State found: valves" in bench.text
        await touch(bench, "open")
        await touch(bench, "How was it found")
        await bench.type("seen\n")
        assert (bench.last["kind"], bench.last["variable"], bench.last["value"]) == ("state-set", "valves", "open")


async def test_entries_have_the_name_of_the_person_at_the_bench(tmp_path: Path) -> None:
    driver = start_session(tmp_path, start=DOWN)
    async with drive_app(driver.controller, by="Kim") as bench:
        assert "· Kim" in bench.text
        await bench.press("enter")
        assert (bench.last["kind"], bench.last["by"]) == ("started", "Kim")


async def test_paused_operation_is_shown_as_paused_on_every_screen(tmp_path: Path) -> None:
    async with drive_app(holding(tmp_path).controller) as bench:
        await bench.press("a")
        assert bench.last["kind"] == "paused"
        assert "Paused · 2 of 9 done" in bench.text
        for key in ("o", "u"):
            await bench.press(key)
            assert "paused" in bench.text
            await bench.press("escape")


async def test_deviation_page_of_an_operation_without_limits_has_nothing_to_waive(tmp_path: Path) -> None:
    driver = start_session(tmp_path, FOLLOWED, options={}, start={})
    async with drive_app(driver.controller) as bench:
        await bench.press("d")
        assert "Nothing in this operation can be waived" in bench.text
        await bench.press("enter")
        assert "deviated" not in bench.kinds
        await bench.press("escape")
        assert bench.screen.title_line == "Bench"


async def test_correction_page_shows_the_limit(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_and_tighten()
    driver.do("start", operation="measure[1]")
    driver.do("record", name="lash", value="0.52 mm")
    async with drive_app(driver.controller) as bench:
        await bench.press("c", "enter")
        assert "Limit: 0.20 .. 0.30 mm" in bench.text


async def test_form_longer_than_the_screen_shows_that_more_follows(tmp_path: Path) -> None:
    where = machine_folders()
    page = StartPage(JobCatalog(where, tmp_path / "logs"), load_text(SMALL_HEAD), "small.yaml", None, None)
    async with drive_app(page, (60, 12)) as bench:
        assert "more lines (↓)" in bench.text
        for _ in page.form_fields:
            await bench.press("down")
        assert "(↓)" not in bench.text
        assert "Folder for the log" in bench.text


def start_page(folder: Path, by: str | None = None) -> StartPage:
    return StartPage(JobCatalog(machine_folders(), folder), load_text(SMALL_HEAD), "small.yaml", by, None)


async def test_start_page_says_which_answer_is_missing_and_starts_nothing(tmp_path: Path) -> None:
    async with drive_app(start_page(tmp_path / "logs")) as bench:
        await bench.press("enter")
        assert "Enter the serial or job number of the unit" in bench.text
        await bench.type("2417\n")
        await bench.press("enter")
        assert "Enter the name of the builder" in bench.text
        await bench.type("Robin\n")
        await bench.press("enter")
        assert "Choose an answer" in bench.text
        assert bench.app.client is None
        assert not (tmp_path / "logs").exists()


async def test_start_page_shows_cautions_questions_and_parts_on_one_page(tmp_path: Path) -> None:
    async with drive_app(start_page(tmp_path / "logs"), (160, 40)) as bench:
        for words in ("Small head", "Invented for the tests.", "CONSUMABLES", "Unit", "Which cams?", "Folder"):
            assert words in bench.text
        assert "…" not in bench.text


async def test_builder_of_the_last_job_is_offered(tmp_path: Path) -> None:
    start_session(tmp_path).controller.close()
    async with drive_app(start_page(tmp_path)) as bench:
        assert bench.app.screen.fields["by"].value == "Robin"  # type: ignore[attr-defined]  # the start page
        await bench.type("2418\n")
        await bench.press("right", "enter", "right", "enter")
        assert (bench.last["kind"], bench.last["by"], bench.last["unit"]) == ("opened", "Robin", "2418")


async def test_check_is_answered_no_and_the_answer_can_be_waived(tmp_path: Path) -> None:
    text = procedure_with("{id: look, title: Look, check: [The flange is flat]}")
    driver = start_session(tmp_path, text, options={}, start={})
    driver.do("start", operation="look")
    async with drive_app(driver.controller) as bench:
        await bench.type("b")
        assert (bench.last["kind"], bench.last["answer"]) == ("checked", "no")
        assert "[NO] The flange is flat" in bench.text
        await bench.type("d")
        assert "answered no: The flange is flat" in bench.text
        await bench.type("0.1 mm is allowed\n")
        assert (bench.last["kind"], bench.last["about"]) == ("deviated", "check 1")


async def test_remedy_of_a_check_is_carried_out_before_it_is_ticked(tmp_path: Path) -> None:
    text = procedure_with(
        "{id: look, title: Look, check: [{see: The flange is flat, if not: [{do: Lap it, tries: 2}]}]}"
    )
    driver = start_session(tmp_path, text, options={}, start={})
    driver.do("start", operation="look")
    async with drive_app(driver.controller) as bench:
        await bench.press("b", "enter")
        assert bench.last["kind"] == "checked", "Enter opens the remedy, and does not tick the check"
        assert "Check 1, answered no" in bench.text
        assert "→ Lap it (try 1 of 2)" in bench.text
        await bench.press("enter")
        assert (bench.last["kind"], bench.last["check"]) == ("remedied", 1)
        await bench.press("enter")
        assert bench.last_of("checked").get("answer", "yes") == "yes"
