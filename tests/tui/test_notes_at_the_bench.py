"""Notes of several lines: typed, pasted, kept as a draft, logged, and shown with their lines."""

from pathlib import Path

from benchflow.review.log.loaded_log import load_log
from benchflow.review.sheets.build_sheet import build_sheet
from benchflow.review.sheets.build_sheet_html import build_sheet_html
from benchflow.review.sheets.build_sheet_markdown import build_sheet_markdown
from benchflow.session.history.history import history_text
from tests.driving.session_driver import read_procedure
from tests.driving.small_head import start_session
from tests.tui.app_driver import drive_app


async def test_f2_begins_a_new_line_and_enter_saves_all_lines(tmp_path: Path) -> None:
    async with drive_app(start_session(tmp_path).controller) as bench:
        await bench.press("n")
        assert "F2 new line" in bench.text
        assert "Enter save" in bench.text
        await bench.type("the hoist drifts")
        await bench.press("f2")
        await bench.type("look at it\n")
        assert (bench.last["kind"], bench.last["text"]) == ("noted", "the hoist drifts\nlook at it")
        assert bench.screen.title_line == "Bench"


async def test_pasted_lines_are_kept_and_cleaned(tmp_path: Path) -> None:
    async with drive_app(start_session(tmp_path).controller) as bench:
        await bench.press("n")
        await bench.type("seen: ")
        await bench.paste("a burr\r\n\x1b]52;c;YQ==\x07two scratches\n\nno crack")
        await bench.press("enter")
        assert bench.last["text"] == "seen: a burr\n]52;c;YQ==two scratches\n\nno crack"


async def test_lines_can_be_selected_and_changed_and_are_kept_as_a_draft(tmp_path: Path) -> None:
    async with drive_app(start_session(tmp_path).controller) as bench:
        await bench.press("n")
        await bench.type("one")
        await bench.press("f2")
        await bench.type("two")
        await bench.press("up")
        await bench.type("!")
        await bench.press("escape", "n")
        assert bench.field == "two"
        assert "one!" in bench.text
        await bench.press("enter", "n")
        assert bench.events[-1]["data"]["text"] == "one!\ntwo"
        assert bench.field == ""


async def test_empty_lines_alone_are_not_a_note(tmp_path: Path) -> None:
    async with drive_app(start_session(tmp_path).controller) as bench:
        await bench.press("n", "f2", "f2", "enter")
        assert "Type a note" in bench.text
        assert "noted" not in bench.kinds


def test_log_and_sheets_show_the_lines_of_a_note_apart(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.do("start", operation="seal")
    driver.do("note", text="first line\nsecond line", operation="seal")
    driver.controller.close()
    loaded = load_log(driver.controller.journal.path, read_procedure)
    story = list(history_text(loaded.lines, loaded.plan))
    row = next(index for index, line in enumerate(story) if "Note: first line" in line)
    assert story[row + 1].strip() == "second line"
    assert story[row + 1].index("second") == story[row].index("Note:")
    sheet = build_sheet(loaded)
    assert "first line  \n  second line" in build_sheet_markdown(sheet)
    assert "first line\nsecond line" in build_sheet_html(sheet)
