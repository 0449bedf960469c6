"""A damaged log: what is before the damage is used, what is after it is shown as not trusted."""

import json
from pathlib import Path
from subprocess import CompletedProcess

import pytest
from click.testing import CliRunner

from benchflow.base.errors import BenchflowError
from benchflow.cli import benchflow
from tests.driving.command_server import run_as_text
from tests.driving.script import Script, intent, open_intent
from tests.hard_use.live_drive import PROCEDURE, environment


@pytest.fixture
def log(tmp_path: Path) -> Path:
    script = Script(tmp_path, PROCEDURE)
    readings = [intent("record", name="gap", value=f"0.1{number} mm") for number in (1, 2, 3)]
    script.do_all(open_intent(), intent("start", operation="gap"), *readings, intent("finish"))
    script.do_all(intent("note", text="one"), intent("start", operation="pull"))
    return script.path


def run(log: Path, *arguments: str) -> "CompletedProcess[str]":
    return run_as_text(log.parent, *arguments, env=environment(log.parent))


def damage(log: Path, number: int) -> None:
    """Change one byte of line ``number``."""
    lines = log.read_bytes().splitlines(keepends=True)
    lines[number - 1] = lines[number - 1].replace(b"Robin", b"Rabin")
    log.write_bytes(b"".join(lines))


def test_damaged_line_is_named_and_the_lines_after_it_are_counted(log: Path) -> None:
    damage(log, 6)
    done = run(log, "verify", "--json", str(log))
    found = json.loads(done.stdout)
    assert (done.returncode, found["ok"], found["events"], found["damage"]["line"]) == (1, False, 5, 6)
    assert found["untrusted"] == 3
    assert not Path(f"{log}.held").exists()


def test_log_command_lists_the_lines_after_the_damage_as_not_trusted(log: Path) -> None:
    damage(log, 3)
    done = run(log, "log", str(log))
    assert done.returncode == 1
    trusted, _, rest = done.stdout.partition("THE LOG IS DAMAGED: line 3")
    assert "0.11" not in trusted
    assert "NOT TRUSTED: 6 lines" in rest
    assert "0.12 mm" in rest


def test_sheet_says_at_least_and_the_rest_is_not_known(log: Path) -> None:
    damage(log, 8)
    done = run(log, "sheet", "--markdown", str(log))
    assert done.returncode == 1
    assert "at least 1 of 2 done, the rest is not known" in done.stdout
    assert "NOT TRUSTED" in done.stdout
    assert "The job is still open" not in done.stdout


def test_status_of_a_damaged_log_is_the_least_that_was_done(log: Path) -> None:
    damage(log, 8)
    answer = Script(log.parent, PROCEDURE).send(intent("status"))[0]
    assert answer["status"]["done"] == ["gap"]
    assert (answer["damage"]["line"], answer["damage"]["untrusted"]) == (8, 1)
    assert answer["damage"]["words"] == "at least 1 of 2 done, the rest is not known"


def test_sheet_of_a_damaged_log_calls_nothing_undone_and_shows_no_changed_line(log: Path) -> None:
    damage(log, 8)
    sheet = run(log, "sheet", "--markdown", str(log)).stdout
    assert "Rabin" not in sheet
    assert "Rabin" not in run(log, "log", str(log)).stdout
    assert "not done" not in sheet.lower()
    assert "Pull: not known" in sheet
    assert "| Closed | not known |" in sheet


def test_review_of_a_damaged_log_calls_no_step_undone(log: Path) -> None:
    damage(log, 8)
    printed = run(log, "review", str(log)).stdout
    assert "NOT KNOWN: the log is damaged from line 8 on" in printed
    assert "NEVER DONE" not in printed
    assert "at least this was done; the rest is not known" in printed


def in_process(code: int, *arguments: str) -> str:
    """The output of a command with this exit code."""
    done = CliRunner().invoke(benchflow, arguments, standalone_mode=False)
    assert (done.exception, done.return_value) == (None, code), done.output
    return done.output


def test_audit_hours_and_comparison_of_a_damaged_log_say_what_is_not_known(log: Path) -> None:
    whole = log.with_name("whole.jsonl")
    whole.write_bytes(log.read_bytes())
    damage(log, 6)
    audit = in_process(1, "audit", str(log))
    assert ": DAMAGED: line 6 has been changed" in audit
    assert "Nothing from there on was audited." in audit
    assert audit.endswith("  In the 5 events before it: nothing wrong, 5 intents decided again.\n")
    for path in (log, whole):
        hours = in_process(1 if path == log else 0, "hours", str(path)).splitlines()
        assert hours[1].startswith("Started ")
        assert hours[1].endswith(". The log has no end of the job.")
    assert "The log is damaged: line 6" in in_process(1, "compare", str(whole), str(log), "--text")
    in_process(0, "compare", str(whole), str(whole), "--text")


