"""A folder of logs with foreign, unreadable and oddly named files: each is named and skipped, and no command ends."""

import json
import os
from itertools import cycle
from pathlib import Path
from typing import Any

import pytest

from benchflow.base.plaintext import shown_path
from benchflow.session.catalog import list_sessions
from benchflow.session.log.log_folder import SkippedFile, folder_content, read_or_skip
from tests.driving.command_server import ROOT, run_command
from tests.driving.hostile_folder import CONTENTS, NOT_LOGS, put_hostile_files, run_by_modes
from tests.driving.small_head import SMALL_HEAD, start_session
from tests.tui.terminal import Terminal

GOOD_NAMES = ("good.jsonl", r"not-utf-8-\xff\xfe.jsonl", r"two\nlines.jsonl", r"escape-\x1b[31m.jsonl", "n" * 249)


def _run(folder: Path, *arguments: object, typed: bytes = b"") -> tuple[int, str, str]:
    environ = {**os.environ, "BENCHFLOW_HOME": str(folder / "home"), "PYTHONPATH": str(ROOT)}
    code, output, errors = run_command(folder, *arguments, env=environ, typed=typed)
    return code, output.decode(), errors.decode()


def _drive_simulated(folder: Path, log: str, *intents: dict[str, Any]) -> None:
    typed = b"".join(json.dumps(each).encode() + b"\n" for each in intents)
    code, output, errors = _run(folder, "drive", "small.yaml", "--log", log, "--simulated", typed=typed)
    assert (code, errors) == (0, "")
    assert all(json.loads(line)["ok"] for line in output.splitlines()), output


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the hostile folder ``logs`` in it."""
    folder = tmp_path_factory.mktemp("place")
    driver = start_session(folder)
    driver.lower_head()
    driver.controller.close()
    (folder / "logs").mkdir()
    put_hostile_files(folder / "logs", (folder / "build.jsonl").read_bytes())
    return folder


def test_list_of_jobs_names_each_file_that_it_skips(place: Path) -> None:
    code, output, errors = run_by_modes(place, "sessions", "--folder", "logs")
    assert (code, errors) == (0, "")
    skipped = [line for line in output.splitlines() if line.startswith("skipped")]
    for stem in (*NOT_LOGS, "closed-to-all"):
        assert any(f"{stem}.jsonl" in line for line in skipped), (stem, output)
    for name in (*GOOD_NAMES, *(f"{stem}.jsonl" for stem in CONTENTS)):
        assert name in output
    assert "\x1b" not in output


def test_list_of_jobs_as_json_has_one_object_for_each_file(place: Path) -> None:
    code, output, errors = run_by_modes(place, "sessions", "--json", "--folder", "logs")
    assert (code, errors) == (0, "")
    by_name = {Path(each["path"]).name: each for each in map(json.loads, output.splitlines())}
    assert len(by_name) == 5 + 3 + len(CONTENTS) + len(NOT_LOGS)
    assert {by_name[f"{stem}.jsonl"]["status"] for stem in NOT_LOGS} == {"skipped"}
    assert by_name["good.jsonl"]["status"] == "open"
    assert by_name["good-then-deep.jsonl"]["status"] == "damaged"
    assert by_name["fifo.jsonl"]["words"] == "is a pipe, not a file"


@pytest.mark.parametrize(
    ("call", "exit_code"),
    [
        (["trace", "--person", "Robin", "--logs", "logs"], 0),
        (["trend", "lower", "--times", "--logs", "logs"], 0),
        (["archive", "logs"], 1),
        (["archive", "logs", "--copy-logs"], 1),
        (["export", "logs", "--as", "csv"], 1),
        (["export", "logs", "--as", "markdown"], 1),
    ],
)
def test_command_over_a_folder_names_each_file_that_it_skips(place: Path, call: list[str], exit_code: int) -> None:
    code, output, errors = run_by_modes(place, *call)
    assert code == exit_code, errors
    assert "Traceback" not in errors
    assert "internal error" not in output + errors
    for name in (*(f"{stem}.jsonl" for stem in (*NOT_LOGS, *CONTENTS, "closed-to-all")), "closed-folder"):
        assert f"{name} " in output + errors, (name, output, errors)


@pytest.mark.parametrize(
    ("stem", "command"),
    list(
        zip(
            [*NOT_LOGS, *CONTENTS, "closed-to-all", "good-then-deep", "n" * 300],
            cycle([["review"], ["log"], ["verify"], ["sheet", "--json"], ["export", "--as", "csv"]]),
            strict=False,
        )
    ),
)
def test_command_for_one_log_gives_a_message(place: Path, command: list[str], stem: str) -> None:
    code, output, errors = run_by_modes(place, *command, f"logs/{stem}.jsonl", seconds=20)
    assert code in (1, 2), (code, output)
    assert "Traceback" not in errors
    assert output + errors


@pytest.mark.parametrize("stem", [*NOT_LOGS, *CONTENTS, "n" * 300])
def test_procedure_that_is_not_a_file_gives_a_message(place: Path, stem: str) -> None:
    code, output, errors = run_by_modes(place, "check", f"logs/{stem}.jsonl", seconds=20)
    assert code in (1, 2), (code, output)
    assert "Traceback" not in errors
    assert output + errors


def test_time_at_the_ends_of_the_calendar_is_shown(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", "America/Lima")
    for year in ("0001", "9999"):
        typed = {"intent": "open", "by": "R", "unit": year, "options": {"cams": "standard"}}
        (tmp_path / "small.yaml").write_text(SMALL_HEAD, encoding="utf-8")
        start = {**typed, "start": {"pistons": "down"}, "at": f"{year}-01-01T00:00:00Z"}
        end = {"intent": "note", "text": "x", "at": f"{year}-12-31T23:59:59.999Z"}
        _drive_simulated(tmp_path, f"{year}.jsonl", start, end)
        for call in (["sessions", "--folder", "."], ["log", f"{year}.jsonl"], ["sheet", f"{year}.jsonl", "--json"],
                     ["review", f"{year}.jsonl", "--json"], ["export", "--as", "ical", f"{year}.jsonl"]):  # fmt: skip
            code, output, errors = _run(tmp_path, *call)
            assert code == 0, (call, errors)
            assert year in output or "ical" in call, call


def test_error_in_one_file_of_a_list_skips_that_file(tmp_path: Path) -> None:
    def fail(path: Path) -> None:
        raise ZeroDivisionError("planted")

    skipped = read_or_skip(tmp_path / "x.jsonl", fail)
    assert isinstance(skipped, SkippedFile)
    assert skipped.why == "cannot be read: internal error (ZeroDivisionError: planted)"


def test_link_to_the_folder_itself_does_not_lead_in_a_circle(tmp_path: Path) -> None:
    (tmp_path / "back").symlink_to(".")
    (tmp_path / "a.jsonl").touch()
    assert folder_content(tmp_path, subfolders=True).logs == (tmp_path / "a.jsonl",)


def test_folder_that_does_not_exist_has_no_jobs(tmp_path: Path) -> None:
    assert list_sessions(tmp_path / "gone") == []


def test_path_is_shown_on_one_line() -> None:
    assert shown_path(os.fsdecode(b"a\xff\nb\x1b[31m\xc3\xa9")) == r"a\xff\nb\x1b[31m" + "é"


def test_bench_starts_beside_files_that_are_not_logs(place: Path) -> None:
    arguments = ["-c", "from benchflow.cli import main; main()", "run", "--log-folder", str(place / "logs")]
    with Terminal(arguments, env={"BENCHFLOW_HOME": str(place / "home")}) as terminal:
        terminal.wait_for("Continue a job", "skipped", "circular.jsonl, dangling.jsonl")
        terminal.type("\r")
        terminal.wait_for("Small head", "6 log lines")
