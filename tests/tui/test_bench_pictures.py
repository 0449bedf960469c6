"""Pictures at the bench: one that arrives is offered and attached with one key; the list of the pictures."""

import os
from pathlib import Path

import pytest

from benchflow.session.machine_folders import machine_folders
from benchflow.session.pictures.incoming_folder import IncomingWatch, set_incoming_folder
from benchflow.session.pictures.other_jobs import OtherJobs
from benchflow.session.pictures.stored_pictures import pictures_folder
from benchflow.tui.bench.bench_screen import BenchScreen
from tests.driving.log_files import events_in
from tests.driving.made_pictures import jpeg, jpeg_at
from tests.driving.script import procedure_with
from tests.driving.session_driver import SessionDriver
from tests.driving.small_head import start_session
from tests.tui.app_driver import AppDriver, drive_app

MEASURE = "{id: measure, title: Measure, record: {bore: {ask: Bore, limit: 80 .. 81 mm, readings: [top, bottom]}}}"
FLANGE = "{id: flange, title: Tighten the flange, tighten: {joint: flange, stages: [20 N·m]}}"
HEAD = "joints: {flange: {title: Flange nuts, pattern: star 6}}\n"


@pytest.fixture
def phone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("BENCHFLOW_HOME", str(tmp_path / "home"))
    (tmp_path / "home" / "config").mkdir(parents=True)
    (tmp_path / "phone").mkdir()
    set_incoming_folder(tmp_path / "home" / "config", tmp_path / "phone")
    return tmp_path / "phone"


def job(folder: Path, operation: str) -> SessionDriver:
    folder.mkdir(parents=True, exist_ok=True)
    return start_session(folder, procedure_with(operation, head=HEAD), options={}, start={})


def words(bench: AppDriver) -> str:
    """The text on the screen in one line."""
    return " ".join(bench.text.split())


async def ticks(bench: AppDriver) -> None:
    """Let the clock of the bench tick twice: a file counts at the second look."""
    screen = bench.app.screen_stack[-1]
    assert isinstance(screen, BenchScreen)
    await screen.timer_tick()
    await screen.timer_tick()
    await bench.press("up")


async def test_a_new_picture_is_offered_and_one_key_attaches_it_to_the_reading(tmp_path: Path, phone: Path) -> None:
    driver = job(tmp_path, MEASURE)
    async with drive_app(driver.controller) as bench:
        jpeg_at(phone / "IMG_1.jpg", 1)
        jpeg_at(phone / "IMG_2.jpg", 2)
        await ticks(bench)
        assert "2 new pictures. F7 attaches IMG_1.jpg to Bore, top. F8 shows all." in bench.text
        await bench.press("f7")
        assert "IMG_1.jpg is attached to Bore, top (log line 2)" in bench.text
        assert "1 new picture. F7 attaches IMG_2.jpg to Bore, top" in bench.text
    event = events_in(driver.controller.journal.path)[-1]
    assert (event["kind"], event["data"]["operation"]) == ("attached", "measure")
    assert event["data"]["target"] == {"value": "bore", "reading": "top"}
    assert len(list(pictures_folder(driver.controller.journal.path).iterdir())) == 1
    assert len(list(phone.iterdir())) == 2


async def test_f7_looks_into_a_folder_that_was_made_after_the_job_was_opened(tmp_path: Path, phone: Path) -> None:
    phone.rmdir()
    driver = job(tmp_path, MEASURE)
    async with drive_app(driver.controller) as bench:
        await bench.press("f7")
        assert "There is no folder" in bench.text
        phone.mkdir()
        jpeg_at(phone / "IMG_1.jpg", 1)
        await bench.press("f7")
        assert "1 new picture. F7 attaches IMG_1.jpg to Bore, top" in bench.text
        assert "attached" not in bench.kinds
        await bench.press("f7")
        assert bench.kinds.count("attached") == 1


