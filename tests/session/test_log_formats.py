"""Logs of other versions: logs of earlier releases, from ``data/``, and logs with unknown events."""

import json
import shutil
from pathlib import Path

import pytest

from benchflow.base.errors import BenchflowError
from benchflow.session.catalog import summarize_log
from benchflow.session.controller import SessionController
from benchflow.session.log.journal import Draft, Journal
from benchflow.session.log.line_format import Line
from benchflow.session.state.events import ReadingRecorded, event_of
from tests.driving.command_server import run_as_text
from tests.driving.log_files import AT, events_in
from tests.driving.session_driver import read_procedure
from tests.driving.small_head import start_session

DATA = Path(__file__).parent / "data"


@pytest.fixture
def old_log(tmp_path: Path) -> Path:
    """A log of 0.1: two operations finished, one of them undone by the old event `reopened`."""
    return Path(shutil.copy(DATA / "0.1.jsonl", tmp_path / "old.jsonl"))


def test_new_log_names_its_format(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    opened = events_in(driver.controller.journal.path)[0]["data"]
    assert (opened["format"], opened["version"]) == (3, "0.2.0")


def test_log_of_an_earlier_format_is_refused_and_unchanged(old_log: Path) -> None:
    before = old_log.read_bytes() + b'{"torn'
    old_log.write_bytes(before)
    with pytest.raises(BenchflowError, match=r"written by benchflow 0\.1\.0\. It can be viewed, not continued"):
        SessionController.resume(old_log, read=read_procedure)
    assert old_log.read_bytes() == before
    assert list(old_log.parent.iterdir()) == [old_log]


def test_log_with_an_unknown_event_is_not_continued(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.controller.close()
    path = driver.controller.journal.path
    with Journal.open(path) as journal:
        journal.append([Draft(AT, "Robin", "of-a-later-version", {})])
    with pytest.raises(BenchflowError, match=r"line 2 .*of-a-later-version.* can be viewed, not continued"):
        SessionController.resume(path, read=read_procedure)


def test_list_of_logs_marks_an_old_log_as_view_only(old_log: Path) -> None:
    found = summarize_log(old_log)
    assert (found.status, found.events) == ("open", 18)
    assert "0.1.0" in found.note
    assert "viewed, not continued" in found.note


def test_verdicts_of_0_1_are_converted(old_log: Path) -> None:
    with Journal.open(old_log, read_only=True) as journal:
        typed = [event_of(line) for line in journal.lines]
    assert [event.verdict for event in typed if isinstance(event, ReadingRecorded)] == ["high", "ok"]


@pytest.mark.parametrize(
    "command",
    [("log",), ("log", "--json"), ("verify",), ("sheet", "--json"), ("sheet", "--markdown"), ("review", "--text"),
     ("export", "--as", "xes"), ("export", "--as", "csv")],
    ids=" ".join,
)  # fmt: skip
def test_log_of_0_1_can_be_viewed(old_log: Path, command: tuple[str, ...]) -> None:
    environ = {"BENCHFLOW_HOME": str(old_log.parent / "home")}
    done = run_as_text(old_log.parent, command[0], old_log, *command[1:], env=environ)
    assert done.returncode in (0, 1), done.stderr
    assert done.stdout
    assert "Traceback" not in done.stderr
    if command == ("log", "--json"):
        assert len([json.loads(line) for line in done.stdout.splitlines()]) == 18


@pytest.mark.parametrize(
    ("old", "verdict"),
    [({"verdict": "in"}, "ok"), ({"verdict": "out", "side": "low"}, "low"),
     ({"verdict": "out", "side": "high"}, "high"),
     ({"verdict": "not-proven", "side": "high"}, "not-proven"), ({"verdict": "none"}, "none")],
)  # fmt: skip
def test_each_verdict_of_0_1_is_converted(old: dict[str, str], verdict: str) -> None:
    quantity = {"value": "0.1", "unit": "mm", "entered": "0.1 mm"}
    data = {"operation": "measure", "name": "gap", "reading": "1", "quantity": quantity, **old}
    event = event_of(Line(2, AT, "Robin", "recorded", data, "", ""))
    assert isinstance(event, ReadingRecorded)
    assert event.verdict == verdict
