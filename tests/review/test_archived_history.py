"""The shop's other builds from an archive, in an SQLite file and on a PostgreSQL server."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from benchflow.base.errors import BenchflowError
from benchflow.review.archive.archived_history import ArchivedHistory, history_in_file, history_on_server
from benchflow.review.archive.database import open_database
from benchflow.review.archive.filing import file_logs
from benchflow.review.log.log_file import logs_under
from tests.driving.log_builder import LogBuilder
from tests.driving.script import procedure_with

FINDING: dict[str, Any] = {
    "complaint": "leaks",
    "finding": "bead broken",
    "outcome": "ours",
    "operation": "seal",
    "date": "2026-04-01",
}

PROCEDURE = procedure_with("{id: seal, title: Seal, record: {gap: {unit: mm}}}")


def build(number: int, simulated: bool) -> LogBuilder:
    log = LogBuilder(
        procedure=PROCEDURE,
        unit=f"job {number}",
        at=datetime(2026, 3, 1, tzinfo=UTC) + timedelta(days=number),
        simulated=simulated,
    )
    return log.start("seal").read("seal", f"0.{number}", name="gap").finish("seal").close()


@pytest.fixture
def histories(archive_url: str, tmp_path: Path) -> list[ArchivedHistory]:
    """The history in an archive of five builds, read in every possible way."""
    folder = tmp_path / "logs"
    folder.mkdir()
    for number in range(1, 6):
        log = build(number, simulated=number == 5)
        log.add("found", **FINDING)
        if number == 1:
            log.add("found", **{**FINDING, "outcome": "part", "replaces": len(log.lines)})
        if number == 2:
            log.add("finding-withdrawn", event=len(log.lines), reason="another car")
        log.save(folder)
    database = open_database(archive_url)
    file_logs(database, logs_under(folder), "bench")
    database.close()
    return [history_on_server(archive_url)] + ([] if "://" in archive_url else [history_in_file(Path(archive_url))])


def test_cases_are_the_findings_in_force_of_other_builds_by_the_procedure(histories: list[ArchivedHistory]) -> None:
    for history in histories:
        cases = history.cases("tried", "")
        assert [(case.unit, case.outcome, case.simulated) for case in cases] == [
            ("job 1", "part", False), ("job 3", "ours", False), ("job 4", "ours", False), ("job 5", "ours", True),
        ]  # fmt: skip
        assert [case.unit for case in history.cases("tried", cases[0].session)] == ["job 3", "job 4", "job 5"]
        assert history.cases("another", "") == []


def test_values_are_those_of_real_or_of_simulated_builds(histories: list[ArchivedHistory]) -> None:
    for history in histories:
        found = history.readings("tried", "", False)
        assert [(each.name, each.value) for each in found] == [("gap", f"0.{number}") for number in range(1, 5)]
        assert [each.value for each in history.readings("tried", "", True)] == ["0.5"]
        assert [each.value for each in history.readings("tried", found[0].session, False)] == [
            "0.2",
            "0.3",
            "0.4",
        ]


def test_file_that_is_not_an_archive_is_refused(tmp_path: Path) -> None:
    (tmp_path / "text").write_text("no database", encoding="utf-8")
    for path in (tmp_path / "text", tmp_path / "none"):
        with pytest.raises(BenchflowError, match="cannot be read"):
            history_in_file(path)