async def test_f7_looks_into_a_folder_that_was_set_while_the_job_was_open(tmp_path: Path, phone: Path) -> None:
    driver = job(tmp_path, MEASURE)
    async with drive_app(driver.controller) as bench:
        await bench.press("f7")
        (tmp_path / "other").mkdir()
        set_incoming_folder(tmp_path / "home" / "config", tmp_path / "other")
        jpeg_at(tmp_path / "other" / "IMG_1.jpg")
        await bench.press("f7")
        assert "1 new picture. F7 attaches IMG_1.jpg to Bore, top" in bench.text


async def test_f8_lists_a_picture_that_has_just_arrived(tmp_path: Path, phone: Path) -> None:
    driver = job(tmp_path, MEASURE)
    async with drive_app(driver.controller) as bench:
        jpeg_at(phone / "IMG_1.jpg", 1)
        await bench.press("f8")
        assert "IMG_1.jpg" in bench.text


async def test_a_bounce_attaches_one_picture(tmp_path: Path, phone: Path) -> None:
    async with drive_app(job(tmp_path, FLANGE).controller) as bench:
        jpeg_at(phone / "IMG_1.jpg", 1)
        jpeg_at(phone / "IMG_2.jpg", 2)
        await ticks(bench)
        await bench.press("f7")
        await bench.press("f7", pause=0.1)
        assert bench.kinds.count("attached") == 1


async def test_a_picture_of_a_joint_is_of_the_next_fastener(tmp_path: Path, phone: Path) -> None:
    driver = job(tmp_path, FLANGE)
    async with drive_app(driver.controller) as bench:
        await bench.press("enter", "enter")
        jpeg_at(phone / "IMG_1.jpg")
        await ticks(bench)
        await bench.press("f7")
    event = events_in(driver.controller.journal.path)[-1]
    assert event["kind"] == "attached"
    assert event["data"]["target"]["joint"] == "flange"
    assert event["data"]["target"]["fastener"] >= 1


async def test_without_a_new_picture_the_key_says_so(tmp_path: Path, phone: Path) -> None:
    async with drive_app(job(tmp_path, FLANGE).controller) as bench:
        await bench.press("f7")
        assert "There is no new picture" in bench.text
        assert "attached" not in bench.kinds


async def test_the_list_attaches_with_a_caption_leaves_out_and_withdraws(tmp_path: Path, phone: Path) -> None:
    driver = job(tmp_path, MEASURE)
    async with drive_app(driver.controller) as bench:
        jpeg_at(phone / "IMG_1.jpg", 1)
        jpeg_at(phone / "IMG_2.jpg", 2)
        await ticks(bench)
        await bench.press("f8")
        assert "new  IMG_1.jpg" in bench.text
        await bench.press("x")
        assert "IMG_1.jpg is not offered again" in bench.text
        assert "new  IMG_1.jpg" not in bench.text
        await bench.press("enter")
        await bench.type("Score at the top\n")
        assert "IMG_2.jpg is attached to Bore, top." in bench.text
        assert "new picture" not in bench.text
        await bench.press("f8", "down")
        assert "Bore, top: Score at the top" in bench.text
        await bench.press("enter")
        await bench.type("Wrong bore\n")
        assert "Picture of log line 2 withdrawn." in bench.text
        assert "1 new picture. F7 attaches IMG_2.jpg to Bore, top" in bench.text  # it may belong elsewhere
    assert [event["kind"] for event in events_in(driver.controller.journal.path)][1:] == [
        "attached",
        "picture-withdrawn",
    ]


async def test_a_picture_that_another_job_has_is_not_offered_as_new(tmp_path: Path, phone: Path) -> None:
    first, second = job(machine_folders().sessions, MEASURE), job(tmp_path, MEASURE)
    async with drive_app(second.controller) as bench:
        jpeg_at(phone / "IMG_1.jpg")
        await ticks(bench)
        assert "1 new picture. F7 attaches IMG_1.jpg" in bench.text
        first.do("attach", file=str(phone / "IMG_1.jpg"))
        await ticks(bench)
        assert "new picture" not in bench.text
        await bench.press("f7")
        assert "IMG_1.jpg is attached to job 2417 already. F8 attaches it to this job too." in words(bench)
        await bench.press("f8", "down")
        assert "IMG_1.jpg, attached to job 2417 already" in bench.text
        await bench.press("enter")
        await bench.type("\n")
        assert "IMG_1.jpg is attached to Bore, top." in bench.text
        assert bench.kinds.count("attached") == 1


