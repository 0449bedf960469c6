"""The screen of a teardown through Pilot: what is typed, what is shown before it is logged, and the log."""

from pathlib import Path

import pytest

from benchflow.session.machine_folders import machine_folders
from benchflow.tui.teardown.teardown_app import TeardownApp
from benchflow.tui.teardown.teardown_catalog import TeardownCatalog
from tests.driving.failing_disk import FailingDisk
from tests.driving.log_files import events_in
from tests.driving.made_pictures import jpeg_at
from tests.driving.script import intent
from tests.driving.teardown_script import OPEN, TeardownScript
from tests.tui.teardown_driver import drive_teardown


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return TeardownScript(tmp_path).begin().path


@pytest.fixture
def three_lines(tmp_path: Path) -> Path:
    return TeardownScript(tmp_path).begin().off("rocker cover, bag 1", "rod caps 1..2, tray A", "sump").path


async def test_line_is_shown_as_understood_before_it_is_logged(log: Path) -> None:
    async with drive_teardown(log) as driver:
        assert "WARNING: springs under load" in driver.text
        await driver.write("rocker cover, 8x M6x1 30 mm, bag 3, hello")
        assert "8 × M6x1, 30 mm" in driver.text
        assert "“hello” kept as words" in driver.text
        assert not driver.record.lines
        await driver.press("enter")
        assert "Line 1 logged: rocker cover." in driver.text
        (line,) = driver.record.lines
        assert (line.description.container, line.description.fasteners[0].thread) == ("bag 3", "M6x1")
        assert driver.field == ""


async def test_line_with_a_mistake_is_not_logged_and_stays_in_the_field(log: Path) -> None:
    async with drive_teardown(log) as driver:
        await driver.enter("cover, 8x M6x1 30")
        assert "Write a length as 30 mm" in driver.text
        assert driver.field == "cover, 8x M6x1 30"
        assert not driver.record.lines


async def test_message_about_a_refused_text_goes_with_its_prompt(three_lines: Path) -> None:
    async with drive_teardown(three_lines) as driver:
        await driver.enter("cover, 8x M6x1 30")
        assert "Write a length as 30 mm" in driver.text
        await driver.press("f7")
        assert "Write a length as 30 mm" not in driver.text


async def test_scanned_code_is_the_bag_and_waits_for_enter(log: Path) -> None:
    async with drive_teardown(log) as driver:
        await driver.write("cover, 8x M6 30 mm")
        await driver.type("B-0042\n")
        assert not driver.record.lines
        assert driver.field == "cover, 8x M6 30 mm, bag B-0042"
        await driver.press("enter")
        await driver.type("B-0043\n")
        assert driver.field == ", bag B-0043"
        assert "Adds to" in driver.text
        await driver.press("enter")
        (line,) = driver.record.lines
        assert line.description.container == "bag B-0042; bag B-0043"


async def test_code_scanned_alone_is_the_bag_of_the_newest_line_at_once(log: Path) -> None:
    async with drive_teardown(log) as driver:
        await driver.enter("cover, 8x M6 30 mm")
        await driver.type("B-0042\n")
        (line,) = driver.record.lines
        assert line.description.container == "bag B-0042"
        assert driver.field == ""
        await driver.press("f4")
        assert driver.record.lines[0].description.container == ""


async def test_checklist_is_answered_skipped_and_added_to(tmp_path: Path) -> None:
    script = TeardownScript(tmp_path)
    script.send(OPEN)
    async with drive_teardown(script.path) as driver:
        assert "WHILE IT IS TOGETHER: TIMING MARKS" in driver.text
        await driver.enter("dots line up")
        assert "TOGETHER: LASH" in driver.text
        await driver.enter("3rd gear 0.12 N·m")
        assert "a length is expected" in driver.text
        await driver.press("ctrl+u")
        await driver.enter("3rd gear 0.12 mm")
        await driver.enter("add: shift travel")
        assert "TOGETHER: SHIFT TRAVEL" in driver.text
        await driver.enter("skip all: no gauge here")
        assert "WHAT COMES OFF" in driver.text
        record = driver.record
        assert [(each.name, each.place, each.answer) for each in record.together] == [
            ("timing marks", "", "dots line up"), ("lash", "3rd gear", ""),
        ]  # fmt: skip
        assert record.checklist[-1].skipped == "no gauge here"


