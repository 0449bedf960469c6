"""The incoming folder: which files are new pictures, and that nothing in it is changed."""

import os
from pathlib import Path

import pytest

from benchflow.base.errors import BenchflowError
from benchflow.session.pictures.incoming_folder import (
    OFFERED_FOR,
    IncomingWatch,
    incoming_folder,
    set_incoming_folder,
)
from tests.driving.made_pictures import jpeg, jpeg_at


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "phone").mkdir()
    return tmp_path / "phone"


def names(watch: IncomingWatch, path: Path, later: float = 1) -> list[str]:
    """The names of the pictures that one look offers, ``later`` seconds after the last change in the folder."""
    return [each.path.name for each in watch.look(path.stat().st_ctime + later)]


def test_a_picture_is_offered_at_the_second_look(folder: Path) -> None:
    watch = IncomingWatch(folder, 0)
    jpeg_at(folder / "IMG_1.jpg")
    assert (names(watch, folder), watch.unsettled) == ([], True)
    assert (names(watch, folder), watch.unsettled) == (["IMG_1.jpg"], False)


@pytest.mark.parametrize("later", [1, 60])
def test_a_file_that_grows_is_not_taken_until_it_is_whole(folder: Path, later: float) -> None:
    watch, content = IncomingWatch(folder, 0), jpeg(400, 300)
    path = folder / "IMG_1.jpg"
    for length in (200, 400, len(content) // 2):
        path.write_bytes(content[:length])
        assert names(watch, folder, later) == []
    assert [names(watch, folder, later) for _ in range(3)] == [[], [], []]  # it does not grow, but ends too early
    path.write_bytes(content)
    assert names(watch, folder, later) == []
    assert names(watch, folder, later) == ["IMG_1.jpg"]


def test_only_pictures_that_arrived_after_the_start_are_offered_and_for_one_working_day(folder: Path) -> None:
    path = jpeg_at(folder / "IMG_1.jpg")
    os.utime(path, (1000, 1000))  # a copy often keeps the time of the picture
    arrived = path.stat().st_ctime
    late = IncomingWatch(folder, arrived + 1)
    assert [late.look(arrived + 2) for _ in range(2)] == [(), ()]
    watch = IncomingWatch(folder, arrived - 1)
    watch.look(arrived + 2)
    assert len(watch.look(arrived + 2)) == 1
    assert watch.look(arrived + OFFERED_FOR + 1) == ()


def test_other_files_are_not_opened(folder: Path) -> None:
    watch = IncomingWatch(folder, 0)
    os.mkfifo(folder / "pipe.jpg")
    (folder / "folder.jpg").mkdir()
    (folder / "link.jpg").symlink_to(jpeg_at(folder.parent / "real.jpg"))
    jpeg_at(folder / ".IMG_1.jpg")
    jpeg_at(folder / "IMG_1.jpg.part")
    (folder / "text.jpg").write_text("text")
    (folder / "empty.jpg").touch()
    assert [names(watch, folder) for _ in range(3)] == [[], [], []]
    assert not watch.unsettled


def test_the_first_to_arrive_is_offered_first(folder: Path) -> None:
    watch = IncomingWatch(folder, 0)
    for shade, name in enumerate(("b.jpg", "a.jpg")):
        os.utime(jpeg_at(folder / name, shade), (0, 4_000_000_000 + shade))
    now = 4_000_000_002
    watch.look(now)
    assert [each.path.name for each in watch.look(now)] == ["b.jpg", "a.jpg"]


def test_many_files_are_read_in_several_looks(folder: Path) -> None:
    watch = IncomingWatch(folder, 0)
    for shade in range(10):
        jpeg_at(folder / f"IMG_{shade}.jpg", shade)
    assert [len(names(watch, folder)) for _ in range(4)] == [0, 4, 8, 10]


def test_a_folder_that_is_missing_has_no_pictures(tmp_path: Path) -> None:
    watch = IncomingWatch(tmp_path / "gone", 0)
    assert (watch.look(1.0), watch.exists) == ((), False)


def test_the_folder_is_in_the_data_folder_until_it_is_set(tmp_path: Path, folder: Path) -> None:
    config, data = tmp_path / "config", tmp_path / "data"
    assert incoming_folder(config, data) == data / "incoming"
    config.mkdir()
    set_incoming_folder(config, folder)
    assert incoming_folder(config, data) == folder
    with pytest.raises(BenchflowError, match="There is no folder"):
        set_incoming_folder(config, tmp_path / "gone")
    (config / "incoming.json").write_text("damaged")
    assert incoming_folder(config, data) == data / "incoming"


def test_a_later_picture_is_found_in_a_folder_that_was_quiet(folder: Path) -> None:
    watch = IncomingWatch(folder, 0)
    assert [names(watch, folder, 60) for _ in range(3)] == [[], [], []]
    jpeg_at(folder / "IMG_1.jpg")
    assert [names(watch, folder, 60) for _ in range(3)] == [[], ["IMG_1.jpg"], ["IMG_1.jpg"]]
    (folder / "IMG_1.jpg").unlink()
    assert names(watch, folder, 60) == []
