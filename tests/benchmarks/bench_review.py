"""Measures the archive and the review.

    python tests/benchmarks/bench_review.py [--logs 5000] [--events 200] [--only archive,review]

It prints each time with its reference, measured in the same run, and the aim. References with duckdb do not verify the
logs. Only this script needs duckdb. The parts are archive (with trace and one new log) and review.
:mod:`tests.benchmarks.bench_confusion` counts what the review finds.
"""

import argparse
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from benchflow.review.archive.database import open_database
from benchflow.review.archive.filing import file_logs
from benchflow.review.archive.index import ArchiveIndex
from benchflow.review.many.session_question import InstrumentSubject, Question
from benchflow.review.many.trace_search import TraceQuestion, trace
from tests.benchmarks.review_logs import write_log, write_logs

BENCH = "bench-1"
SERIAL = "TW-3"


def seconds(job: Callable[[], object]) -> float:
    start = time.perf_counter()
    job()
    return time.perf_counter() - start


def report(title: str, ours: float, reference: float, aim: float | None) -> None:
    ratio = ours / reference
    verdict = "" if aim is None else f"aim {aim}x  {'ok' if ratio <= aim else 'MISSED'}"
    print(f"{title:<64}{ours * 1000:>11.1f} ms{reference * 1000:>11.1f} ms{ratio:>8.2f}x  {verdict}", flush=True)


# --- the archive ------------------------------------------------------------------------------------


def archive(folder: Path, logs: int, events: int) -> None:
    import duckdb

    print(f"writing {logs} logs of {events} events ...", flush=True)
    files = folder / "logs"
    files.mkdir()
    paths = write_logs(files, logs, events)
    megabytes = sum(path.stat().st_size for path in paths) / 1e6
    print(f"{logs * events:,} events, {megabytes:.0f} MB; columns: benchflow, reference, ratio")

    def by_duckdb() -> None:
        table = folder / "reference.duckdb"
        table.unlink(missing_ok=True)
        with duckdb.connect(str(table)) as connection:
            connection.execute(
                f"CREATE TABLE events AS SELECT * FROM read_json_auto('{files}/*.jsonl', filename = true)"
            )

    index = folder / "archive.sqlite"

    def by_us() -> None:
        for path in folder.glob("archive.sqlite*"):
            path.unlink()
        database = open_database(str(index))
        assert file_logs(database, paths, BENCH).new == logs
        database.close()

    # Alternate, so that other load on the machine affects both.
    ours, reference = [], []
    for _ in range(2):
        reference.append(seconds(by_duckdb))
        ours.append(seconds(by_us))
    report("archive all of it, verified (duckdb: read_json_auto, a table)", min(ours), min(reference), 3)
    again = open_database(str(index))
    report("archive again, nothing changed", seconds(lambda: file_logs(again, paths, BENCH)), min(reference), None)
    again.close()
    traced(folder, index)
    one_new(folder, index, events)


SUMMARY = """SELECT filename, count(*), count(DISTINCT data.operation || data.fastener), min("at"), max("at")
FROM events WHERE data.serial = ? GROUP BY filename ORDER BY 2 DESC"""
DETAIL = """SELECT filename, data.operation, data.joint, data.stage, "by", "at"::date, count(DISTINCT data.fastener),
min("at"), max("at") FROM events WHERE data.serial = ? AND kind = 'ticked' GROUP BY ALL"""