async def test_answer_without_a_place_goes_on_to_the_next_item(tmp_path: Path) -> None:
    script = TeardownScript(tmp_path)
    script.send(OPEN)
    async with drive_teardown(script.path) as driver:
        assert "► timing marks:" in driver.text
        await driver.enter("dots line up")
        assert "► lash:" in driver.text
        assert "Next: lash." in driver.text
        await driver.enter("0.14 mm")  # with the item's name kept on the row of the field
        assert "► end float:" in driver.text
        await driver.enter("input shaft 0.12 mm")
        assert "► end float:" in driver.text  # for the next place
        await driver.enter("output shaft 0.10 mm")
        assert "2 answers: (input shaft) 0.12 mm; (output shaft) 0.10 mm" in driver.text
        await driver.enter("timing marks: lugs up")  # the name of another item is that item
        assert "► end float:" in driver.text
        assert "2 answers: dots line up; lugs up" in driver.text
        await driver.press("up", "up")
        await driver.enter("0.3 mm")
        assert "is answered in words" in driver.text
        assert [(each.name, each.place, each.answer) for each in driver.record.together] == [
            ("timing marks", "", "dots line up"), ("lash", "", ""), ("end float", "input shaft", ""),
            ("end float", "output shaft", ""), ("timing marks", "", "lugs up"),
        ]  # fmt: skip


async def test_refused_line_is_named_once_and_typing_on_logs_the_next_one(log: Path) -> None:
    async with drive_teardown(log) as driver:
        await driver.enter("detent plugs 3x M16x1.5, bag 3")
        assert driver.text.count("Write a comma before") == 1
        assert "NOT LOGGED" in driver.text
        await driver.enter("springs, 3x 32 mm spring pins, bag 4")  # typed without a look at the screen
        await driver.enter("shift turret, 4x M8x1.25 25 mm, bag 5")
        assert [line.description.what for line in driver.record.lines] == ["springs", "shift turret"]
        assert driver.field == "detent plugs 3x M16x1.5, bag 3"
        await driver.press("home", *["right"] * len("detent plugs"))
        await driver.enter(",")
        assert driver.record.lines[-1].description.what == "detent plugs"
        assert driver.field == ""


async def test_missing_unit_can_be_typed_behind_a_refused_line(log: Path) -> None:
    async with drive_teardown(log) as driver:
        await driver.enter("cover, thickness = 0.3")
        await driver.enter(" mm")
        (line,) = driver.record.lines
        assert line.description.values[0].name == "thickness"
        assert driver.field == ""


async def test_lists_are_shown_by_a_key(log: Path) -> None:
    async with drive_teardown(log) as driver:
        await driver.enter("front bearing, ask the customer: new or old")
        await driver.enter("flange, replace: pitted")
        await driver.press("f3")
        assert "ASK THE CUSTOMER" in driver.text
        assert "front bearing (new or old)" in driver.text
        assert "flange (pitted)" in driver.text
        await driver.press("escape")
        assert "WHAT COMES OFF" in driver.text


async def test_line_is_taken_away_by_a_key(log: Path) -> None:
    async with drive_teardown(log) as driver:
        await driver.enter("cover")
        await driver.enter("cover")
        assert "Line 1 has the same name" in driver.text
        await driver.press("up", "x", "enter")
        assert [line.id for line in driver.record.lines] == ["1"]
        await driver.press("f4")
        assert [line.id for line in driver.record.lines] == ["1", "2"]


async def test_insert_shows_the_lines_around_its_place(log: Path) -> None:
    async with drive_teardown(log) as driver:
        for number in range(1, 31):
            await driver.enter(f"cover {number}a")
        await driver.press("pageup", "pageup", "pageup", "pageup", "down", "down", "i")
        assert "3 ● cover 3a" in driver.text


async def test_picture_is_of_the_newest_line_and_of_the_whole_by_the_same_key(log: Path) -> None:
    async with drive_teardown(log) as driver:
        await driver.enter("cover")
        await driver.press("f7")
        assert "PICTURE OF LINE 1" in driver.text
        await driver.press("f7")
        assert "PICTURE OF THE ASSEMBLY" in driver.text


async def test_undo_goes_back_to_the_item_of_the_answer(tmp_path: Path) -> None:
    script = TeardownScript(tmp_path)
    script.send(OPEN)
    async with drive_teardown(script.path) as driver:
        await driver.press("enter", "enter")
        await driver.enter("0.12 mm")
        await driver.press("f4")
        assert "► end float:" in driver.text
        assert not driver.record.together


