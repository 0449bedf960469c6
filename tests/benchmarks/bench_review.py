"""Measures the archive and the review, and checks that the review names planted faults.

    python tests/benchmarks/bench_review.py [--logs 5000] [--events 200] [--sessions 200] [--only archive,review,...]

It prints each time with its reference, measured in the same run, and the aim. References with duckdb do not verify the
logs. Only this script needs duckdb. The parts are archive (with trace and one new log), review and confusion.
"""

import argparse
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[2]))

from benchflow.procedure.expand import expand
from benchflow.procedure.model import Fixed, Procedure
from benchflow.review.archive.database import open_database
from benchflow.review.archive.filing import file_logs
from benchflow.review.archive.index import ArchiveIndex
from benchflow.review.evidence.assessment import review_everything
from benchflow.review.log.loaded_log import load_log
from benchflow.review.many.session_question import InstrumentSubject, Question
from benchflow.review.many.trace_search import TraceQuestion, trace
from tests.benchmarks.review_logs import write_log, write_logs

TICKS_AGAIN = 3
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


# --- planted faults ----------------------------------------------------------------------------


def candidates() -> dict[str, list[str]]:
    """Return, for each kind of fault, the operations of the head installation in which it can be planted."""
    from tests.review.played_builds import TOOLS, head_install

    procedure = head_install().procedure
    assert procedure is not None
    found: dict[str, list[str]] = {kind: [] for kind in PLANTED_AS}
    for step in expand(procedure, {"cams": "standard", "gasket": "layered-steel"}).steps.values():
        operation = step.operation
        limits = [r.bound.limit for r in operation.record if isinstance(r.bound, Fixed) and r.judge == "all"]
        if limits and all(limit.low is not None and limit.high is not None for limit in limits):
            found["near-limit"].append(step.id)
        if operation.hold is not None:
            found["self-signed"].append(step.id)
        if any(window.high is not None for window in step.time):
            found["window-missed"].append(step.id)
        if operation.tighten is not None:
            count = next(joint.count for joint in procedure.joints if joint.id == operation.tighten.joint)
            if count >= TICKS_AGAIN:
                found["redone"].append(step.id)
            if any(TOOLS.get(ref.name) == "TW-A" for ref in operation.uses):
                found["instrument-overdue"].append(step.id)
    return found


PLANTED_AS = {
    "instrument-overdue": "overdue", "window-missed": "late", "near-limit": "near_limit", "redone": "stage_redone",
    "self-signed": "self_signed",
}  # fmt: skip
"""The reason that the review must name, and the fault that is planted for it."""


def confusion(folder: Path, sessions: int) -> None:
    """Build ``sessions`` sessions, and count which reason the review names first.

    Half of the sessions are clean. Each of the others has one fault in a random operation; the kinds take turns.
    """
    from tests.driving.simulated_builder import CLEAN, Faults, SimulatedBuilder
    from tests.review.played_builds import OVERDUE_TOOLS, SHOP, TOOLS, Uncounted, head_install, read

    shop = folder / "shop.yaml"
    shop.write_text(SHOP, encoding="utf-8")
    register = Uncounted(shop)
    reader: Callable[[str], Procedure] = read()
    where = candidates()
    table: Counter[tuple[str, str]] = Counter()
    wrong: list[str] = []
    began = time.perf_counter()
    for number in range(sessions):
        truth, operation, faults = "clean", "", CLEAN
        if number % 2:
            truth = list(PLANTED_AS)[number // 2 % len(PLANTED_AS)]
            operation = Random(number).choice(where[truth])
            faults = Faults(**{PLANTED_AS[truth]: operation})
        log = folder / f"session-{number}.jsonl"
        sim_builder = SimulatedBuilder(
            head_install(), log, seed=10_000 + number, begin=datetime(2026, 2, 2, 18, 0, tzinfo=UTC), read=reader,
            register=register, tools=TOOLS, overdue_tools=OVERDUE_TOOLS, faults=faults,
        )  # fmt: skip
        sim_builder.build(f"job {number}", {"cams": "standard", "gasket": "layered-steel"})
        first = review_everything(load_log(log, reader), register.shop()).guards[0]
        log.unlink()
        if not first.suspect:
            named = "nothing"
        elif first.operation == operation and truth in {reason.kind for reason in first.reasons}:
            named = truth
        else:
            named = f"{first.reasons[0].kind} in {first.operation}"
            wrong.append(f"session {number} ({truth} {operation}): {first.operation}: {first.reasons[0].words}")
        table[truth, named] += 1
    print(f"\nthe reason that the review names first, {sessions} sessions made in {time.perf_counter() - began:.0f} s")
    print("; ".join(f"{kind} in any of {len(where[kind])} operations" for kind in PLANTED_AS))
    columns = [*dict.fromkeys(["nothing", *PLANTED_AS, *(named for _, named in table)])]
    print(f"{'planted':<22}" + "".join(f"{column[:20]:>22}" for column in columns))
    for truth in ("clean", *PLANTED_AS):
        print(f"{truth:<22}" + "".join(f"{table[truth, column]:>22}" for column in columns))
    print("\n".join(wrong) or "every planted fault was named first, and no clean build was suspected")


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--logs", type=int, default=5000)
    asked.add_argument("--events", type=int, default=200)
    asked.add_argument("--sessions", type=int, default=200)
    asked.add_argument("--only", default="archive,review,confusion")
    chosen = asked.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="bench-review-"))
    try:
        if "archive" in chosen.only:
            archive(folder, chosen.logs, chosen.events)
        if "review" in chosen.only:
            review(folder)
        if "confusion" in chosen.only:
            confusion(folder, chosen.sessions)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
