"""What a message about a failed write says is what is in the file."""

import errno
import os
from pathlib import Path

import pytest

from benchflow.session.log import lock
from benchflow.session.log.journal import Journal, LogUnusable, NotSaved
from benchflow.session.log.log_check import verify
from tests.driving.failing_disk import FailingDisk
from tests.driving.log_files import note_draft, write_log


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "log.jsonl"


@pytest.mark.parametrize(
    "failing", [{"write"}, {"write", "truncate"}, {"write", "sync"}, {"sync"}, {"sync", "truncate"}]
)
def test_entry_is_called_not_saved_only_if_it_is_certainly_not_in_the_file(path: Path, failing: set[str]) -> None:
    disk = FailingDisk()
    with Journal.create(path, disk) as journal:
        journal.append([note_draft(1)])
        before = path.read_bytes()
        disk.failing = failing
        with pytest.raises(NotSaved) as told:
            journal.append([note_draft(2)])
        certain = "truncate" not in failing and "sync" not in failing
        assert str(told.value).startswith("The entry was not saved. " if certain else "The entry may be in the log")
        if certain:
            assert path.read_bytes() == before
        disk.failing = set()
        journal.append([note_draft(3)])
    found = verify(path)
    assert (found.events, found.damage, found.torn) == (2, None, False)


def test_entry_that_could_not_be_cut_off_is_named_and_found_by_the_next_start(path: Path) -> None:
    disk = FailingDisk()
    with Journal.create(path, disk) as journal:
        disk.failing = {"sync", "truncate"}
        with pytest.raises(NotSaved, match="may be in the log"):
            journal.append([note_draft(1)])
    assert verify(path).events == 1


@pytest.mark.parametrize("failing", ["write", "sync", "sync_folder", "truncate"])
def test_torn_line_is_in_one_file_if_it_cannot_be_moved(path: Path, failing: str) -> None:
    torn = write_log(path, 2)[:-5]
    path.write_bytes(torn)
    for _ in range(2):
        disk = FailingDisk()
        disk.failing = {failing}
        with Journal.open(path, disk=disk) as journal:
            assert (len(journal.lines), journal.torn) == (1, None)
            assert "is incomplete and cannot be moved" in journal.read_only
        assert [(file.name, file.read_bytes()) for file in path.parent.iterdir()] == [("log.jsonl", torn)]


def test_moved_torn_line_is_reported_if_the_disk_does_not_confirm_the_cut(path: Path) -> None:
    whole = write_log(path, 2)
    path.write_bytes(whole[:-5])
    disk = SecondSyncFails()
    with Journal.open(path, disk=disk) as journal:
        assert journal.torn == Path(f"{path}.torn-1")
        assert "the disk does not confirm" in journal.read_only
    first, second = whole.splitlines(keepends=True)
    assert (path.read_bytes(), Path(f"{path}.torn-1").read_bytes()) == (first, second[:-5])


@pytest.mark.parametrize(("failing", "words"), [("write", "cannot be written"), ("sync", "does not confirm")])
def test_missing_newline_that_cannot_be_saved_makes_the_log_read_only(path: Path, failing: str, words: str) -> None:
    whole = write_log(path, 2)
    path.write_bytes(whole[:-1])
    disk = FailingDisk()
    disk.failing = {failing}
    with Journal.open(path, disk=disk) as journal:
        assert (len(journal.lines), words in journal.read_only) == (2, True)
    assert path.read_bytes() == (whole[:-1] if failing == "write" else whole)


@pytest.mark.parametrize("failing", ["write", "sync", "sync_folder"])
def test_copy_that_cannot_be_made_is_removed_and_the_log_goes_on(path: Path, failing: str) -> None:
    disk, other = FailingDisk(), path.parent / "stick"
    other.mkdir()
    with Journal.create(path, disk) as journal:
        journal.append([note_draft(1)])
        disk.failing = {failing}
        with pytest.raises(LogUnusable, match="No log can be made"):
            journal.move_to(other)
        assert list(other.iterdir()) == []
        disk.failing = set()
        journal.append([note_draft(2)])
    assert verify(path).events == 2


def test_new_log_that_another_program_has_opened_meanwhile_is_not_removed(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(lock, "acquire", lambda fd: False)
    with pytest.raises(LogUnusable, match="Another program has just opened"):
        Journal.create(path)
    assert path.exists()


def test_folder_that_cannot_lock_files_is_named(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def cannot_lock(fd: int) -> bool:
        raise lock.LockingUnsupported("files in this folder cannot be locked (not supported)")

    monkeypatch.setattr(lock, "acquire", cannot_lock)
    with pytest.raises(LogUnusable, match=r"No log can be made in .*: files in this folder cannot be locked"):
        Journal.create(path)
    assert not path.exists()


class SecondSyncFails(FailingDisk):
    """A disk that confirms one file, and no other."""

    def sync(self, fd: int) -> None:
        super().sync(fd)
        if self.calls.count("sync") > 1:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