def traced(folder: Path, index: Path) -> None:
    import duckdb

    database = open_database(str(index))
    source = ArchiveIndex(database)
    ask = TraceQuestion(Question(InstrumentSubject(SERIAL)))
    with duckdb.connect(str(folder / "reference.duckdb"), read_only=True) as connection:

        def row_count(query: str) -> int:
            return len(connection.execute(query, [SERIAL]).fetchall())

        touched = len(trace(source, ask).touched)
        assert touched == row_count(SUMMARY)
        ours, summary, detail = [], [], []
        for _ in range(7):
            ours.append(seconds(lambda: trace(source, ask)))
            summary.append(seconds(lambda: row_count(SUMMARY)))
            detail.append(seconds(lambda: row_count(DETAIL)))
    mine = statistics.median(ours)
    report(f"trace by instrument: {touched} sessions (duckdb: the same rows)", mine, statistics.median(detail), 1.5)
    report("   the same (duckdb: one summary per session)", mine, statistics.median(summary), 1.5)
    database.close()


def one_new(folder: Path, index: Path, events: int) -> None:
    full, empty = [], []
    for number in range(9):
        log = folder / f"new-{number}.jsonl"
        write_log(log, 100_000 + number, events)
        into_full = open_database(str(index))
        full.append(seconds(lambda log=log, into=into_full: file_logs(into, [log], BENCH)))  # type: ignore[misc]  # bound now
        into_full.close()
        into_empty = open_database(str(folder / f"empty-{number}.sqlite"))
        empty.append(seconds(lambda log=log, into=into_empty: file_logs(into, [log], BENCH)))  # type: ignore[misc]  # bound now
        into_empty.close()
    report(
        "archive one new log into all of it (into an empty index)",
        statistics.median(full),
        statistics.median(empty),
        1.5,
    )


# --- the review of one log ---------------------------------------------------------------------------

READ_BY_JSON = """
import json, sys
for line in open(sys.argv[1], encoding="utf-8"):
    json.loads(line)
"""


def review(folder: Path) -> None:
    from tests.driving.simulated_builder import SimulatedBuilder
    from tests.review.played_builds import BEGIN, head_install, played, read

    long = folder / "long.jsonl"
    sim_builder = SimulatedBuilder(head_install(), long, seed=1, begin=BEGIN, read=read())
    start = {"pistons": "down"}
    options = {"cams": "standard", "gasket": "composite"}
    sim_builder.send({"intent": "open", "unit": "long", "options": options, "start": start})
    while "fit-nuts" not in sim_builder.state.done:
        sim_builder.do_next_on_route(
            next(step for step in sim_builder.state.plan.steps if step not in sim_builder.state.done)
        )
    sim_builder.send({"intent": "start", "operation": "tighten-head"})
    while sim_builder.controller.saved < 10_000:
        for intent in ("tick", "untick"):
            sim_builder.wait(2)
            sim_builder.send({"intent": intent, "joint": "head-nuts", "fastener": 1, "stage": 1})
    sim_builder.controller.close()
    for name, log in (("a head install", played(3)), ("10,000 events", long)):
        lines = len(log.read_bytes().splitlines())
        ours_command = [sys.executable, "-m", "benchflow", "review", str(log), "--json"]
        their_command = [sys.executable, "-c", READ_BY_JSON, str(log)]
        environment = {"BENCHFLOW_HOME": str(folder / "home"), "PATH": "/usr/bin:/bin"}

        def run(command: list[str], environment: dict[str, str] = environment) -> None:
            subprocess.run(command, env=environment, stdout=subprocess.DEVNULL, check=True)

        run(ours_command)  # the procedure is compiled once
        ours, theirs = [], []
        for _ in range(11):
            theirs.append(seconds(lambda command=their_command: run(command)))  # type: ignore[misc]  # bound now
            ours.append(seconds(lambda command=ours_command: run(command)))  # type: ignore[misc]  # bound now
        what = f"review {name}, {lines} events, whole process (python, json)"
        report(what, statistics.median(ours), statistics.median(theirs), 3)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--logs", type=int, default=5000)
    asked.add_argument("--events", type=int, default=200)
    asked.add_argument("--only", default="archive,review")
    chosen = asked.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="bench-review-"))
    try:
        if "archive" in chosen.only:
            archive(folder, chosen.logs, chosen.events)
        if "review" in chosen.only:
            review(folder)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
