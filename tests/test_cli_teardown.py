"""The commands about the log of a teardown: log, verify, sessions, export; and how commands about jobs refuse it."""

import csv
import json
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from benchflow.base.errors import BenchflowError
from benchflow.cli import benchflow
from benchflow.commands.file_lookup import find_log
from benchflow.session.teardown.teardown_controller import TeardownController
from benchflow.session.teardown.teardown_intents import TEARDOWN_INTENT_TYPES
from benchflow.writing.drafts.teardown_draft import draft_from_teardown
from tests.driving.log_files import events_in
from tests.driving.made_pictures import jpeg_at
from tests.driving.small_head import start_session
from tests.driving.teardown_script import TeardownScript


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BENCHFLOW_HOME", str(tmp_path / "home"))


@pytest.fixture
def script(tmp_path: Path) -> TeardownScript:
    folder = tmp_path / "home" / "data" / "sessions"
    folder.mkdir(parents=True)
    return (
        TeardownScript(folder)
        .begin()
        .off("rocker cover, 8x M6x1 30 mm, bag 3", "rod caps 1..2, tray A, replace: =pitted")
    )


def run(*arguments: str | Path, typed: str = "") -> Result:
    return CliRunner().invoke(benchflow, [str(each) for each in arguments], input=typed, standalone_mode=False)


def test_log_shows_the_lines_and_every_entry(script: TeardownScript) -> None:
    script.do("put-back", line="1", reason="to turn the crank")
    script.do("undo")
    script.do("edit", line="2", container="tray B", reason="moved")
    shown = run("log", script.path).output
    assert "Teardown of five-speed gearbox, unit GB-12" in shown
    assert "lash: skipped, Not on this unit" in shown
    assert "rocker cover. fasteners: 8 × M6x1, 30 mm; kept in: bag 3" in shown
    assert "Line 1 put back: to turn the crank (Robin)" in shown
    put_back = next(each for each in events_in(script.path) if each["kind"] == "put-back")
    assert f"Undone: event {put_back['seq']} (put-back, line 1)" in shown
    assert "Before: rod caps, 1..2, tray A, replace: =pitted" in " ".join(shown.split())
    as_json = [json.loads(line)["seq"] for line in run("log", "--json", script.path).output.splitlines()]
    assert as_json == list(range(1, len(as_json) + 1))


def test_damaged_log_is_shown_up_to_the_damage(script: TeardownScript) -> None:
    lines = script.path.read_bytes().split(b"\n")
    lines[3] = lines[3].replace(b"rocker", b"locker")
    script.path.write_bytes(b"\n".join(lines))
    shown = run("log", script.path)
    assert shown.return_value == 1
    assert "THE LOG IS DAMAGED: line 4" in shown.output
    assert "NOT TRUSTED, line 5: Line 2 off: 2 × rod caps" in shown.output
    assert run("verify", script.path).return_value == 1


def test_sessions_says_what_continues_a_damaged_teardown(script: TeardownScript) -> None:
    script.path.write_bytes(script.path.read_bytes().replace(b"rod caps", b"rod cups"))
    assert "benchflow teardown --continue-from" in run("sessions").output
    new = script.path.with_name("new.jsonl")
    TeardownController.continue_from(script.path, new).close()
    shown = run("sessions").output
    assert "It is continued in" in shown
    assert "--continue-from" not in shown
    hours = run("hours", script.path.parent)
    assert "is left out: it is damaged, and" in hours.output
    assert hours.output.count("worked") + hours.output.count("Worked") == 1  # the entries are in both logs


def test_sessions_lists_a_teardown_apart_from_jobs(script: TeardownScript) -> None:
    script.do("put-back", line="1")
    assert "GB-12  teardown of five-speed gearbox" in run("sessions").output
    assert "1 line off" in run("sessions").output
    (row,) = [json.loads(line) for line in run("sessions", "--json").output.splitlines()]
    assert (row["is_teardown"], row["done"], row["status"]) == (True, 1, "open")


def test_export_has_one_row_for_each_line(script: TeardownScript) -> None:
    rows = list(csv.DictReader(StringIO(run("export", "--as", "csv", script.path).output)))
    assert [(row["line"], row["thing"], row["kept_in"]) for row in rows] == [
        ("1", "rocker cover", "bag 3"), ("2", "rod caps", "tray A"),
    ]  # fmt: skip
    assert rows[1]["fate"] == "1: replace: =pitted; 2: replace: =pitted"
    assert "| 1 | rocker cover | 8 × M6x1, 30 mm | bag 3 |" in run("export", "--as", "markdown", script.path).output
    assert json.loads(run("export", "--as", "jsonl", script.path).output)["unit"] == "GB-12"
    refused = run("export", "--as", "xes", script.path).exception
    assert isinstance(refused, BenchflowError)
    assert "csv, jsonl or markdown" in str(refused)