async def test_last_answer_leads_to_what_comes_off(tmp_path: Path) -> None:
    script = TeardownScript(tmp_path)
    script.send(OPEN, intent("measure", name="leaks outside", answer="none"))
    async with drive_teardown(script.path) as driver:
        for text in ("dots", "0.1 mm", "0.2 mm", "2 N·m", "20 N·m", "7 %"):
            await driver.enter(text)
        assert "WHAT COMES OFF" in driver.text
        assert not driver.record.open_checks


async def test_keys_about_a_line_ask_and_log(three_lines: Path) -> None:
    async with drive_teardown(three_lines) as driver:
        await driver.press("up", "up", "f")
        assert "FATE OF LINE 2" in driver.text
        await driver.enter("2 r pitted")
        assert "LINE 2" in driver.text  # the line stays selected
        await driver.press("w")
        await driver.enter("1: swarf in the oil way")
        await driver.press("g")
        await driver.enter("rods")
        await driver.press("m")
        await driver.enter("1: bore 52.01 mm")
        await driver.press("n")
        await driver.enter("tight on the dowel")
        line = driver.record.lines[1]
        first, second = line.parts
        assert (first.fate, second.fate, second.fate_reason) == ("", "replace", "pitted")
        assert [(each.kind, each.text) for each in first.found] == [("debris", "swarf in the oil way")]
        assert (first.partner, second.partner) == ("rods", "rods")
        assert [(each.name, each.place) for each in line.values] == [("bore", "1")]
        assert [note.text for note in line.notes] == ["tight on the dowel"]


async def test_part_is_put_back_and_comes_off_again_by_one_key(three_lines: Path) -> None:
    async with drive_teardown(three_lines) as driver:
        await driver.press("up", "up", "up", "b")
        await driver.enter("to turn the crank")
        assert "PUT BACK" in driver.text
        assert not driver.record.lines[0].is_off
        await driver.press("b")
        assert driver.record.lines[0].is_off
        assert "Off again: line 1 (rocker cover)." in driver.text


async def test_line_is_corrected_split_and_a_forgotten_one_inserted(three_lines: Path) -> None:
    async with drive_teardown(three_lines) as driver:
        await driver.press("up", "up", "up", "enter")
        assert driver.field == "rocker cover, bag 1"
        await driver.press("backspace")
        await driver.enter("2")
        await driver.press("s")
        await driver.enter(" / rocker gasket, replace")
        await driver.press("i")
        await driver.enter("breather")
        record = driver.record
        assert [(line.id, line.description.what) for line in record.lines] == [
            ("1", "rocker cover"), ("1b", "breather"), ("1a", "rocker gasket"), ("2", "rod caps"), ("3", "sump"),
        ]  # fmt: skip
        assert record.lines[0].description.container == "bag 2"
        assert [old.description.container for old in record.lines[0].earlier] == ["bag 1", "bag 2"]


async def test_undone_line_is_in_the_field_again(three_lines: Path) -> None:
    async with drive_teardown(three_lines) as driver:
        await driver.press("f4")
        assert "Undone: line 3 (sump)" in driver.text
        assert driver.field == "sump"
        assert [line.id for line in driver.record.lines] == ["1", "2"]
        assert events_in(three_lines)[-1]["kind"] == "undone"


async def test_typed_text_is_kept_when_something_else_is_asked(three_lines: Path) -> None:
    async with drive_teardown(three_lines) as driver:
        await driver.write("oil pump, 2x M6")
        await driver.press("up", "f")
        await driver.press("escape")
        assert driver.field == "oil pump, 2x M6"
        await driver.press("f2")
        assert "WHILE IT IS TOGETHER" in driver.text
        await driver.press("escape")
        assert driver.field == "oil pump, 2x M6"


async def test_picture_of_a_line_is_kept_beside_the_log(three_lines: Path, tmp_path: Path) -> None:
    picture = jpeg_at(tmp_path / "cover.jpg")
    async with drive_teardown(three_lines) as driver:
        await driver.press("up", "p")
        await driver.type(str(picture))
        await driver.press("enter")
        assert "picture" in driver.text
        (kept,) = driver.record.lines[2].pictures
        assert (kept.name, kept.width) == ("cover.jpg", 64)
    assert list(tmp_path.glob("*.pictures/*"))


async def test_closing_asks_for_a_reason_if_something_is_put_back(three_lines: Path) -> None:
    script = TeardownScript(three_lines.parent)
    script.do("put-back", line="1")
    async with drive_teardown(three_lines) as driver:
        await driver.press("f9", "enter")
        assert "These parts are put back: 1 rocker cover" in driver.text
        await driver.enter("The owner took it")
        assert driver.record.closed
        await driver.enter("one more")
        assert "The teardown is closed." in driver.text


