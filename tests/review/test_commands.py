"""The commands for finished logs, each run in a process of its own."""

import json
import os
from pathlib import Path
from shutil import copyfile
from subprocess import CompletedProcess

import pytest

from tests.driving.command_server import run_as_text
from tests.driving.simulated_builder import CLEAN, Faults
from tests.driving.teardown_script import OPEN, TeardownScript
from tests.review.played_builds import FLOAT_NAME, SHOP, played

FAULTS = Faults(self_signed="mark-nuts", overdue="tighten-head")


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folders of a machine with a shop file and two sessions, one of them with planted faults."""
    folder = tmp_path_factory.mktemp("home")
    sessions = folder / "data" / "sessions"
    sessions.mkdir(parents=True)
    (folder / "config").mkdir()
    (folder / "config" / "shop.yaml").write_text(SHOP, encoding="utf-8")
    copyfile(played(3, FAULTS, with_tools=True), sessions / "job-3.jsonl")
    copyfile(played(5, CLEAN, with_tools=True), sessions / "job-5.jsonl")
    return folder


def run(home: Path, *arguments: str, code: int = 0) -> "CompletedProcess[str]":
    environment = {**os.environ, "BENCHFLOW_HOME": str(home), "PYTHONIOENCODING": "utf-8"}
    done = run_as_text(home, *arguments, env=environment)
    assert done.returncode == code, done.stdout + done.stderr
    return done


def test_review_names_the_suspect_first_and_prints_its_rule(home: Path) -> None:
    found = json.loads(run(home, "review", "job-3", "head-gasket-leak", "--json").stdout)
    assert [guard["operation"] for guard in found["guards"] if guard["suspect"]] == ["tighten-head", "mark-nuts"]
    assert found["guards"][0]["reasons"][0]["title"] == "instrument overdue"
    assert any("never done" in line for line in found["rule"])
    text = run(home, "review", "job-3", "--rule").stdout
    assert "INSTRUMENT OVERDUE: TW-B: Its calibration ran out on 2026-01-10" in text
    assert "A step is as weak as its worst point" in text


def test_unknown_complaint_is_refused_with_the_known_ones(home: Path) -> None:
    refused = run(home, "review", "job-3", "it sings", code=2).stderr
    assert "head-gasket-leak" in refused
    assert "--search 'it sings'" in refused
    assert "No step of this build" in run(home, "review", "job-3", "--search", "zeppelin").stdout


def test_sheet_is_written_as_html_markdown_and_json(home: Path) -> None:
    path = run(home, "sheet", "job-3").stdout.strip()
    assert (home / path).read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert run(home, "sheet", "job-3", "--markdown").stdout.startswith("# Build sheet")
    assert json.loads(run(home, "sheet", "job-3", "--json").stdout)["unit"] == "job 3"
    assert run(home, "sheet", "job-3", "-o", "-").stdout.startswith("<!DOCTYPE html>")


def test_copies_of_the_customer_and_the_shop_are_different_files(home: Path) -> None:
    customers, shops = (home / run(home, "sheet", "job-3", "--copy", c).stdout.strip() for c in ("customer", "shop"))
    assert (customers.name, shops.name) == ("job-3.html", "job-3.shop.html")
    assert "INSTRUMENT" not in customers.read_text(encoding="utf-8").upper()
    assert "instrument overdue" in shops.read_text(encoding="utf-8")
    assert "An invented bench" in customers.read_text(encoding="utf-8"), "the letterhead"
    assert json.loads(run(home, "sheet", "job-3", "--json", "--copy", "customer").stdout)["readings"]


def test_wrench_is_traced_to_its_engine(home: Path) -> None:
    found = json.loads(run(home, "trace", "--instrument", "TW-B", "--json").stdout)
    assert [one["unit"] for one in found["touched"]] == ["job 3"]
    by_files = json.loads(run(home, "trace", "--instrument", "TW-B", "--json", "--logs", "data/sessions").stdout)
    assert [one["reasons"] for one in by_files["touched"]] == [one["reasons"] for one in found["touched"]]
    text = run(home, "trace", "--instrument", "TW-B", "--reads-high", "6").stdout
    assert "10 fasteners of head-nuts (tighten-head), tightened to about 94 % of the set torque" in text


@pytest.mark.parametrize(
    ("arguments", "advice"),
    [
        ((), "Give exactly one of"),
        (("--lot", "x", "--person", "y"), "Give exactly one of"),
        (("--instrument", "x", "--reads-high", "lots"), "needs a percentage"),
        (("--instrument", "x", "--reads-high", "900"), "from -50 to 50"),
        (("--instrument", "x", "--from", "2027-01-01", "--to", "2026-01-01"), "--from 2027-01-01 is after --to 2026"),
        (("--reading", FLOAT_NAME, "--above", "5 N·m"), "5 N·m is a torque. The reading is a length, in mm."),
        (("--instrument", "x", "--from", "yesterday"), "neither a date"),
        (("--lot", "x", "--below", "3 mm"), "need --reading"),
        (("--reading", "x", "--below", "3 furlongs"), "furlongs"),
    ],
)
def test_malformed_question_is_refused_with_advice(home: Path, arguments: tuple[str, ...], advice: str) -> None:
    assert advice in run(home, "trace", *arguments, code=2).stderr


def test_trend_of_a_reading_is_printed_and_drawn(home: Path, tmp_path: Path) -> None:
    text = run(home, "trend", FLOAT_NAME, "--svg", str(tmp_path / "chart.svg")).stdout
    assert f"{FLOAT_NAME}, 2 builds" in text
    assert (tmp_path / "chart.svg").read_text(encoding="utf-8").startswith("<svg")
    assert "tighten-head" in run(home, "trend", "--times", "tighten-head").stdout
    reversed_span = ("--from", "2027-01-01", "--to", "2026-01-01")
    assert "ends before it begins" in run(home, "trend", FLOAT_NAME, *reversed_span, code=2).stderr


def test_two_builds_are_compared(home: Path) -> None:
    found = json.loads(run(home, "compare", "job-5", "job-3", "--json").stdout)
    assert {"signature", "instrument"} <= {difference["kind"] for difference in found["differences"]}
    assert "reading" in run(home, "compare", "job-5", "job-3").stdout
    same = run(home, "compare", "job-5", "job-5").stdout
    assert "NOTE  Both logs are copies of one job.\n" in same
    assert "\nNothing differs.\n" in same


def test_rebuilt_archive_lists_the_logs_that_were_left_out(home: Path, tmp_path: Path) -> None:
    index = str(tmp_path / "index.sqlite")
    sessions = home / "data" / "sessions"
    first = json.loads(run(home, "archive", "--to", index, "--json").stdout)
    assert (first["new"], first["left_out"]) == (2, [])
    assert json.loads(run(home, "archive", "--to", index, "--json").stdout)["unchanged"] == 2
    (sessions / "torn.jsonl").write_text('{"seq":1}\n', encoding="utf-8")
    try:
        printed = run(home, "archive", "--to", index, "--rebuild", code=1).stdout
        assert "2 new" in printed
        assert "torn.jsonl does not verify: line 1" in printed
    finally:
        (sessions / "torn.jsonl").unlink()


def test_log_is_fetched_from_the_archive_byte_for_byte(home: Path, tmp_path: Path) -> None:
    index, out = str(tmp_path / "index.sqlite"), tmp_path / "fetched.jsonl"
    run(home, "archive", "--to", index)
    assert "has no copy of that log" in run(home, "archive", "--to", index, "--fetch", "job 3", code=2).stderr
    run(home, "archive", "--to", index, "--copy-logs")
    run(home, "archive", "--to", index, "--fetch", "job 3", "-o", str(out))
    job = (home / "data" / "sessions" / "job-3.jsonl").read_bytes()
    assert out.read_bytes() == job
    teardown = TeardownScript(tmp_path, simulated=True)
    teardown.send({**OPEN, "unit": "job 3"})
    run(home, "archive", "--to", index, "--copy-logs", str(teardown.path))
    other = run(home, "archive", "--to", index, "--fetch", "job 3", "-o", str(tmp_path / "again")).stderr
    assert (tmp_path / "again").read_bytes() == job
    digits = other.partition("first digits: ")[2].split()[0]
    run(home, "archive", "--to", index, "--fetch", digits, "-o", str(tmp_path / "other"))
    assert (tmp_path / "other").read_bytes() == teardown.path.read_bytes()


def test_sessions_are_exported_in_every_form(home: Path, tmp_path: Path) -> None:
    for form, begins in (
        ("csv", "session,unit"), ("jsonl", '{"session":'), ("xes", "<?xml"), ("ical", "BEGIN:VCALENDAR"),
        ("markdown", "# Build sheet"),
    ):  # fmt: skip
        out = tmp_path / form
        run(home, "export", "job-3", "job-5", "--as", form, "-o", str(out))
        assert out.read_text(encoding="utf-8").startswith(begins)


def test_damaged_log_gives_a_warning_and_exit_code_1(home: Path, tmp_path: Path) -> None:
    damaged = tmp_path / "damaged.jsonl"
    damaged.write_bytes(played(3).read_bytes().replace(b'"fastener":3', b'"fastener":4', 1))
    assert "The log is damaged" in run(home, "review", str(damaged), code=1).stdout
    run(home, "sheet", str(damaged), "-o", str(tmp_path / "sheet.html"), code=1)
    assert "is damaged" in run(home, "export", str(damaged), "--as", "csv", code=1).stderr
    assert "is not the log of a session" in run(home, "sheet", __file__, code=2).stderr


def test_watched_log_is_filed_when_it_grows(tmp_path: Path) -> None:
    from benchflow.review.archive.database import open_database
    from benchflow.review.archive.index import ArchiveIndex
    from benchflow.review.archive.watch import watch
    from tests.driving.log_builder import LogBuilder

    folder = tmp_path / "logs"
    folder.mkdir()
    log_builder = LogBuilder().start("bolt")
    path = log_builder.save(folder)
    database = open_database(str(tmp_path / "index.sqlite"))
    waits: list[float] = []

    def sleep(seconds: float) -> None:
        waits.append(seconds)
        if len(waits) == 3:
            path.write_bytes(log_builder.finish("bolt").raw)
        if len(waits) == 5:
            raise KeyboardInterrupt

    following = watch(database, folder, "bench-1", sleep=sleep, clock=lambda: 0.0)
    assert [next(following).new, next(following).grown] == [1, 1]
    assert len(waits) == 3
    with pytest.raises(KeyboardInterrupt):
        next(following)
    assert waits == [2.0] * 5
    assert ArchiveIndex(database).sessions()[0].session.events == 3
    database.close()


def test_pipe_named_as_a_log_is_refused_without_waiting(home: Path, tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.jsonl"
    os.mkfifo(pipe)
    for command in (["sheet"], ["trace", "--lot", "x", "--logs"]):
        environment = {**os.environ, "BENCHFLOW_HOME": str(home)}
        done = run_as_text(tmp_path, *command, pipe, env=environment)
        assert done.returncode == 2
        assert "is not a regular file" in done.stderr
