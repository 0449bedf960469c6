"""The folders of the machine, the name of a new log, and the summaries in the list of logs."""

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


def begin_session(path: Path, *events: tuple[str, dict[str, Any]], **opened: Any) -> Journal:
    data = {
        "procedure": PROCEDURE, "procedure_sha256": "00", "file": "hub.yaml", "unit": "job 7",
        "options": {"side": "left"}, "start": {}, "version": "0", "format": 3, **opened,
    }  # fmt: skip
    journal = Journal.create(path)
    journal.append([Draft(AT, "R.", kind, inner) for kind, inner in [("opened", data), *events]])
    return journal


def only_summary(folder: Path) -> catalog.SessionSummary:
    """The summary of the only log in ``folder``."""
    (session,) = catalog.list_sessions(folder)
    return session


# --- folders -----------------------------------------------------------------------------------------


def test_benchflow_home_sets_all_folders_without_making_them(tmp_path: Path) -> None:
    home = tmp_path / "home"
    folders = machine_folders.machine_folders({"BENCHFLOW_HOME": str(home)})
    for path in (folders.data, folders.config, folders.cache, folders.sessions, folders.shop):
        assert home in path.parents
    assert catalog.list_sessions(folders.sessions) == []
    assert not home.exists()


def test_default_folders_are_the_folders_of_the_platform(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("BENCHFLOW_HOME", raising=False)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.delenv("XDG_DATA_HOME", raising=False)
    folders = machine_folders.machine_folders()
    assert folders.data.name == "benchflow"
    assert list(tmp_path.iterdir()) == []


def test_folder_is_made_with_its_parents_unless_a_file_has_its_name(tmp_path: Path) -> None:
    assert machine_folders.make_folder(tmp_path / "a" / "b").is_dir()
    assert machine_folders.make_folder(tmp_path / "a" / "b").is_dir()
    (tmp_path / "file").touch()
    for bad in (tmp_path / "file", tmp_path / "file" / "below"):
        with pytest.raises(BenchflowError, match="cannot be made"):
            machine_folders.make_folder(bad)


def test_shipped_procedures_are_found_in_a_checkout() -> None:
    found = machine_folders.shipped_procedures()
    assert "head-install.yaml" in [path.name for path in found]
    assert found == sorted(found)


# --- names -------------------------------------------------------------------------------------------


def test_log_file_name_has_date_procedure_and_unit(tmp_path: Path) -> None:
    path = catalog.new_log_path(tmp_path, "head-install", "Job 2417 / left", date(2026, 3, 1))
    assert path == tmp_path / "2026-03-01_head-install_Job-2417-left.jsonl"
    write_log(path, 1)
    again = catalog.new_log_path(tmp_path, "head-install", "Job 2417 / left", date(2026, 3, 1))
    assert again.name == "2026-03-01_head-install_Job-2417-left-2.jsonl"


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=300), st.text(max_size=300))
def test_no_unit_name_can_put_a_log_outside_its_folder(procedure: str, unit: str) -> None:
    folder = Path("/nowhere")
    path = catalog.new_log_path(folder, procedure, unit, date(2026, 3, 1))
    assert path.parent == folder
    assert len(path.name.encode()) < 200
    assert not set(path.name) & set('/\\:*?"<>|\0\n\x1b')
    assert path.name.startswith("2026-03-01_")


# --- sessions ----------------------------------------------------------------------------------------


def test_summary_has_unit_builder_and_progress(tmp_path: Path) -> None:
    done = [("finished", {"operation": name}) for name in ("a", "b", "c", "d")]
    begin_session(
        tmp_path / "a.jsonl",
        *done,
        ("undone", {"operation": "b"}),
        ("remedied", {"operation": "e", "name": "gap", "verdict": "low", "do": "Fit c again", "redo": ["c", "z"]}),
        ("finished", {"operation": "a"}),
        simulated=True,
    ).close()
    session = only_summary(tmp_path)
    assert (session.procedure, session.unit, session.by) == ("Wheel hub: left", "job 7", "R.")
    assert (session.status, session.done, session.events) == ("open", 2, 8)
    assert (session.opened_at, session.last_at, session.options) == (AT, AT, {"side": "left"})
    assert session.simulated


def test_log_open_in_another_program_is_listed_as_held(tmp_path: Path) -> None:
    with begin_session(tmp_path / "a.jsonl"):
        assert only_summary(tmp_path).status == "held"
        assert "process" in only_summary(tmp_path).note
    assert only_summary(tmp_path).status == "open"


def test_closed_job_stays_closed_after_a_note(tmp_path: Path) -> None:
    begin_session(tmp_path / "a.jsonl", ("closed", {}), ("noted", {"text": "late"})).close()
    assert only_summary(tmp_path).status == "closed"