async def test_new_teardown_begins_with_the_hazards_and_the_questions(tmp_path: Path) -> None:
    async with drive_teardown() as driver:
        for word in ("DANGER", "WARNING", "CAUTION", "NOTICE", "maker's manual comes first"):
            assert word in driver.text
        await driver.press("enter")
        await driver.enter("five-speed gearbox")
        await driver.enter("GB-12")
        await driver.enter("Robin")
        assert "WHILE IT IS TOGETHER" in driver.text
        record = driver.record
        assert (record.unit, record.what, record.by) == ("GB-12", "five-speed gearbox", "Robin")
    async with drive_teardown() as again:
        assert "GB-12 · five-speed gearbox" in again.text


async def test_second_window_only_shows_the_teardown(three_lines: Path) -> None:
    async with drive_teardown(three_lines) as first:
        await first.press("up")
        async with drive_teardown(three_lines) as second:
            assert "VIEW ONLY: this job is open in another window" in second.text
            await second.press("enter")
            assert "View only" in second.text
            assert "rod caps" in second.text
    assert [event["kind"] for event in events_in(three_lines)].count("came-off") == 3


@pytest.mark.parametrize("size", [(40, 12), (80, 24), (120, 40)])
async def test_screen_fits_every_size(three_lines: Path, size: tuple[int, int]) -> None:
    async with drive_teardown(three_lines, size) as driver:
        await driver.write("oil pump, 2x M6 30 mm + 1x 45 mm front, tray 2, replace: scored, marked 2 at the front")
        assert len(driver.text.splitlines()) <= size[1]
        assert "sump" in driver.text
        assert "Esc back" in driver.text


async def test_entry_line_takes_markup_and_control_characters_as_text(log: Path) -> None:
    async with drive_teardown(log) as driver:
        await driver.paste("cover [bold]x[/bold] \x1b[31m")
        await driver.press("enter")
        assert driver.record.lines[0].description.what == "cover [bold]x[/bold] [31m"
        assert "cover [bold]x" in driver.text


async def test_measured_reading_is_corrected_by_another(log: Path) -> None:
    TeardownScript(log.parent).send(intent("measure", name="end float", value="0.21 mm", place="input"))
    async with drive_teardown(log) as driver:
        await driver.press("f2", "down", "down")
        await driver.enter("input 0.12 mm")
        first, second = driver.record.together
        assert second.corrects == first.event
        assert "(input) 0.12 mm" in driver.text
        assert "0.21" not in driver.text


async def test_picture_from_the_incoming_folder_is_kept_with_one_key(three_lines: Path, tmp_path: Path) -> None:
    incoming = tmp_path / "home" / "data" / "incoming"
    incoming.mkdir(parents=True)
    async with drive_teardown(three_lines) as driver:
        jpeg_at(incoming / "IMG_0042.jpg")
        await driver.press("up", "p")
        await driver.app.workers.wait_for_complete()
        await driver.pilot.pause()
        assert "Enter alone keeps IMG_0042.jpg" in driver.text
        await driver.press("enter")
        assert [each.name for each in driver.record.lines[2].pictures] == ["IMG_0042.jpg"]


async def test_tab_writes_the_bag_of_the_line_before(three_lines: Path) -> None:
    async with drive_teardown(three_lines) as driver:
        await driver.write("oil pump")
        await driver.press("tab")
        assert driver.field == "oil pump, tray A"
        assert len(driver.record.lines) == 3


async def test_decimal_comma_while_together_is_refused(tmp_path: Path) -> None:
    script = TeardownScript(tmp_path)
    script.send(OPEN)
    async with drive_teardown(script.path) as driver:
        await driver.press("down")
        await driver.write("backlash 0,10 mm")
        assert "Write 0.10" in driver.text
        await driver.press("enter")
        assert not driver.record.together
        assert driver.field == "backlash 0,10 mm"


async def test_log_continues_in_another_folder_if_the_disk_fails(log: Path, tmp_path: Path) -> None:
    other = tmp_path / "stick"
    other.mkdir()
    async with drive_teardown(log) as driver:
        assert isinstance(driver.app, TeardownApp)
        assert driver.app.teardown is not None
        disk = FailingDisk()
        driver.app.teardown.controller.journal._disk = disk
        disk.failing = {"write"}
        await driver.enter("cover, bag 1")
        assert "was not saved" in driver.text
        assert driver.field == "cover, bag 1"
        disk.failing = set()
        await driver.press("f8")
        await driver.type(str(other))
        await driver.press("enter")
        assert driver.field == "cover, bag 1"
        await driver.press("enter")
        assert driver.log.parent == other
        assert [line.description.what for line in driver.record.lines] == ["cover"]
    assert len(events_in(log)) == 2


