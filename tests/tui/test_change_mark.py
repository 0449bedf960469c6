"""The mark "change the procedure" on a note, a deviation and a correction: key, screen, log, history and sheet."""

from pathlib import Path

from benchflow.review.log.loaded_log import load_log
from benchflow.review.sheets.build_sheet import build_sheet
from benchflow.review.sheets.build_sheet_html import build_sheet_html
from benchflow.session.history.history import history_text
from tests.driving.log_files import events_in
from tests.driving.session_driver import SessionDriver, read_procedure
from tests.driving.small_head import start_session
from tests.tui.app_driver import AppDriver, drive_app

MARKED, UNMARKED = "◆ change the procedure: yes", "◇ change the procedure: no"


def measured(folder: Path) -> SessionDriver:
    """A job with a lash of 0.52 mm, far above its limit of 0.20 .. 0.30 mm."""
    driver = start_session(folder)
    driver.lower_and_tighten()
    driver.do("start", operation="measure[1]")
    driver.do("record", name="lash", value="0.52 mm")
    return driver


def seen(bench: AppDriver) -> str:
    return " ".join(bench.text.split())


async def test_f3_marks_a_note_and_the_mark_is_a_shape_and_a_word(tmp_path: Path) -> None:
    async with drive_app(start_session(tmp_path).controller) as bench:
        await bench.press("n")
        assert UNMARKED in bench.text
        assert "F3 change the procedure" in seen(bench)
        await bench.press("f3")
        assert MARKED in bench.text
        await bench.type("the order is awkward\n")
        assert bench.last == {**bench.last, "kind": "noted", "text": "the order is awkward", "change": True}


async def test_mark_is_removed_by_the_same_key_and_not_logged(tmp_path: Path) -> None:
    async with drive_app(start_session(tmp_path).controller) as bench:
        await bench.press("n", "f3", "f3")
        await bench.type("nothing to change\n")
        assert "change" not in bench.last
        assert bench.last["text"] == "nothing to change"


async def test_mark_of_a_note_is_kept_as_a_draft_with_its_text_and_cleared_with_it(tmp_path: Path) -> None:
    async with drive_app(start_session(tmp_path).controller) as bench:
        await bench.press("n", "f3")
        await bench.type("half a")
        await bench.press("escape", "n")
        assert MARKED in bench.text
        assert bench.field == "half a"
        await bench.type(" note\n")
        assert bench.last["change"] is True
        await bench.press("n")
        assert UNMARKED in bench.text


async def test_f3_marks_a_deviation(tmp_path: Path) -> None:
    async with drive_app(measured(tmp_path).controller) as bench:
        await bench.press("d")
        assert UNMARKED in bench.text
        await bench.press("f3")
        await bench.type("the limit is for the other cam\n")
        assert (bench.last["kind"], bench.last["change"]) == ("deviated", True)


async def test_f3_marks_a_correction(tmp_path: Path) -> None:
    async with drive_app(measured(tmp_path).controller) as bench:
        await bench.press("c", "enter")
        assert UNMARKED in bench.text
        await bench.type("0.25\nthe text says the wrong scale")
        await bench.press("f3", "enter")
        assert (bench.last["kind"], bench.last["change"]) == ("corrected", True)


def test_history_sheet_and_log_say_the_mark(tmp_path: Path) -> None:
    driver = measured(tmp_path)
    driver.do("note", text="plain")
    driver.do("note", text="wrong order", change=True)
    driver.do("deviate", operation="measure[1]", about="lash", reason="soft cam", by="Kim", change=True)
    reading = next(each for each in events_in(driver.controller.journal.path) if each["kind"] == "recorded")
    driver.do("correct", event=reading["seq"], value="0.28 mm", reason="other scale", change=True)
    driver.controller.close()
    loaded = load_log(driver.controller.journal.path, read_procedure)
    story = "\n".join(history_text(loaded.lines, loaded.plan))
    assert "Note: plain" in story
    assert "Note (change the procedure): wrong order" in story
    assert "(change the procedure): soft cam" in story
    assert "CORRECTED to 0.28 mm, ok (change the procedure); reason: other scale" in story
    sheet = build_sheet(loaded)
    html = build_sheet_html(sheet)
    assert "(change the procedure): wrong order" in html
    assert "(change the procedure): soft cam" not in html  # the correction has made the deviation void
    assert [line.data["change"] for line in loaded.lines if "change" in line.data] == [True, True, True]


def test_mark_must_be_true_or_false(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    assert driver.refused("note", text="x", change="yes") == {"bad-intent"}