@pytest.mark.parametrize("content", [b"", b'{"at":"2026-'])
def test_log_without_an_event_is_not_called_whole(tmp_path: Path, content: bytes) -> None:
    empty = tmp_path / "empty.jsonl"
    empty.write_bytes(content)
    verified = in_process(1, "verify", str(empty))
    assert "empty.jsonl: EMPTY: the log has no event." in verified
    assert "whole" not in verified
    found = json.loads(in_process(1, "verify", "--json", str(empty)))
    assert (found["ok"], found["empty"], found["events"]) == (False, True, 0)
    assert "is empty: it has no event" in in_process(1, "log", str(empty))


def test_procedure_and_unit_of_a_damaged_first_line_are_shown_as_not_trusted(log: Path) -> None:
    damage(log, 1)
    sheet = run(log, "sheet", "--markdown", str(log)).stdout
    assert "An invented joint for hard use (not trusted), job 7 (not trusted)" in sheet
    listed = " ".join(run(log, "log", str(log)).stdout.split())
    assert "! As it reads now, not as it was written: line 1" in listed
    rows = [json.loads(row) for row in run(log, "log", "--json", str(log)).stdout.splitlines()]
    assert (rows[0]["changed"], rows[0]["by"], rows[1]["untrusted"]) == (1, "Rabin", 2)


def test_log_of_which_only_the_damaged_first_line_is_left_is_still_a_log(log: Path) -> None:
    damage(log, 1)
    log.write_bytes(log.read_bytes().splitlines(keepends=True)[0])
    assert run(log, "sheet", "--markdown", str(log)).returncode == 1
    with pytest.raises(BenchflowError, match="--continue-from"):
        Script(log.parent, PROCEDURE).send(intent("note", text="two"))


def test_damaged_first_line_does_not_hide_the_lines_after_it(log: Path) -> None:
    damage(log, 1)
    for arguments in (("log",), ("sheet", "--markdown")):
        done = run(log, *arguments, str(log))
        assert done.returncode == 1
        assert "0.12 mm" in done.stdout
        assert "NOT TRUSTED" in done.stdout
    listed = json.loads(run(log, "sessions", "--folder", str(log.parent), "--json").stdout.splitlines()[0])
    assert (listed["status"], "8 lines after it" in listed["words"]) == ("damaged", True)
    with pytest.raises(BenchflowError, match="run --continue-from"):
        Script(log.parent, PROCEDURE).send(intent("note", text="two"))


def test_converted_line_ends_are_reported_and_the_file_is_not_written(log: Path) -> None:
    log.write_bytes(log.read_bytes().replace(b"\n", b"\r\n"))
    before = log.read_bytes()
    done = run(log, "verify", "--json", str(log))
    found = json.loads(done.stdout)
    assert (done.returncode, found["ok"], found["converted"], found["damage"]) == (1, False, True, None)
    script = Script(log.parent, PROCEDURE)
    assert script.refused("note", text="two") == ["not-saved"]
    assert log.read_bytes() == before
    assert "0.12 mm" in run(log, "log", str(log)).stdout


def test_lost_final_newline_loses_no_event(log: Path) -> None:
    whole = log.read_bytes()
    log.write_bytes(whole[:-1])
    assert json.loads(run(log, "verify", "--json", str(log)).stdout)["events"] == 9
    assert "no event is lost" in run(log, "verify", str(log)).stdout
    Script(log.parent, PROCEDURE).do("note", text="two")
    assert log.read_bytes().startswith(whole)
    assert not list(log.parent.glob("*.torn*"))


def test_events_of_one_intent_are_kept_or_put_aside_together(tmp_path: Path) -> None:
    twice = "work-out: {twice: {is: gap * 2, unit: mm}}"
    text = PROCEDURE.replace("readings: 3, ", "").replace("undo: {do: Again}", twice)
    script = Script(tmp_path, text)
    script.do_all(open_intent(), intent("start", operation="gap"))
    before = script.path.read_bytes()
    script.do_all(intent("record", name="gap", value="0.11 mm"))
    lines = script.path.read_bytes().splitlines(keepends=True)
    assert [json.loads(line)["kind"] for line in lines[2:]] == ["resumed", "recorded", "calculated"]
    script.path.write_bytes(b"".join(lines[:-1]))
    assert script.query("status")["in_progress"] == "gap"
    assert script.path.read_bytes() == before + lines[2]
    (torn,) = tmp_path.glob("*.torn-1")
    assert torn.read_bytes() == lines[3]


def test_job_can_be_started_after_power_was_lost_in_the_first_line(tmp_path: Path) -> None:
    script = Script(tmp_path, PROCEDURE)
    script.do_all(open_intent())
    cut = script.path.read_bytes()[:-40]
    script.path.write_bytes(cut)
    script.do_all(open_intent())
    assert [line["kind"] for line in script.log()] == ["opened"]
    (torn,) = tmp_path.glob("*.torn-1")
    assert torn.read_bytes() == cut
