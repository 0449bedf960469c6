"""Heads that were remembered show a restored backup and a rewritten log. All data is invented."""

import json
import os
from datetime import timedelta
from pathlib import Path
from subprocess import CompletedProcess
from typing import Any

import pytest

from benchflow.review.archive.database import open_database
from benchflow.review.archive.filing import file_logs
from benchflow.review.archive.filing_report import FilingReport
from benchflow.review.archive.index import ArchiveIndex
from benchflow.session.head_memory import HeadMemory
from benchflow.session.log.line_format import read
from benchflow.session.log.log_heads import compare_heads, head_of_log
from tests.driving.command_server import run_as_text
from tests.driving.log_builder import PROCEDURE, LogBuilder

ROOT = Path(__file__).parents[2]
BENCH = "bench-1"


def a_log(note: str = "first", more: int = 0) -> LogBuilder:
    log = LogBuilder().start("bolt").tighten("bolt", serial="TW-1").add("noted", text=note)
    for number in range(more):
        log.add("noted", text=f"later {number}")
    return log


def run(folder: Path, *arguments: str, typed: str = "") -> "CompletedProcess[str]":
    environ = {**os.environ, "PYTHONPATH": str(ROOT), "BENCHFLOW_HOME": str(folder / "home")}
    return run_as_text(folder, *arguments, env=environ, typed=typed)


def verified(folder: Path, log: Path, against: str | None = None) -> tuple[int, Any]:
    """Exit code and the field ``against`` of `verify --json`."""
    extra = [] if against is None else ["--against", against]
    done = run(folder, "verify", "--json", str(log), *extra)
    return done.returncode, json.loads(done.stdout)["against"] if done.stdout else done.stderr


@pytest.mark.parametrize(
    ("log", "known", "status", "line"),
    [
        (a_log(), a_log(), "same", 0),
        (a_log(more=3), a_log(), "grown", 0),
        (a_log(), a_log(more=3), "behind", 0),
        (a_log("other"), a_log(), "forked", 11),
        (a_log("other", more=2), a_log(), "forked", 11),
        (a_log("other"), a_log(more=2), "forked", 11),
    ],
)
def test_log_compares_with_a_remembered_head(log: LogBuilder, known: LogBuilder, status: str, line: int) -> None:
    found = compare_heads(head_of_log(log.lines), head_of_log(known.lines))
    assert (found.status, found.line) == (status, line)


def test_log_is_compared_with_a_fingerprint_or_a_sheet(tmp_path: Path) -> None:
    procedure = PROCEDURE + "sections: [{title: All, operations: [{id: bolt, title: Bolt}]}]\n"

    def noted(*texts: str) -> LogBuilder:
        built = LogBuilder(procedure=procedure)
        for text in texts:
            built.add("noted", text=text)
        return built

    first = [f"note {number}" for number in range(10)]
    log, longer = noted(*first), noted(*first, "ten", "eleven")
    path = log.save(tmp_path, "log.jsonl")
    assert verified(tmp_path, path, log.lines[-1].hash) == (0, _answer("same", 11))
    assert verified(tmp_path, path, log.lines[6].hash[:16].upper()) == (0, _answer("grown", 7))
    code, answer = verified(tmp_path, path, longer.lines[-1].hash)
    assert (code, answer["status"]) == (1, "unknown")
    long_path = longer.save(tmp_path, "longer.jsonl")
    for arguments, name in ((("-o", "sheet.html"), "sheet.html"), (("--markdown", "-o", "sheet.md"), "sheet.md")):
        assert run(tmp_path, "sheet", str(long_path), *arguments).returncode == 0
        assert verified(tmp_path, long_path, name) == (0, _answer("same", 13))
        assert verified(tmp_path, path, name)[1]["status"] == "behind"
        other = noted(*first, "ten", "forged").save(tmp_path, "other.jsonl")
        code, answer = verified(tmp_path, other, name)
        assert (code, answer["status"], answer["line"]) == (1, "forked", 13)
    code, message = verified(tmp_path, path, "no-such-file")
    assert code == 2
    assert "neither a fingerprint" in message


