"""Where things are, what a new log is called, and what can be said of a log at a glance."""

from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.base.errors import BenchflowError
from benchflow.session import catalog, machine_folders
from benchflow.session.log.journal import Draft, Journal
from tests.driving.log_files import AT, write_log

PROCEDURE = "benchflow: 1\nid: hub\ntitle: 'Wheel hub: left'  # as printed\n"


def begin(path: Path, *events: tuple[str, dict[str, Any]], **opened: Any) -> Journal:
    data = {
        "procedure": PROCEDURE, "procedure_sha256": "00", "file": "hub.yaml", "unit": "job 7",
        "options": {"side": "left"}, "start": {}, "version": "0", "format": 2, **opened,
    }  # fmt: skip
    journal = Journal.create(path)
    journal.append([Draft(AT, "R.", kind, inner) for kind, inner in [("opened", data), *events]])
    return journal


def only(folder: Path) -> catalog.SessionSummary:
    (session,) = catalog.list_sessions(folder)
    return session


# --- places ------------------------------------------------------------------------------------------


def test_one_variable_moves_everything_and_asking_makes_nothing(tmp_path: Path) -> None:
    home = tmp_path / "home"
    places = machine_folders.machine_folders({"BENCHFLOW_HOME": str(home)})
    for path in (places.data, places.config, places.cache, places.sessions, places.shop):
        assert home in path.parents
    assert catalog.list_sessions(places.sessions) == []
    assert not home.exists()


def test_without_the_variable_the_platform_says_where(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("BENCHFLOW_HOME", raising=False)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.delenv("XDG_DATA_HOME", raising=False)
    places = machine_folders.machine_folders()
    assert places.data.name == "benchflow"
    assert list(tmp_path.iterdir()) == []


def test_a_folder_is_made_with_all_above_it_and_a_file_in_its_place_is_said(tmp_path: Path) -> None:
    assert machine_folders.make_folder(tmp_path / "a" / "b").is_dir()
    assert machine_folders.make_folder(tmp_path / "a" / "b").is_dir()
    (tmp_path / "file").touch()
    for bad in (tmp_path / "file", tmp_path / "file" / "below"):
        with pytest.raises(BenchflowError, match="cannot be made"):
            machine_folders.make_folder(bad)


def test_the_shipped_procedures_are_found_in_a_checkout() -> None:
    found = machine_folders.shipped_procedures()
    assert "head-install.yaml" in [path.name for path in found]
    assert found == sorted(found)


# --- names -------------------------------------------------------------------------------------------


def test_a_log_is_named_so_that_a_person_finds_it_again(tmp_path: Path) -> None:
    path = catalog.new_log_path(tmp_path, "head-install", "Job 2417 / left", date(2026, 3, 1))
    assert path == tmp_path / "2026-03-01_head-install_Job-2417-left.jsonl"
    write_log(path, 1)
    again = catalog.new_log_path(tmp_path, "head-install", "Job 2417 / left", date(2026, 3, 1))
    assert again.name == "2026-03-01_head-install_Job-2417-left-2.jsonl"


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=300), st.text(max_size=300))
def test_no_unit_can_steer_a_log_out_of_its_folder(procedure: str, unit: str) -> None:
    folder = Path("/nowhere")
    path = catalog.new_log_path(folder, procedure, unit, date(2026, 3, 1))
    assert path.parent == folder
    assert len(path.name.encode()) < 200
    assert not set(path.name) & set('/\\:*?"<>|\0\n\x1b')
    assert path.name.startswith("2026-03-01_")


# --- sessions ----------------------------------------------------------------------------------------


