"""Files that are not benchflow's are never changed, whatever option names them."""

from pathlib import Path
from subprocess import CompletedProcess

import pytest

from benchflow.session.log.journal import Journal
from benchflow.session.log.log_check import verify
from tests.driving.command_server import run_as_text
from tests.driving.log_files import note_draft
from tests.hard_use.live_drive import PROCEDURE, environment

OPEN = '{"intent": "open", "by": "Robin", "unit": "job 1"}\n'

FOREIGN = {
    "a note without a newline": b"call the customer on Monday",
    "a note": b"call the customer on Monday\n",
    "blanks": b"  \t ",
    "an empty line": b"\n",
    "a byte-order mark": b"\xef\xbb\xbf",
    "zeros": b"\0" * 512,
    "one brace": b"{ ",
    "an object": b"{}",
    "other JSON": b'{"at":"2026-03-01T08:00:00.000Z","id":7}',
    "other JSON lines": b'{"at":"2026-03-01T08:00:00.000Z","id":7}\n{"at":"2026-03-01T08:00:00.000Z","id":8}',
    "an archive": b"PK\x03\x04\x14\0\0\0",
}


def drive(log: Path) -> "CompletedProcess[str]":
    procedure = log.parent / "procedure.yaml"
    procedure.write_text(PROCEDURE)
    call = ("drive", procedure, "--log", log)
    return run_as_text(log.parent, *call, env=environment(log.parent), typed=OPEN)


@pytest.mark.parametrize("content", FOREIGN.values(), ids=FOREIGN)
def test_file_that_is_not_a_log_is_not_changed_and_nothing_is_put_beside_it(tmp_path: Path, content: bytes) -> None:
    notes = tmp_path / "notes.txt"
    notes.write_bytes(content)
    Journal.open(notes).close()
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]
    assert notes.read_bytes() == content


def test_drive_refuses_a_file_that_is_not_a_log(tmp_path: Path) -> None:
    notes = tmp_path / "notes.txt"
    for content in (FOREIGN["a note"], FOREIGN["a note without a newline"]):
        notes.write_bytes(content)
        done = drive(notes)
        assert (done.returncode, done.stdout) == (2, "")
        assert "notes.txt is not a log of benchflow" in done.stderr
        assert "It was not changed" in done.stderr
        assert notes.read_bytes() == content
        assert sorted(path.name for path in tmp_path.iterdir() if path.is_file()) == ["notes.txt", "procedure.yaml"]


def test_log_whose_line_ends_were_lost_is_damaged_and_not_cut(tmp_path: Path) -> None:
    log = tmp_path / "log.jsonl"
    with Journal.create(log) as journal:
        journal.append([note_draft(1), note_draft(2), note_draft(3)])
    whole = log.read_bytes()
    for content in (whole.replace(b"\n", b"\r"), whole.replace(b"\n", b""), whole.replace(b"\n", b" ")):
        log.write_bytes(content)
        found = verify(log)
        assert (found.events, found.damage is not None, found.torn, found.untrusted) == (0, True, False, 3)
        Journal.open(log).close()
        assert log.read_bytes() == content


def test_changed_last_event_without_its_newline_is_damage_and_not_cut(tmp_path: Path) -> None:
    log = tmp_path / "log.jsonl"
    with Journal.create(log) as journal:
        journal.append([note_draft(1), note_draft(2)])
    changed = log.read_bytes()[:-1].replace(b"note 2", b"note 7")
    log.write_bytes(changed)
    found = verify(log)
    assert found.damage is not None
    assert (found.events, found.damage.line, found.torn) == (1, 2, False)
    assert "changed since it was written" in found.damage.what
    Journal.open(log).close()
    assert log.read_bytes() == changed


# --- side files ---------------------------------------------------------------------------------------


@pytest.fixture
def precious(tmp_path: Path) -> Path:
    path = tmp_path / "elsewhere" / "precious.txt"
    path.parent.mkdir()
    path.write_text("the only copy\n")
    return path


@pytest.mark.parametrize("end", [".held", ".moved", ".draft"])
@pytest.mark.parametrize("is_link", [True, False])
def test_side_file_does_not_overwrite_a_file_of_the_user(
    tmp_path: Path, precious: Path, end: str, is_link: bool
) -> None:
    from benchflow.tui.model.drafts import Drafts

    log = tmp_path / "log.jsonl"
    beside = Path(f"{log}{end}")
    if is_link:
        beside.symlink_to(precious)
    else:
        beside.write_text("the only copy\n")
    other = tmp_path / "stick"
    other.mkdir()
    with Journal.create(log) as journal:
        journal.append([note_draft(1)])
        drafts = Drafts(log)
        drafts.set_text("gap", "0.1")
        drafts.save()
        drafts.set_text("gap", "")
        drafts.save()
        journal.move_to(other).close()
    assert precious.read_text() == "the only copy\n"
    assert beside.is_symlink() == is_link
    assert beside.read_text() == "the only copy\n"


def test_torn_line_is_not_moved_to_a_link(tmp_path: Path, precious: Path) -> None:
    log = tmp_path / "log.jsonl"
    with Journal.create(log) as journal:
        journal.append([note_draft(1)])
    with log.open("ab") as file:
        file.write(b'{"at":')
    Path(f"{log}.torn-1").symlink_to(precious)
    Path(f"{log}.torn-2").symlink_to(tmp_path / "elsewhere" / "not-there.txt")
    with Journal.open(log) as journal:
        assert journal.torn == Path(f"{log}.torn-3")
        assert journal.torn.read_bytes() == b'{"at":'
    assert [path.name for path in precious.parent.iterdir()] == ["precious.txt"]
    assert precious.read_text() == "the only copy\n"


def test_session_is_not_moved_to_a_link_that_leads_nowhere(tmp_path: Path, precious: Path) -> None:
    other = tmp_path / "stick"
    other.mkdir()
    (other / "log.jsonl").symlink_to(precious.parent / "not-there.txt")
    with Journal.create(tmp_path / "log.jsonl") as journal:
        journal.append([note_draft(1)])
        with journal.move_to(other) as moved:
            assert moved.path == other / "log-2.jsonl"
    assert [path.name for path in precious.parent.iterdir()] == ["precious.txt"]


def test_leftover_holder_of_a_killed_program_is_replaced(tmp_path: Path) -> None:
    log = tmp_path / "log.jsonl"
    Journal.create(log).close()
    held = Path(f"{log}.held")
    for leftover in (b"", b'{"pid":1,"user":"robin","host":"bench"}', b'{"pid":1,"us'):
        held.write_bytes(leftover)
        with Journal.open(log):
            assert held.read_bytes().startswith(b'{"pid":')
            assert held.read_bytes() != leftover
        assert not held.exists()