class _answer(dict[str, Any]):
    """An answer whose text does not matter."""

    def __init__(self, status: str, line: int) -> None:
        super().__init__(status=status, line=line)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, dict) and {**other, "text": ""} == {**self, "text": ""}

    __hash__ = None


def test_machine_remembers_what_it_left(tmp_path: Path) -> None:
    procedure = tmp_path / "p.yaml"
    procedure.write_text(
        "benchflow: 1\nid: p\ntitle: P\nrevision: '1'\nsections:\n- {title: All, operations: [{id: a, title: A}]}\n"
    )
    log = tmp_path / "log.jsonl"

    def drive(*intents: dict[str, Any]) -> str:
        text = "".join(json.dumps(each) + "\n" for each in intents)
        done = run(tmp_path, "drive", str(procedure), "--log", str(log), typed=text)
        assert done.returncode == 0, done.stderr
        return done.stderr

    drive({"intent": "open", "by": "Robin", "unit": "job 1"}, {"intent": "note", "text": "one"})
    backup = log.read_bytes()
    drive({"intent": "note", "text": "two"})
    log.write_bytes(backup)
    code, answer = verified(tmp_path, log)
    assert (code, answer["status"]) == (0, "behind")
    assert "BEHIND" in drive({"intent": "status"})
    drive({"intent": "note", "text": "not two"})
    code, answer = verified(tmp_path, log)
    assert (code, answer["status"], answer["line"]) == (1, "forked", 3)


def test_name_of_a_log_can_be_used_for_another_job(tmp_path: Path) -> None:
    memory = HeadMemory(tmp_path / "heads.jsonl")
    first, path = a_log(), tmp_path / "log.jsonl"
    memory.remember(first.lines, path, "2026-03-02T20:00:00.000Z")
    another = LogBuilder(unit="job 9", at=first.now + timedelta(days=1)).start("bolt")
    assert memory.compare(another.lines, path) is None
    rewritten = LogBuilder(options={"size": "large"}).start("bolt")
    found = memory.compare(rewritten.lines, path)
    assert found is not None
    assert (found[1].status, found[1].line) == ("forked", 1)


def filed(url: str, *paths: Path, bench: str = BENCH, fresh: str | None = None) -> FilingReport:
    database = open_database(url, fresh=fresh)
    try:
        return file_logs(database, paths, bench, copy_logs=True)
    finally:
        database.close()


def copy_in(url: str, log: LogBuilder) -> bytes | None:
    database = open_database(url)
    try:
        return ArchiveIndex(database).log_of(log.lines[0].hash, log.lines[-1].hash)
    finally:
        database.close()


def facts_in(url: str) -> list[tuple[str, str, int]]:
    database = open_database(url)
    try:
        return [(one.bench, one.session.head, one.session.events) for one in ArchiveIndex(database).sessions()]
    finally:
        database.close()


def test_archive_takes_a_grown_log_and_names_a_restored_backup(archive_url: str, tmp_path: Path) -> None:
    short, long = a_log(), a_log(more=4)
    path = short.save(tmp_path, "log.jsonl")
    assert filed(archive_url, path).new == 1
    long.save(tmp_path, "log.jsonl")
    assert filed(archive_url, path).grown == 1
    assert (copy_in(archive_url, short), copy_in(archive_url, long)) == (None, long.raw)
    short.save(tmp_path, "log.jsonl")
    for _ in range(2):  # it is named again
        report = filed(archive_url, path)
        assert (len(report.behind), report.forked, report.left_out) == (1, (), ())
    assert "has 15 events; this one has 11" in report.behind[0].why
    assert facts_in(archive_url) == [(BENCH, long.lines[-1].hash, 15)]
    assert copy_in(archive_url, long) == long.raw