def test_moved_log_is_not_listed_as_open(tmp_path: Path) -> None:
    (tmp_path / "old").mkdir()
    (tmp_path / "new").mkdir()
    moved = begin_session(tmp_path / "old" / "a.jsonl").move_to(tmp_path / "new")
    moved.close()
    assert only_summary(tmp_path / "old").status == "moved"
    assert str(moved.path) in only_summary(tmp_path / "old").note
    assert only_summary(tmp_path / "new").status == "open"


@pytest.mark.parametrize(
    ("change", "status", "note"),
    [
        (lambda data: b"", "empty", "no event yet"),
        (lambda data: data[:50], "empty", "no event yet"),
        (lambda data: data.replace(b"job 7", b"job 8"), "damaged", "line 1 has been changed"),
        (lambda data: data + b"rubbish\n", "damaged", "line 3 is not complete JSON"),
        (lambda data: data + b'{"torn', "open", ""),
    ],
)
def test_damaged_log_is_listed_with_its_damage(tmp_path: Path, change: Any, status: str, note: str) -> None:
    begin_session(tmp_path / "a.jsonl", ("noted", {"text": "x"})).close()
    (tmp_path / "a.jsonl").write_bytes(change((tmp_path / "a.jsonl").read_bytes()))
    session = only_summary(tmp_path)
    assert session.status == status
    assert note in session.note


def finished(*operations: str) -> list[tuple[str, dict[str, Any]]]:
    return [("finished", {"operation": name}) for name in operations]


def test_summary_of_a_damaged_log_counts_only_what_is_before_the_damage(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    begin_session(path, *finished("a", "b", "c", "d")).close()
    lines = path.read_bytes().splitlines(keepends=True)
    changed = lines[3].replace(b'"c"', b'"x"')
    for bad in ([changed], [], [b" " + lines[3]]):
        content = [*lines[:3], *bad, lines[4]]
        path.write_bytes(b"".join(content))
        session = only_summary(tmp_path)
        assert (session.status, session.done, session.events, session.unit) == ("damaged", 2, 3, "job 7")
        assert session.note.startswith("line 4 ")
        assert session.note.endswith("1 line from there on can be read, but not trusted")


def test_log_that_can_only_be_viewed_is_listed_with_the_reason(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    begin_session(path, *finished("a")).close()
    whole = path.read_bytes()
    path.write_bytes(whole.replace(b"\n", b"\r\n"))
    converted = only_summary(tmp_path)
    assert (converted.status, converted.done, "CR LF" in converted.note) == ("open", 1, True)
    path.unlink()
    begin_session(path, *finished("a"), ("polished", {})).close()
    newer = only_summary(tmp_path)
    assert (newer.status, newer.done, "can be viewed, not continued" in newer.note) == ("open", 1, True)


def test_incomplete_last_group_does_not_count(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    group = {"intent": 2, "of": 2}
    begin_session(path, ("finished", {"operation": "a", **group}), ("finished", {"operation": "b", **group})).close()
    assert only_summary(tmp_path).done == 2
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:2]))
    assert (only_summary(tmp_path).done, only_summary(tmp_path).status) == (0, "open")


def test_log_without_an_opened_event_is_listed_as_damaged(tmp_path: Path) -> None:
    write_log(tmp_path / "a.jsonl", 2)
    assert only_summary(tmp_path).status == "damaged"


@pytest.mark.parametrize(
    ("line", "title"),
    [
        ("title: Head on", "Head on"), ("title: 'Head: on'", "Head: on"), ('title: "Head"', "Head"),
        ("title: Head # old", "Head"), ("title: No. 1's head", "No. 1's head"), ("title: |", "hub.yaml"),
        ("  title: inner", "hub.yaml"),
    ],
)  # fmt: skip
def test_job_is_listed_with_the_title_of_its_procedure(tmp_path: Path, line: str, title: str) -> None:
    begin_session(tmp_path / "a.jsonl", procedure=f"benchflow: 1\n{line}\nid: hub\n").close()
    assert only_summary(tmp_path).procedure == title


def test_last_used_log_is_first_and_other_files_are_ignored(tmp_path: Path) -> None:
    for name, at in (("a", "2026-03-01T10:00:00.000Z"), ("b", "2026-03-02T10:00:00.000Z")):
        journal = begin_session(tmp_path / f"{name}.jsonl")
        journal.append([Draft(at, "R.", "noted", {"text": "x"})])
        journal.close()
    (tmp_path / "a.jsonl.torn-1").write_text("x")
    (tmp_path / "readme.txt").write_text("x")
    assert [session.path.stem for session in catalog.list_sessions(tmp_path)] == ["b", "a"]
