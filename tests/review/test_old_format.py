"""A log of version 0.1 has format 1: it can be reviewed and exported, and both name its format."""

import csv
import io
import json
import os
import subprocess
import sys
from pathlib import Path
from xml.etree.ElementTree import fromstring

import pytest

from benchflow.review.answer_text import filing_lines
from benchflow.review.archive.database import open_database
from benchflow.review.archive.filing import file_logs
from benchflow.review.interchange.event_rows import as_csv, as_json_lines
from benchflow.review.interchange.xes import as_xes
from benchflow.review.log.loaded_log import LoadedLog, load_log
from benchflow.session.procedure_loading import procedure_reader_with_cache
from tests.driving.log_builder import LogBuilder

OLD_LOG = Path(__file__).parents[1] / "session" / "data" / "0.1.jsonl"
XES = "{http://www.xes-standard.org/}"


@pytest.fixture(scope="module")
def old() -> LoadedLog:
    return load_log(OLD_LOG, procedure_reader_with_cache(None))


def test_review_warns_about_events_of_an_old_log_that_it_cannot_read(old: LoadedLog) -> None:
    assert (
        "The log has the old format 1: benchflow 0.1.0 wrote it. This version cannot read 7 events of it, such as "
        "starts, pauses and rework. Working times are missing, and reworked operations are shown as done."
    ) in old.warnings
    assert not any("that this version cannot read." in warning for warning in old.warnings)


def test_csv_of_an_old_log_has_present_verdicts_and_the_old_format(old: LoadedLog) -> None:
    rows = list(csv.DictReader(io.StringIO("".join(as_csv([old])), newline="")))
    assert [row["verdict"] for row in rows if row["kind"] == "recorded"] == ["high", "ok"]
    assert {row["format"] for row in rows} == {"1"}
    assert rows[1]["kind"] == "taken-up"


def test_xes_of_an_old_log_has_present_verdicts_and_the_old_format(old: LoadedLog) -> None:
    document = fromstring(as_xes([old]))
    attributes = [(node.get("key"), node.get("value")) for node in document.iter()]
    assert [value for key, value in attributes if key == "verdict"] == ["high", "ok"]
    trace = document.find(f"{XES}trace")
    assert trace is not None
    assert ("format", "1") in [(node.get("key"), node.get("value")) for node in trace.findall(f"{XES}int")]


def test_json_lines_repeat_the_data_of_an_old_log_and_name_its_format(old: LoadedLog) -> None:
    events = [json.loads(line) for line in as_json_lines([old])]
    assert {event["format"] for event in events} == {1}
    assert [event["data"]["verdict"] for event in events if event["kind"] == "recorded"] == ["out", "in"]


def test_export_warns_about_a_log_in_the_old_format(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "benchflow", "export", str(OLD_LOG), "--as", "csv"],
        capture_output=True, text=True, encoding="utf-8", check=True,
        env={**os.environ, "BENCHFLOW_HOME": str(tmp_path)},
    )  # fmt: skip
    assert "0.1.jsonl has the old format 1. Its kinds of events are exported as they were written." in done.stderr


def test_export_of_a_new_log_has_format_3(tmp_path: Path) -> None:
    path = LogBuilder().start("x").read("x", "0.15").save(tmp_path)
    log = load_log(path, procedure_reader_with_cache(None), any_procedure=True)
    rows = list(csv.DictReader(io.StringIO("".join(as_csv([log])), newline="")))
    assert {row["format"] for row in rows} == {"3"}
    assert rows[-1]["verdict"] == "ok"


def test_archive_reports_an_old_log_as_partly_read(tmp_path: Path) -> None:
    database = open_database(str(tmp_path / "index.sqlite"))
    report = file_logs(database, [OLD_LOG], "bench-1")
    database.close()
    assert list(filing_lines(report))[-1] == (
        f"partly read: {OLD_LOG} is from another version of benchflow. Events unknown to this version are left out."
    )
