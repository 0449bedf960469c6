"""The page at the end of a job: what was out of the ordinary, and the build sheet by one key."""

from pathlib import Path

from benchflow.session.machine_folders import machine_folders
from benchflow.tui.model.job_catalog import JobCatalog
from tests.driving.script import procedure_with
from tests.driving.session_driver import SessionDriver
from tests.driving.small_head import start_session
from tests.tui.app_driver import drive_app

WORK = procedure_with(
    """{id: bore, title: Measure the bore,
 record: {bore: {ask: Bore, unit: mm, limit: 10.0 .. 10.2 mm}, depth: {ask: Depth, unit: mm, limit: 4 .. 5 mm}}}""",
    "{id: wash, title: Wash it, after: bore, undo: {do: Take it out}}",
)
FOLLOW_UP = """
follow-up:
- {title: Tighten again, due: 14 d}
"""


def unusual_build(folder: Path) -> SessionDriver:
    """A finished build with a deviation, a repeated reading, a correction, a rework and a note."""
    driver = start_session(folder, WORK + FOLLOW_UP, options={}, start={})
    driver.do("start", operation="bore")
    driver.do("record", name="bore", value="10.4 mm")
    driver.do("record", name="bore", value="10.1 mm")
    driver.do("record", name="depth", value="4.4 mm")
    driver.do("correct", event=driver.controller.saved, value="4.5 mm", reason="digits swapped")
    driver.do("record", name="depth", value="5.5 mm")
    driver.do("deviate", operation="bore", about="depth", reason="deep enough")
    driver.do("note", operation="bore", text="a burr was left")
    driver.do("finish", operation="bore")
    driver.work("wash")
    driver.do("rework", operation="wash", reason="still dirty")
    driver.work("wash")
    return driver


async def test_end_page_lists_everything_out_of_the_ordinary_with_its_operation(tmp_path: Path) -> None:
    async with drive_app(unusual_build(tmp_path).controller, (100, 40)) as bench:
        await bench.press("enter", "enter")
        assert bench.kinds[-1] == "closed"
        shown = " ".join(bench.text.split())
        for words in (
            "1 Measure the bore: deviation from depth, signed by Robin: deep enough",
            "1 Measure the bore: measured again, Bore was out of its limit 1 time",
            "CORRECTED to 4.5 mm, ok; reason: digits swapped",
            "1 Measure the bore: note, Robin: a burr was left",
            "2 Wash it: reworked,",
            "Tighten again",
        ):
            assert words in shown


async def test_end_page_of_a_plain_build_says_that_nothing_was_unusual(tmp_path: Path) -> None:
    driver = start_session(tmp_path, WORK, options={}, start={})
    driver.do("start", operation="bore")
    driver.do("record", name="bore", value="10.1 mm")
    driver.do("record", name="depth", value="4.5 mm")
    driver.do("finish", operation="bore")
    driver.work("wash")
    async with drive_app(driver.controller) as bench:
        await bench.press("enter", "enter")
        assert "OUT OF THE ORDINARY" in bench.text
        assert "Nothing." in bench.text


async def test_one_key_makes_the_build_sheet_and_says_where_it_is(tmp_path: Path) -> None:
    async with drive_app(unusual_build(tmp_path).controller) as bench:
        await bench.press("enter", "enter", "b")
        sheet = tmp_path / "build.html"
        assert "deep enough" in sheet.read_text(encoding="utf-8")
        assert "Thebuildsheetis" in "".join(bench.text.split())
        assert "build.html" in "".join(bench.text.split())


async def test_another_key_makes_the_copy_for_the_shop_beside_it(tmp_path: Path) -> None:
    async with drive_app(unusual_build(tmp_path).controller) as bench:
        await bench.press("enter", "enter")
        assert "b build sheet" in bench.text
        assert "s shop's copy" in bench.text
        await bench.press("b", "s")
        shown = " ".join(bench.text.split())
        assert "(for the shop, with everything)" in shown
    customers, shops = ((tmp_path / f"build{end}.html").read_text(encoding="utf-8") for end in ("", ".shop"))
    assert "measured again" in shops
    assert "measured again" not in customers


async def test_build_sheet_never_replaces_another_file(tmp_path: Path) -> None:
    (tmp_path / "build.html").write_text("<title>mine</title>", encoding="utf-8")
    async with drive_app(unusual_build(tmp_path).controller) as bench:
        await bench.press("enter", "enter", "b")
        assert "is not a build sheet" in " ".join(bench.text.split())
    assert (tmp_path / "build.html").read_text(encoding="utf-8") == "<title>mine</title>"


async def test_end_page_of_an_ended_job_can_be_opened_again(tmp_path: Path) -> None:
    driver = unusual_build(tmp_path)
    driver.do("close")
    async with drive_app(driver.controller) as bench:
        assert "e end page, build sheet" in bench.text
        await bench.press("e")
        assert "OUT OF THE ORDINARY" in bench.text
        await bench.press("b", "escape")
        assert bench.screen.title_line == "Bench"
        assert (tmp_path / "build.html").exists()
        assert bench.kinds.count("closed") == 1


async def test_watching_window_writes_no_build_sheet(tmp_path: Path) -> None:
    driver = unusual_build(tmp_path)
    driver.do("close")
    driver.controller.close()
    controller = JobCatalog(machine_folders(), tmp_path).watch(driver.controller.journal.path)
    async with drive_app(controller) as bench:
        await bench.press("e", "b")
        assert "View only" in bench.text
    assert not (tmp_path / "build.html").exists()
