"""The journal on real files: durability, one writer, torn lines, damage, failing disks."""

import errno
import json
import re
from pathlib import Path

import pytest

from benchflow.base.errors import InternalError
from benchflow.session.log.journal import Journal, LogChanged, LogUnusable, NotSaved
from benchflow.session.log.log_check import verify
from tests.driving.failing_disk import FailingDisk
from tests.driving.log_files import note_draft, write_log

# --- saved before reported ---------------------------------------------------------------------------


def test_event_is_synced_before_it_is_confirmed(tmp_path: Path) -> None:
    disk = FailingDisk()
    with Journal.create(tmp_path / "log.jsonl", disk) as journal:
        assert disk.calls[-2:] == ["sync", "sync_folder"]
        disk.calls.clear()
        journal.append([note_draft(1), note_draft(2), note_draft(3)])
        assert disk.calls == ["write", "sync"]


def test_returned_lines_equal_the_lines_read_back(tmp_path: Path) -> None:
    with Journal.create(tmp_path / "log.jsonl") as journal:
        shown = journal.append([note_draft(1, places=("1", "2"), none=None), note_draft(2)])
        head = journal.head
    again = Journal.open(tmp_path / "log.jsonl")
    assert tuple(again.lines) == shown
    assert again.head == head
    assert [line.seq for line in again.lines] == [1, 2]


def test_head_is_the_hash_of_the_last_line_in_the_file(tmp_path: Path) -> None:
    with Journal.create(tmp_path / "log.jsonl") as journal:
        for number in (1, 2, 3):
            journal.append([note_draft(number)])
            last = (tmp_path / "log.jsonl").read_bytes().splitlines()[-1]
            assert journal.head == json.loads(last)["hash"]


def test_new_log_does_not_replace_an_existing_file(tmp_path: Path) -> None:
    before = write_log(tmp_path / "log.jsonl", 1)
    with pytest.raises(LogUnusable, match="already exists"):
        Journal.create(tmp_path / "log.jsonl")
    assert (tmp_path / "log.jsonl").read_bytes() == before


def test_missing_folder_is_reported_and_not_made(tmp_path: Path) -> None:
    with pytest.raises(LogUnusable, match="no folder"):
        Journal.create(tmp_path / "gone" / "log.jsonl")
    assert not (tmp_path / "gone").exists()


def test_failed_creation_leaves_no_file(tmp_path: Path) -> None:
    disk = FailingDisk()
    disk.failing = {"sync_folder"}
    with pytest.raises(LogUnusable, match="No log can be made"):
        Journal.create(tmp_path / "log.jsonl", disk)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("what", ["folder", "nothing"])
def test_path_that_is_not_a_log_is_refused_with_a_message(tmp_path: Path, what: str) -> None:
    path = tmp_path / "log.jsonl"
    if what == "folder":
        path.mkdir()
    with pytest.raises(LogUnusable, match=r"not a regular file|no log at"):
        Journal.open(path)
    with pytest.raises(LogUnusable):
        verify(path)


def test_empty_log_can_be_continued(tmp_path: Path) -> None:
    (tmp_path / "log.jsonl").touch()
    with Journal.open(tmp_path / "log.jsonl") as journal:
        assert (list(journal.lines), journal.head, journal.read_only) == ([], "0" * 64, "")
        journal.append([note_draft(1)])
    assert verify(tmp_path / "log.jsonl").events == 1


def test_closed_journal_refuses_an_append(tmp_path: Path) -> None:
    journal = Journal.create(tmp_path / "log.jsonl")
    journal.close()
    with pytest.raises(InternalError, match="closed"):
        journal.append([note_draft(1)])


# --- a torn last line --------------------------------------------------------------------------------