def test_a_picture_that_was_withdrawn_from_the_other_job_is_offered_again(tmp_path: Path, phone: Path) -> None:
    first, second = job(machine_folders().sessions, MEASURE), job(tmp_path, MEASURE)
    watch = IncomingWatch(phone, 0, OtherJobs(second.controller.journal.path, (first.controller.journal.path.parent,)))
    picture = jpeg_at(phone / "IMG_1.jpg")
    first.do("attach", file=str(picture))
    now = picture.stat().st_ctime + 1
    watch.look(now)
    assert [one.path.name for one in watch.look(now)] == ["IMG_1.jpg"]
    assert list(watch.elsewhere.values()) == ["job 2417"]
    first.do("withdraw", event=2, reason="wrong job")
    watch.look(now)
    assert watch.elsewhere == {}


async def test_a_new_file_that_is_not_whole_is_named_with_what_to_do(tmp_path: Path, phone: Path) -> None:
    async with drive_app(job(tmp_path, MEASURE).controller) as bench:
        content = jpeg(400, 300)
        (phone / "IMG_1.jpg").write_bytes(content[: len(content) // 2])
        (phone / "IMG_0.jpg").write_text("no picture")
        await ticks(bench)
        await bench.press("f7")
        assert "IMG_1.jpg ends in the middle of the picture, or is damaged. Wait until it is complete" in words(bench)
        await bench.press("f8", "down", "down")
        assert "IMG_0.jpg, cannot be attached" in bench.text
        assert "IMG_1.jpg, not complete yet, or damaged" in bench.text
        await bench.press("enter")
        assert "send or copy it again" in words(bench)
        assert "attached" not in bench.kinds
        (phone / "IMG_1.jpg").write_bytes(content)
        await bench.press("escape")
        await ticks(bench)
        assert "1 new picture. F7 attaches IMG_1.jpg to Bore, top" in bench.text


async def test_a_file_of_another_folder_is_attached_by_its_path(tmp_path: Path, phone: Path) -> None:
    jpeg_at(tmp_path / "old.jpg")
    async with drive_app(job(tmp_path, MEASURE).controller) as bench:
        await bench.press("f8", "enter")
        await bench.type(f"{tmp_path / 'gone.jpg'}\n\n\n")
        assert "There is no file" in bench.text
        assert "attached" not in bench.kinds


async def test_a_picture_made_in_a_finished_operation_is_offered_for_that_one(tmp_path: Path, phone: Path) -> None:
    forks = [f"{{id: {name}, title: Inspect the {name} fork, record: {{{name}: {{ask: Pad, limit: 1 .. 9 mm}}}}}}"
             for name in ("old", "new")]  # fmt: skip
    driver = start_session(tmp_path, procedure_with(*forks), options={}, start={})
    driver.do("start", operation="old")
    driver.clock.advance(60)
    during = driver.clock.wall_time.timestamp()
    driver.clock.advance(60)
    driver.do("record", name="old", value="5 mm")
    driver.do("finish", operation="old")
    driver.clock.advance(60)
    driver.do("start", operation="new")
    async with drive_app(driver.controller) as bench:
        for name, made in (("IMG_1.jpg", during), ("IMG_2.jpg", during + 120)):
            jpeg_at(phone / name, int(made))
            os.utime(phone / name, (made, made))
        await ticks(bench)
        offer = "2 new pictures. F7 attaches IMG_1.jpg to step 1 Inspect the old fork. F8 shows all."
        assert offer in " ".join(bench.text.split())
        await bench.press("f8")
        assert "made during step 1 Inspect the old fork" in bench.text
        await bench.press("escape", "f7")
        assert "1 new picture. F7 attaches IMG_2.jpg to Pad. F8 shows all." in bench.text
    event = events_in(driver.controller.journal.path)[-1]
    assert (event["kind"], event["data"]["operation"]) == ("attached", "old")
