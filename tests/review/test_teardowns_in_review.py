"""Teardown logs in archive, trace, trend, hours and the commands for jobs. All names and figures are invented."""

import json
from pathlib import Path

import pytest

from benchflow.review.archive.database import open_database
from benchflow.review.archive.filing import file_logs
from benchflow.review.archive.index import ArchiveIndex
from benchflow.review.archive.log_witness import compare_with
from benchflow.review.hours.teardown_hours import teardown_hours
from benchflow.review.many.log_scan import LogFiles
from benchflow.review.many.session_question import (
    InstrumentSubject,
    PersonSubject,
    Question,
    ReadingSubject,
    SessionSource,
    Subject,
)
from benchflow.review.many.teardown_search import trace_teardowns, with_words
from benchflow.review.many.trace_search import TraceQuestion, trace
from benchflow.review.many.trace_text import trace_lines
from benchflow.review.many.trends import trend_over_builds
from benchflow.session.log.line_format import read
from tests.driving.script import intent
from tests.driving.teardown_script import OPEN, TeardownScript


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The log of an invented gearbox."""
    script = TeardownScript(tmp_path_factory.mktemp("teardown"), simulated=True)
    script.send(
        OPEN,
        intent("measure", name="end float", value="0.12 mm", place="input shaft", instrument="G-17"),
        intent("skip", reason="Not on this unit"),
    )
    script.off(
        "rear housing, 9x M8x1.25 45 mm, tray 2, odd bolt at the rear",
        "output flange, 1x nut M20x1.5, bag 13, marked AX-7 at the rear, replace: pitted",
        "thrust washers left + right, bag 3",
    )
    script.do("measure", name="bore", value="62.05 mm", line="1", by="Kim")
    script.do("off", text="wrong part, bag 99")
    script.do("undo")
    return script.path


def sources(log: Path, folder: Path) -> list[SessionSource]:
    """The log as a file, and in an archive."""
    database = open_database(str(folder / "archive.sqlite"))
    file_logs(database, [log], "bench", copy_logs=True, audited=True)
    return [LogFiles([log]), ArchiveIndex(database)]


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("odd bolt", ["line 1 found"]),
        ("AX-7", ["line 2 marks"]),
        ("bag 3", ["line 3 kept in"]),
        ("pitted", ["line 2 fate"]),
        ("flange bag 13", ["line 2 kept in"]),
        ("62.05 mm", ["line 1 measured"]),
        ("bag 99", []),  # it was undone
        ("bag 1", []),  # bag 13 is another bag
    ],
)
def test_words_of_a_teardown_are_found_in_its_log_and_in_an_archive(
    words: str, expected: list[str], log: Path, tmp_path: Path
) -> None:
    for source in sources(log, tmp_path):
        found = trace_teardowns(source.teardowns(), with_words(words))
        assert [f"line {entry.line} {entry.what}" for one in found for entry in one.entries] == expected


@pytest.mark.parametrize(
    ("subject", "expected"),
    [
        (PersonSubject("Kim"), ["worked on it"]),
        (InstrumentSubject("G-17"), ["measured"]),
        (ReadingSubject("bore"), ["measured"]),
        (ReadingSubject("rear housing bore"), ["measured"]),
        (ReadingSubject("end float"), ["measured"]),
    ],
)
def test_trace_names_teardowns_beside_the_jobs(
    subject: Subject, expected: list[str], log: Path, tmp_path: Path
) -> None:
    for source in sources(log, tmp_path):
        result = trace(source, TraceQuestion(Question(subject)))
        (one,) = result.teardowns
        assert [entry.what for entry in one.entries] == expected
        assert (result.looked_at, result.left_out) == (0, ())  # it is not a job, and no file was left out
        assert "Also in 1 teardown:" in list(trace_lines(result))
    later = TraceQuestion(Question(subject, since="2026-04-01T00:00:00.000Z"))
    assert trace(LogFiles([log]), later).teardowns == ()


def test_trend_names_teardowns_with_the_reading(log: Path) -> None:
    (note,) = trend_over_builds(LogFiles([log]), "bore").notes
    assert note.startswith("1 teardown has this reading too")


def test_archive_keeps_log_and_head_of_a_teardown(log: Path, tmp_path: Path) -> None:
    path = tmp_path / "archive.sqlite"
    database = open_database(str(path))
    report = file_logs(database, [log], "bench", copy_logs=True, audited=True)
    assert (report.new, report.left_out, report.failing) == (1, (), ())
    assert file_logs(database, [log], "bench", copy_logs=True).unchanged == 1
    index = ArchiveIndex(database)
    (kept,) = index.logs()
    assert index.sessions() == []  # it is not a job
    assert index.log_of(kept.session.session, kept.session.head) == log.read_bytes()
    lines = read(log.read_bytes()).lines
    assert compare_with(lines, log, str(path)).status == "same"
    assert compare_with(lines[:-1], log, str(path)).status == "behind"


def test_hours_of_a_teardown_count_the_work_and_each_person(log: Path) -> None:
    found = teardown_hours(log)
    assert (found.worked, found.by_person) == (480.0, {"Robin": 420.0, "Kim": 60.0})  # a minute each entry
    assert (found.lines, found.closed, found.simulated) == (3, None, True)


def test_damaged_teardown_is_left_out_of_the_archive_with_its_line(log: Path, tmp_path: Path) -> None:
    damaged = tmp_path / "damaged.jsonl"
    damaged.write_bytes(log.read_bytes().replace(b"bag 13", b"bag 14", 1))
    report = file_logs(open_database(str(tmp_path / "archive.sqlite")), [damaged], "bench")
    (left,) = report.left_out
    assert left.why.startswith("does not verify: line ")


def test_record_in_the_archive_can_be_read_as_json(log: Path, tmp_path: Path) -> None:
    (found,) = sources(log, tmp_path)[1].teardowns()
    assert found.record.people == ("Robin", "Kim")
    assert json.loads(log.read_bytes().splitlines()[0])["data"]["unit"] == found.session.unit