@pytest.mark.parametrize(
    "command",
    [("sheet",), ("review",), ("audit",), ("check",), ("order",), ("expand",), ("compare",),
     ("found", "--complaint", "x"),
     ("drive", "wheel-hub", "--log"), ("run",)],
    ids=lambda each: each[0],
)  # fmt: skip
def test_commands_about_jobs_refuse_it_in_plain_words(
    script: TeardownScript, command: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    before = script.path.read_bytes()
    if command == ("run",):
        from benchflow.session.machine_folders import machine_folders
        from benchflow.tui.launch import first_page
        from benchflow.tui.model.job_catalog import JobCatalog

        with pytest.raises(BenchflowError, match="benchflow teardown"):
            first_page(JobCatalog(machine_folders(), None), script.path, None, None)
    else:
        result = run(*command, script.path, *((script.path,) if command == ("compare",) else ()))
        assert "the log of a teardown" in f"{result.exception}{result.output}"
    assert script.path.read_bytes() == before


def test_commands_about_many_logs_take_teardowns(script: TeardownScript) -> None:
    start_session(script.path.parent).controller.close()
    assert "2 logs checked: 2 new" in run("archive", script.path.parent).output
    assert "rocker cover" in run("trace", "--part", "bag 3").output
    assert "Hours of GB-12: teardown of" in run("hours", script.path).output
    assert "GB-12  five-speed gearbox, 2 lines off: worked" in run("hours", script.path.parent).output
    assert json.loads(run("hours", "--json", script.path).output)["teardowns"][0]["lines"] == 2


def test_lists_have_what_to_order_to_machine_and_to_ask(script: TeardownScript) -> None:
    script.off(
        "bearing housing, machine: worn oval, bore 62.05 mm",
        "front bearing, ask the customer: new or old",
        "rear gasket",
        "drive flange, 1x nut M20x1.5 + 1x split pin, odd bolt at the rear",
        "cam followers 1..4, bag 8",
    )
    script.do("fate", line="7", place="2", fate="replace", reason="pitted")
    script.do("fate", line="7", place="4", fate="replace", reason="pitted")
    script.do("fate", line="7", place="3", fate="use-again")
    text = run("teardown", script.path, "--lists").output
    assert "line 2    2 × rod caps: 1, 2 (=pitted); in tray A" in text
    assert "line 7    2 × cam followers: 2, 4 (pitted); in bag 8" in text
    assert "line 3    bearing housing (worn oval); measured: bore 62.05 mm" in text
    assert "line 4    front bearing (new or old)" in text
    assert "line 5    rear gasket" in text
    assert "split pin (of drive flange)" in text
    assert "line 6    drive flange; found: odd bolt at the rear" in text
    assert "4 of 7 lines have a part without a fate: 1, 5, 6, 7" in text
    lists = json.loads(run("teardown", script.path, "--lists", "--json").output)
    assert [each["part"] for each in lists["ask"]] == ["front bearing"]
    assert "ASK THE CUSTOMER\n  line 4    front bearing (new or old)" in run("log", script.path).output
    assert "## Ask the customer" in run("export", "--as", "markdown", script.path).output
    script.do("fate", line="4", fate="replace")
    assert "ASK THE CUSTOMER\n  nothing" in run("teardown", script.path, "--lists").output


def test_lists_need_a_log(script: TeardownScript) -> None:
    assert "Name the log" in str(run("teardown", "--lists").exception)


def test_folders_of_jobs_leave_teardowns_out(script: TeardownScript) -> None:
    driver = start_session(script.path.parent)
    driver.controller.close()
    exported = run("export", "--as", "csv", script.path.parent)
    assert exported.return_value == 0
    assert "1 teardown is left out" in exported.output + exported.stderr
    listed = [json.loads(line)["is_teardown"] for line in run("sessions", "--json").output.splitlines()]
    assert sorted(listed) == [False, True]


def test_pictures_of_a_teardown_are_verified(script: TeardownScript, tmp_path: Path) -> None:
    script.do("attach", file=str(jpeg_at(tmp_path / "cover.jpg")), line="1", text="from above")
    assert run("verify", script.path).return_value == 0
    (kept,) = script.path.parent.glob("*.pictures/*")
    kept.write_bytes(b"changed")
    assert run("verify", script.path).return_value == 1


def test_export_copies_the_pictures_of_a_teardown(script: TeardownScript, tmp_path: Path) -> None:
    cover = jpeg_at(tmp_path / "cover.jpg", 1)
    script.do("attach", file=str(cover), line="1", text="from above")
    script.do("attach", file=str(jpeg_at(tmp_path / "whole.jpg", 2)))
    done = run("export", script.path, "--as", "csv", "-o", tmp_path / "lines.csv", "--pictures", tmp_path / "out")
    assert done.return_value == 0
    rows = list(csv.DictReader(StringIO((tmp_path / "out" / script.path.stem / "pictures.csv").read_text())))
    assert [(row["operation"], row["shows"], row["text"]) for row in rows] == [
        ("1", "rocker cover", "from above"),
        ("", "five-speed gearbox", ""),
    ]
    assert (tmp_path / "out" / script.path.stem / rows[0]["file"]).read_bytes() == cover.read_bytes()
    for kept in script.path.parent.glob("*.pictures/*"):
        kept.unlink()
    done = run("export", script.path, "--as", "csv", "-o", tmp_path / "lines.csv", "--pictures", tmp_path / "again")
    assert done.return_value == 1
    assert "(cover.jpg) was not copied. The stored file is missing." in done.output


def test_draft_names_the_pictures_of_a_line(script: TeardownScript, tmp_path: Path) -> None:
    script.do("attach", file=str(jpeg_at(tmp_path / "cover.jpg")), line="1", text="the hose goes over it")
    draft = draft_from_teardown(script.record, "teardown.jsonl").text()
    assert "Picture of the teardown: cover.jpg (the hose goes over it)." in draft
    assert "benchflow export TEARDOWN --as csv --pictures FOLDER" in draft


def test_picture_is_attached_by_the_command(script: TeardownScript, tmp_path: Path) -> None:
    picture = jpeg_at(tmp_path / "cover.jpg")
    shown = run("attach", "teardown", picture, "--line", "1", "--text", "from above").output
    assert "Picture of line 1: cover.jpg, from above" in shown
    assert run("attach", script.path, tmp_path / "none.jpg").return_value == 1
    assert json.loads(run("attach", script.path, picture, "--json").output)["attached"] is True
    assert [each.text for each in script.record.lines[0].pictures] == ["from above"]
    assert len(script.record.pictures) == 1
    assert "--line" in str(run("attach", script.path, picture, "--operation", "1").exception)


@pytest.mark.parametrize("option", [("--lot", "L1"), ("--operation", "x"), ("--figure", "x")])
def test_teardown_that_is_named_and_not_searched_is_said(script: TeardownScript, option: tuple[str, str]) -> None:
    assert "is a teardown. It has no" in run("trace", *option, "--logs", script.path).stderr


def test_wrong_picture_is_refused_and_nothing_is_logged(script: TeardownScript, tmp_path: Path) -> None:
    wrong = tmp_path / "words.jpg"
    wrong.write_text("no picture")
    before = script.record
    assert script.refused("attach", file=str(wrong)) == ["not-allowed"]
    assert script.refused("attach", file=str(tmp_path / "none.jpg")) == ["not-allowed"]
    assert script.refused("attach", file=str(jpeg_at(tmp_path / "a.jpg")), line="99") == ["unknown-name"]
    assert script.record == before
    assert not list(script.path.parent.glob("*.pictures"))


def test_drive_lists_the_intents_of_a_teardown() -> None:
    listed = run("drive", "--teardown", "--intents").output
    assert listed == run("drive", "--intents", "--teardown").output
    examples: list[dict[str, Any]] = [json.loads(line) for line in listed.splitlines() if line.strip().startswith("{")]
    assert {each["intent"] for each in examples} == set(TEARDOWN_INTENT_TYPES)
    assert "take-over" in run("drive", "--intents").output


def test_every_example_is_accepted_or_refused_by_its_content(tmp_path: Path) -> None:
    script = TeardownScript(tmp_path)
    from benchflow.session.teardown.teardown_intents import TEARDOWN_EXAMPLES

    for name, fields in TEARDOWN_EXAMPLES.items():
        (reply,) = script.send({"intent": name, **fields})
        assert reply["ok"] or {each["code"] for each in reply["refused"]} <= {
            "unknown-name", "value-missing", "not-allowed",
        }, reply  # fmt: skip


def test_drive_does_not_take_a_procedure_with_a_teardown(tmp_path: Path) -> None:
    refused = run("drive", "wheel-hub", "--teardown", "--log", tmp_path / "t.jsonl").exception
    assert isinstance(refused, BenchflowError)
    assert not (tmp_path / "t.jsonl").exists()


def test_simulated_teardown_is_not_driven_as_a_real_one(tmp_path: Path) -> None:
    script = TeardownScript(tmp_path, simulated=True).begin()
    refused = run("drive", "--teardown", "--log", script.path).exception
    assert isinstance(refused, BenchflowError)
    assert "with --simulated" in str(refused)


def test_name_of_a_unit_finds_its_job_or_its_teardown(script: TeardownScript) -> None:
    folder = script.path.parent
    one, other = folder / "2026_teardown-gearbox_GB-12.jsonl", folder / "2026_build_GB-12.jsonl"
    script.path.rename(one)
    driver = start_session(folder)
    driver.controller.close()
    driver.controller.journal.path.rename(other)
    assert (find_log("GB-12"), find_log("GB-12", kind="teardown")) == (other, one)
    shown = run("verify", "GB-12")
    assert other.name in shown.stdout
    assert one.name not in shown.stdout
    assert f"'GB-12' names a teardown too: {one}" in shown.stderr