def test_a_session_says_what_is_built_by_whom_and_how_far(tmp_path: Path) -> None:
    done = [("finished", {"operation": name}) for name in ("a", "b", "c", "d")]
    begin(
        tmp_path / "a.jsonl",
        *done,
        ("undone", {"operation": "b"}),
        ("remedied", {"operation": "e", "name": "gap", "verdict": "low", "do": "Fit c again", "redo": ["c", "z"]}),
        ("finished", {"operation": "a"}),
        simulated=True,
    ).close()
    session = only(tmp_path)
    assert (session.procedure, session.unit, session.by) == ("Wheel hub: left", "job 7", "R.")
    assert (session.status, session.done, session.events) == ("open", 2, 8)
    assert (session.opened_at, session.last_at, session.options) == (AT, AT, {"side": "left"})
    assert session.simulated


def test_a_session_that_another_program_writes_says_so(tmp_path: Path) -> None:
    with begin(tmp_path / "a.jsonl"):
        assert only(tmp_path).status == "held"
        assert "process" in only(tmp_path).note
    assert only(tmp_path).status == "open"


def test_a_closed_session_stays_closed_though_a_note_follows(tmp_path: Path) -> None:
    begin(tmp_path / "a.jsonl", ("closed", {}), ("noted", {"text": "late"})).close()
    assert only(tmp_path).status == "closed"


def test_a_session_that_goes_on_elsewhere_is_not_offered_as_open(tmp_path: Path) -> None:
    (tmp_path / "old").mkdir()
    (tmp_path / "new").mkdir()
    moved = begin(tmp_path / "old" / "a.jsonl").move_to(tmp_path / "new")
    moved.close()
    assert only(tmp_path / "old").status == "moved"
    assert str(moved.path) in only(tmp_path / "old").note
    assert only(tmp_path / "new").status == "open"


@pytest.mark.parametrize(
    ("change", "status", "words"),
    [
        (lambda data: b"", "empty", "no event yet"),
        (lambda data: data[:50], "empty", "no event yet"),
        (lambda data: data.replace(b"job 7", b"job 8"), "damaged", "line 1 has been changed"),
        (lambda data: data + b"rubbish\n", "damaged", "line 3 is not an event"),
        (lambda data: data + b'{"torn', "open", ""),
    ],
)
def test_a_log_that_is_not_whole_is_listed_with_what_is_wrong(
    tmp_path: Path, change: Any, status: str, words: str
) -> None:
    begin(tmp_path / "a.jsonl", ("noted", {"text": "x"})).close()
    (tmp_path / "a.jsonl").write_bytes(change((tmp_path / "a.jsonl").read_bytes()))
    session = only(tmp_path)
    assert session.status == status
    assert words in session.note


def test_a_log_that_begins_with_anything_else_than_its_opening_is_said_to_be_damaged(tmp_path: Path) -> None:
    write_log(tmp_path / "a.jsonl", 2)
    assert only(tmp_path).status == "damaged"


@pytest.mark.parametrize(
    ("line", "title"),
    [
        ("title: Head on", "Head on"), ("title: 'Head: on'", "Head: on"), ('title: "Head"', "Head"),
        ("title: Head # old", "Head"), ("title: No. 1's head", "No. 1's head"), ("title: |", "hub.yaml"),
        ("  title: inner", "hub.yaml"),
    ],
)  # fmt: skip
def test_a_session_is_listed_under_its_procedures_title(tmp_path: Path, line: str, title: str) -> None:
    begin(tmp_path / "a.jsonl", procedure=f"benchflow: 1\n{line}\nid: hub\n").close()
    assert only(tmp_path).procedure == title


def test_the_session_worked_on_last_comes_first_and_other_files_are_left_out(tmp_path: Path) -> None:
    for name, at in (("a", "2026-03-01T10:00:00.000Z"), ("b", "2026-03-02T10:00:00.000Z")):
        journal = begin(tmp_path / f"{name}.jsonl")
        journal.append([Draft(at, "R.", "noted", {"text": "x"})])
        journal.close()
    (tmp_path / "a.jsonl.torn-1").write_text("x")
    (tmp_path / "readme.txt").write_text("x")
    assert [session.path.stem for session in catalog.list_sessions(tmp_path)] == ["b", "a"]
