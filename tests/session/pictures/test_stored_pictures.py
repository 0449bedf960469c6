"""Pictures kept beside the log: durable, written once, checked, and replaced if they were changed."""

import errno
import os
import resource
import signal
from pathlib import Path

import pytest

from benchflow.session.pictures.picture_file import PictureFile, read_picture
from benchflow.session.pictures.stored_pictures import (
    PictureNotStored,
    pictures_folder,
    remove_unnamed,
    store_picture,
    stored_path,
    stored_picture_problem,
    unnamed_files,
)
from tests.driving.failing_disk import FailingDisk
from tests.driving.made_pictures import jpeg_at


@pytest.fixture
def picture(tmp_path: Path) -> PictureFile:
    return read_picture(jpeg_at(tmp_path / "IMG_0012.jpg"))


@pytest.fixture
def log(tmp_path: Path) -> Path:
    (tmp_path / "logs").mkdir()
    return tmp_path / "logs" / "job.jsonl"


def test_a_picture_is_kept_under_its_digest_with_its_own_bytes(log: Path, picture: PictureFile) -> None:
    path = store_picture(log, picture)
    assert path == log.parent / "job.jsonl.pictures" / f"{picture.facts.sha256}.jpg"
    assert path.read_bytes() == picture.content
    assert stored_picture_problem(log, picture.facts) is None


def test_file_and_folder_are_synced_before_it_returns(log: Path, picture: PictureFile) -> None:
    disk = FailingDisk()
    store_picture(log, picture, disk)
    assert disk.calls == ["sync_folder", "sync", "sync_folder"]


def test_a_whole_copy_is_not_written_again(log: Path, picture: PictureFile) -> None:
    before = store_picture(log, picture).stat()
    after = store_picture(log, picture).stat()
    assert (after.st_ino, after.st_mtime_ns) == (before.st_ino, before.st_mtime_ns)


def test_a_changed_copy_is_replaced(log: Path, picture: PictureFile) -> None:
    path = store_picture(log, picture)
    path.write_bytes(b"x" * picture.facts.size)
    store_picture(log, picture)
    assert path.read_bytes() == picture.content


def test_a_link_in_place_of_the_copy_is_replaced_and_its_target_stays(log: Path, picture: PictureFile) -> None:
    other = log.parent / "other"
    other.write_text("keep me")
    pictures_folder(log).mkdir()
    stored_path(log, picture.facts.sha256, "image/jpeg").symlink_to(other)
    assert not store_picture(log, picture).is_symlink()
    assert other.read_text() == "keep me"


@pytest.mark.parametrize("call", ["sync", "sync_folder"])
def test_a_copy_that_the_disk_does_not_confirm_is_an_error(log: Path, picture: PictureFile, call: str) -> None:
    disk = FailingDisk()
    disk.failing = {call}
    with pytest.raises(PictureNotStored, match=r"IMG_0012\.jpg"):
        store_picture(log, picture, disk)


def test_a_full_disk_leaves_no_part_of_the_copy(log: Path, picture: PictureFile) -> None:
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100, hard))  # a write beyond 100 bytes fails with EFBIG
    try:
        with pytest.raises(PictureNotStored, match="is full"):
            store_picture(log, picture)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        signal.signal(signal.SIGXFSZ, before)
    assert not list(pictures_folder(log).iterdir())


@pytest.mark.parametrize("error", [errno.ENOSPC, errno.EDQUOT])
def test_a_sync_that_finds_the_disk_full_says_so(log: Path, picture: PictureFile, error: int) -> None:
    disk = FailingDisk()
    disk.failing, disk.error = {"sync"}, error
    with pytest.raises(PictureNotStored, match="is full"):
        store_picture(log, picture, disk)
    assert not list(pictures_folder(log).iterdir())


def test_a_file_or_a_link_in_place_of_the_folder_is_left_alone(log: Path, picture: PictureFile) -> None:
    pictures_folder(log).write_text("mine")
    with pytest.raises(PictureNotStored, match="has its name"):
        store_picture(log, picture)
    assert pictures_folder(log).read_text() == "mine"


def test_missing_changed_and_unreadable_copies_are_told_apart(log: Path, picture: PictureFile) -> None:
    missing = stored_picture_problem(log, picture.facts)
    assert missing is not None
    assert missing.what == "missing"
    path = store_picture(log, picture)
    path.write_bytes(b"x" * picture.facts.size)
    changed = stored_picture_problem(log, picture.facts)
    assert changed is not None
    assert (changed.what, changed.path) == ("changed", path)
    path.write_bytes(b"x")
    shorter = stored_picture_problem(log, picture.facts)
    assert shorter is not None
    assert f"has 1 bytes, not {picture.facts.size}" in shorter.message
    path.unlink()
    path.mkdir()
    folder = stored_picture_problem(log, picture.facts)
    assert folder is not None
    assert folder.what == "unreadable"
    path.rmdir()
    os.mkfifo(path)
    pipe = stored_picture_problem(log, picture.facts)
    assert pipe is not None
    assert pipe.what == "unreadable"


def test_only_files_of_this_program_that_no_event_names_are_removed(log: Path, picture: PictureFile) -> None:
    kept = store_picture(log, picture)
    orphan = kept.with_name("0" * 64 + ".jpg")
    part = kept.with_name(f".{'0' * 40}.{'1' * 16}.part")
    foreign = kept.with_name("notes.txt")
    for path in (orphan, part, foreign):
        path.write_text("x")
    found = unnamed_files(log, [picture.facts])
    assert set(found) == {orphan, part}
    assert remove_unnamed(found) == found
    assert set(kept.parent.iterdir()) == {kept, foreign}