@pytest.mark.parametrize("more", [0, 5])
def test_rewritten_log_is_forked_and_does_not_replace_the_one_that_was_filed(
    archive_url: str, tmp_path: Path, more: int
) -> None:
    honest, forged = a_log(more=1), a_log("other", more=1 + more)
    path = honest.save(tmp_path, "log.jsonl")
    filed(archive_url, path)
    forged.save(tmp_path, "log.jsonl")
    report = filed(archive_url, path)
    assert (report.grown, [one.why.startswith("is forked at line 11") for one in report.forked]) == (0, [True])
    assert facts_in(archive_url) == [(BENCH, honest.lines[-1].hash, 12)]
    assert (copy_in(archive_url, honest), copy_in(archive_url, forged)) == (honest.raw, forged.raw)
    done = run(tmp_path, "archive", "--to", archive_url, "--fetch", "job 1", "-o", "back.jsonl")
    assert (done.returncode, (tmp_path / "back.jsonl").read_bytes() == honest.raw) == (0, True)
    assert "A forked copy" in done.stderr
    code, answer = verified(tmp_path, path, archive_url)
    assert (code, answer["status"], answer["line"]) == (1, "forked", 11)


def test_rewritten_first_line_is_not_a_new_log(archive_url: str, tmp_path: Path) -> None:
    honest = a_log()
    path = honest.save(tmp_path, "log.jsonl")
    filed(archive_url, path)
    other = LogBuilder(options={"size": "large"}).start("bolt").save(tmp_path, "elsewhere.jsonl")  # unit, opening time
    later = (
        LogBuilder(unit="job 9", at=honest.now + timedelta(days=1)).start("bolt").save(tmp_path, "log.jsonl")
    )  # path
    report = filed(archive_url, other, later)
    assert report.new == 0
    assert [one.why.startswith("is forked at line 1:") for one in report.forked] == [True, True]


def test_name_of_a_moved_log_can_be_used_again(archive_url: str, tmp_path: Path) -> None:
    path = a_log().save(tmp_path, "log.jsonl")
    filed(archive_url, path)
    path.rename(tmp_path / "kept.jsonl")
    LogBuilder(unit="job 9").start("bolt").save(tmp_path, "log.jsonl")
    report = filed(archive_url, tmp_path / "kept.jsonl", path)
    assert (report.copies, report.new, report.forked) == (1, 1, ())


def test_rebuild_keeps_other_benches_heads_and_only_copies(archive_url: str, tmp_path: Path) -> None:
    ours, theirs = a_log(more=2), LogBuilder(unit="job 2").start("bolt")
    gone = LogBuilder(unit="job 3").start("bolt")
    ours_path, theirs_path = ours.save(tmp_path, "ours.jsonl"), theirs.save(tmp_path, "theirs.jsonl")
    gone_path = gone.save(tmp_path, "gone.jsonl")
    filed(archive_url, ours_path, gone_path)
    filed(archive_url, theirs_path, bench="bench-2")
    gone_path.unlink()
    a_log("other").save(tmp_path, "ours.jsonl")
    report = filed(archive_url, ours_path, fresh=BENCH)
    assert len(report.forked) == 1
    for log in (ours, theirs, gone):
        assert copy_in(archive_url, log) == log.raw
    assert {bench for bench, _, _ in facts_in(archive_url)} == {BENCH, "bench-2"}


def test_tables_of_an_older_version_keep_their_copies(archive_url: str, tmp_path: Path) -> None:
    from benchflow.review.archive import index_schema as schema
    from benchflow.review.archive.filing import file_copies

    log = a_log(more=1)
    path = log.save(tmp_path, "log.jsonl")
    filed(archive_url, path)
    path.unlink()
    database = open_database(archive_url)
    with database.writing() as connection:
        connection.execute(schema.meta.update().values(value="7"))
    database.close()
    database = open_database(archive_url, fresh=BENCH)
    assert file_copies(database) == 1
    database.close()
    assert copy_in(archive_url, log) == log.raw
    assert facts_in(archive_url) == [(BENCH, log.lines[-1].hash, len(read(log.raw).lines))]