def test_power_loss_at_any_byte_loses_only_the_unfinished_line(tmp_path: Path) -> None:
    whole = write_log(tmp_path / "log.jsonl", 3)
    for length in range(len(whole)):
        cut = tmp_path / f"cut-{length}.jsonl"
        cut.write_bytes(whole[:length])
        kept = whole[: length + 1].count(b"\n")  # an event that lacks only its newline is whole
        tail = b"" if whole[length : length + 1] == b"\n" else whole[:length].rpartition(b"\n")[2]

        found = verify(cut)
        assert (found.events, found.damage, found.torn) == (kept, None, bool(tail)), length

        with Journal.open(cut) as journal:
            assert len(journal.lines) == kept
            assert not journal.read_only
            assert (journal.torn.read_bytes() if journal.torn else b"") == tail
            assert cut.read_bytes() == b"".join(whole.splitlines(keepends=True)[:kept])
            if length % 10 == 0:
                journal.append([note_draft(9)])
                assert verify(cut).events == kept + 1


def test_each_torn_line_is_moved_to_a_new_file(tmp_path: Path) -> None:
    write_log(tmp_path / "log.jsonl", 1)
    for number in (1, 2):
        with (tmp_path / "log.jsonl").open("ab") as file:
            file.write(b'{"at":')
        journal = Journal.open(tmp_path / "log.jsonl")
        assert journal.torn == tmp_path / f"log.jsonl.torn-{number}"
        journal.close()


def test_reader_does_not_cut_a_torn_line(tmp_path: Path) -> None:
    torn = write_log(tmp_path / "log.jsonl", 2)[:-5]
    (tmp_path / "log.jsonl").write_bytes(torn)
    journal = Journal.open(tmp_path / "log.jsonl", read_only=True)
    assert (len(journal.lines), journal.torn, journal.damage) == (1, None, None)
    assert verify(tmp_path / "log.jsonl").torn
    assert (tmp_path / "log.jsonl").read_bytes() == torn
    assert [file.name for file in tmp_path.iterdir()] == ["log.jsonl"]


def test_torn_line_that_cannot_be_moved_is_not_cut(tmp_path: Path) -> None:
    torn = write_log(tmp_path / "log.jsonl", 2)[:-5]
    (tmp_path / "log.jsonl").write_bytes(torn)
    disk = FailingDisk()
    disk.free_bytes = 3
    journal = Journal.open(tmp_path / "log.jsonl", disk=disk)
    assert "cannot be moved to a separate file" in journal.read_only
    assert (tmp_path / "log.jsonl").read_bytes() == torn


def test_torn_line_is_synced_before_it_is_cut(tmp_path: Path) -> None:
    (tmp_path / "log.jsonl").write_bytes(write_log(tmp_path / "other.jsonl", 2)[:-5])
    disk = FailingDisk()
    Journal.open(tmp_path / "log.jsonl", disk=disk).close()
    assert disk.calls == ["write", "sync", "sync_folder", "truncate", "sync"]


# --- other damage ------------------------------------------------------------------------------------


def test_damaged_log_is_opened_read_only_with_the_damaged_line(tmp_path: Path) -> None:
    lines = write_log(tmp_path / "log.jsonl", 4).splitlines(keepends=True)
    lines[2] = lines[2].replace(b"60 N", b"65 N")
    damaged = b"".join(lines) + b'{"torn'
    (tmp_path / "log.jsonl").write_bytes(damaged)

    journal = Journal.open(tmp_path / "log.jsonl")
    assert journal.damage is not None
    assert journal.damage.line == 3
    assert "changed since it was written" in journal.damage.what
    assert journal.read_only.startswith("line 3 ")
    assert len(journal.lines) == 2
    with pytest.raises(NotSaved, match="open for reading only"):
        journal.append([note_draft(1)])
    with pytest.raises(NotSaved):
        journal.move_to(tmp_path)
    assert (tmp_path / "log.jsonl").read_bytes() == damaged
    assert [file.name for file in tmp_path.iterdir()] == ["log.jsonl"]


def test_changed_last_line_is_damage_and_not_a_torn_line(tmp_path: Path) -> None:
    whole = write_log(tmp_path / "log.jsonl", 2)
    (tmp_path / "log.jsonl").write_bytes(whole[:-20] + b"x" + whole[-19:])
    found = verify(tmp_path / "log.jsonl")
    assert found.damage is not None
    assert (found.events, found.damage.line, found.torn) == (1, 2, False)


# --- one writer --------------------------------------------------------------------------------------