async def test_damaged_and_simulated_teardowns_are_only_shown(three_lines: Path, tmp_path: Path) -> None:
    raw = three_lines.read_bytes()
    three_lines.write_bytes(raw.replace(b"sump", b"pump"))
    async with drive_teardown(three_lines) as driver:
        assert "VIEW ONLY: line" in driver.text
        assert "rod caps" in driver.text
        await driver.press("enter")
        assert "View only" in driver.text
    assert three_lines.read_bytes() == raw.replace(b"sump", b"pump")
    folder = tmp_path / "simulated"
    folder.mkdir()
    log = TeardownScript(folder, simulated=True).begin().off("cover").path
    controller = TeardownCatalog(machine_folders(), None).open(log)
    assert controller.read_only
    controller.close()


async def test_entry_line_is_visible_on_the_smallest_terminal(log: Path) -> None:
    async with drive_teardown(log, size=(24, 8)) as driver:
        for name in ("cover", "shaft", "pump"):
            await driver.enter(name)
        await driver.write("gear")
        assert "\n ►\n" in driver.text  # the field is on this row
        assert driver.field == "gear"


async def test_refusal_is_not_shown_at_another_line(log: Path) -> None:
    async with drive_teardown(log) as driver:
        await driver.enter("cover")
        await driver.enter("shim 1.05 mm")
        assert "NOT LOGGED" in driver.text
        await driver.press("up")
        assert "NOT LOGGED" not in driver.text


async def test_line_is_inserted_before_the_first_and_before_another_one(log: Path) -> None:
    async with drive_teardown(log) as driver:
        await driver.enter("cover")
        await driver.enter("shaft")
        await driver.press("up", "up", "o")
        assert "FORGOTTEN, BEFORE THE FIRST LINE" in driver.text
        await driver.enter("guard")
        await driver.press("up", "o")
        await driver.enter("key")
        assert [line.description.what for line in driver.record.lines] == ["guard", "cover", "key", "shaft"]


def test_teardown_with_all_answers_starts_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BENCHFLOW_HOME", str(tmp_path))
    controller = TeardownCatalog(machine_folders(), None).start("gearbox", "GB-1", "Robin")
    controller.close()
    assert (controller.record and controller.record.unit) == "GB-1"


async def test_closed_teardown_offers_only_what_can_be_added(three_lines: Path) -> None:
    async with drive_teardown(three_lines) as driver:
        await driver.write("half a line")
        await driver.press("f9")
        assert "A line is not logged yet: half a line" in driver.text
        await driver.press("ctrl+u", "f9", "enter")
        assert driver.record.closed
        for gone in ("WHAT COMES OFF", "Enter log it", "F9 close", "F4 undo", "F2 while"):
            assert gone not in driver.text
        await driver.press("enter")
        await driver.enter("note: the owner has the key")
        assert [note.text for note in driver.record.notes] == ["the owner has the key"]
        await driver.press("up")
        assert "f fate" in driver.text
        assert "s split" not in driver.text
        await driver.press("f")
        await driver.enter("r pitted")
        assert driver.record.lines[-1].parts[0].fate == "replace"


async def test_words_of_the_fates_are_in_the_hints_and_in_the_help(three_lines: Path) -> None:
    async with drive_teardown(three_lines) as driver:
        assert "to the machine shop, ask customer: why" in driver.text
        await driver.press("f1")
        assert "to the machine shop" in driver.text
        await driver.press("escape", "f3")
        assert "u use again, m machine" in driver.text


async def test_picture_key_says_that_there_is_no_folder(three_lines: Path) -> None:
    async with drive_teardown(three_lines) as driver:
        await driver.press("f7")
        assert "There is no folder" in driver.text
        assert "Make it" in driver.text


async def test_skip_without_a_reason_leaves_its_word_in_the_field(tmp_path: Path) -> None:
    script = TeardownScript(tmp_path)
    script.send(OPEN)
    async with drive_teardown(script.path) as driver:
        await driver.enter("skip")
        assert driver.field == "skip: "
        await driver.enter("no cylinders")
        assert any(item.skipped == "no cylinders" for item in driver.record.checklist)