def test_second_program_opens_the_log_read_only(tmp_path: Path) -> None:
    with Journal.create(tmp_path / "log.jsonl") as first:
        first.append([note_draft(1)])
        second = Journal.open(tmp_path / "log.jsonl")
        when = r"since (\d{4}-\d\d-\d\d )?\d\d:\d\d"
        assert re.fullmatch(rf"this job is open in another window {when} \(\S+ on \S+\)", second.read_only)
        with pytest.raises(NotSaved, match="open in another window"):
            second.append([note_draft(2)])

        assert second.reread() == ()
        new = first.append([note_draft(2), note_draft(3)])
        assert second.reread() == new
        assert second.lines == first.lines
        assert second.reread() == ()
        second.close()
        assert Journal.open(tmp_path / "log.jsonl").read_only, "watching must not take the lock away"
    assert not list(tmp_path.glob("*.held"))


def test_log_can_be_written_after_its_writer_has_closed(tmp_path: Path) -> None:
    write_log(tmp_path / "log.jsonl", 1)
    with Journal.open(tmp_path / "log.jsonl") as journal:
        assert not journal.read_only


def test_sidecar_left_by_a_crash_does_not_lock_the_log(tmp_path: Path) -> None:
    write_log(tmp_path / "log.jsonl", 1)
    (tmp_path / "log.jsonl.held").write_text('{"pid":1,"user":"somebody","host":"bench"}')
    with Journal.open(tmp_path / "log.jsonl") as journal:
        assert not journal.read_only


def test_reader_sees_a_line_only_when_it_is_complete(tmp_path: Path) -> None:
    whole = write_log(tmp_path / "log.jsonl", 3)
    second = whole.index(b"\n") + 1
    (tmp_path / "log.jsonl").write_bytes(whole[: second + 40])
    watching = Journal.open(tmp_path / "log.jsonl", read_only=True)
    assert len(watching.lines) == 1
    assert watching.reread() == ()
    (tmp_path / "log.jsonl").write_bytes(whole)
    assert [line.seq for line in watching.reread()] == [2, 3]


def test_newline_that_follows_a_whole_last_event_adds_no_event(tmp_path: Path) -> None:
    """The reader opened the log while the writer had written all of an event but its newline."""
    whole = write_log(tmp_path / "log.jsonl", 2)
    second = whole.index(b"\n") + 1
    (tmp_path / "log.jsonl").write_bytes(whole[: second - 1])
    watching = Journal.open(tmp_path / "log.jsonl", read_only=True)
    assert [line.seq for line in watching.lines] == [1]
    (tmp_path / "log.jsonl").write_bytes(whole[:second])
    assert watching.reread() == ()
    (tmp_path / "log.jsonl").write_bytes(whole)
    assert [line.seq for line in watching.reread()] == [2]
    assert [line.seq for line in watching.lines] == [1, 2]
    assert watching.damage is None


def test_reader_gets_an_error_if_the_log_was_replaced(tmp_path: Path) -> None:
    whole = write_log(tmp_path / "log.jsonl", 3)
    watching = Journal.open(tmp_path / "log.jsonl", read_only=True)
    (tmp_path / "log.jsonl").write_bytes(whole[:-10])
    with pytest.raises(LogChanged):
        watching.reread()


# --- disks that fail ---------------------------------------------------------------------------------


@pytest.mark.parametrize("call", ["write", "sync"])
def test_failed_append_changes_nothing_and_can_be_repeated(tmp_path: Path, call: str) -> None:
    disk = FailingDisk()
    with Journal.create(tmp_path / "log.jsonl", disk) as journal:
        journal.append([note_draft(1)])
        before = (tmp_path / "log.jsonl").read_bytes()
        disk.failing = {call}
        with pytest.raises(NotSaved, match="Try again, or choose another folder"):
            journal.append([note_draft(2)])
        assert len(journal.lines) == 1
        assert (tmp_path / "log.jsonl").read_bytes() == before
        disk.failing = set()
        journal.append([note_draft(2)])
    found = verify(tmp_path / "log.jsonl")
    assert (found.events, found.damage, found.torn) == (2, None, False)


def test_full_disk_loses_no_confirmed_event(tmp_path: Path) -> None:
    disk = FailingDisk()
    with Journal.create(tmp_path / "log.jsonl", disk) as journal:
        journal.append([note_draft(1)])
        before = (tmp_path / "log.jsonl").read_bytes()
        disk.free_bytes = 50
        with pytest.raises(NotSaved, match="is full"):
            journal.append([note_draft(2)])
        assert (tmp_path / "log.jsonl").read_bytes() == before
        disk.free_bytes = 10_000
        journal.append([note_draft(2)])
    assert verify(tmp_path / "log.jsonl").events == 2


@pytest.mark.parametrize("room", [0, 50, 100_000])
def test_no_line_is_written_after_a_failed_write_that_could_not_be_cut(tmp_path: Path, room: int) -> None:
    disk = FailingDisk()
    with Journal.create(tmp_path / "log.jsonl", disk) as journal:
        journal.append([note_draft(1)])
        disk.free_bytes, disk.failing = room, {"sync", "truncate"}
        with pytest.raises(NotSaved):
            journal.append([note_draft(2)])
        with pytest.raises(NotSaved):
            journal.append([note_draft(3)])
        disk.free_bytes, disk.failing = None, set()
        journal.append([note_draft(4)])
        assert [line.data["text"][:6] for line in journal.lines] == ["note 1", "note 4"]
        assert Journal.open(tmp_path / "log.jsonl").read_only.startswith("this job is open in another window")
    found = verify(tmp_path / "log.jsonl")
    assert (found.events, found.damage, found.torn) == (2, None, False)


def test_removed_memory_stick_is_reported_and_works_again_later(tmp_path: Path) -> None:
    stick = tmp_path / "stick"
    stick.mkdir()
    with Journal.create(stick / "log.jsonl") as journal:
        journal.append([note_draft(1)])
        stick.rename(tmp_path / "pulled")
        for _ in range(2):
            with pytest.raises(NotSaved, match="no log at"):
                journal.append([note_draft(2)])
        (tmp_path / "pulled").rename(stick)
        journal.append([note_draft(2)])
    assert verify(stick / "log.jsonl").events == 2


def test_log_changed_by_another_program_is_not_overwritten(tmp_path: Path) -> None:
    with Journal.create(tmp_path / "log.jsonl") as journal:
        journal.append([note_draft(1)])
        changed = write_log(tmp_path / "other.jsonl", 3)
        (tmp_path / "log.jsonl").write_bytes(changed)
        with pytest.raises(NotSaved, match="Another program changed"):
            journal.append([note_draft(2)])
        assert (tmp_path / "log.jsonl").read_bytes() == changed


def test_log_continues_in_another_folder_with_all_events(tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    disk = FailingDisk()
    journal = Journal.create(tmp_path / "log.jsonl", disk)
    journal.append([note_draft(1), note_draft(2)])
    disk.failing, disk.error = {"write"}, errno.ENOSPC
    with pytest.raises(NotSaved):
        journal.append([note_draft(3)])
    disk.failing = set()

    moved = journal.move_to(tmp_path / "other")
    moved.append([note_draft(3)])
    assert moved.path == tmp_path / "other" / "log.jsonl"
    assert verify(moved.path).events == 3
    assert verify(tmp_path / "log.jsonl").events == 2
    with pytest.raises(NotSaved, match="continues in"):
        journal.append([note_draft(4)])
    moved.close()


def test_moved_log_takes_the_next_free_name(tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    write_log(tmp_path / "other" / "log.jsonl", 1)
    write_log(tmp_path / "log.jsonl", 2)
    with Journal.open(tmp_path / "log.jsonl").move_to(tmp_path / "other") as moved:
        assert moved.path.name == "log-2.jsonl"
        assert len(moved.lines) == 2


def test_failed_move_leaves_the_log_in_its_folder(tmp_path: Path) -> None:
    with Journal.create(tmp_path / "log.jsonl") as journal:
        with pytest.raises(LogUnusable, match="no folder"):
            journal.move_to(tmp_path / "gone")
        journal.append([note_draft(1)])
    assert verify(tmp_path / "log.jsonl").events == 1
