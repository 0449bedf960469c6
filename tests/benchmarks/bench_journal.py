"""Measures a durable tick, resuming a log of 10,000 events, and listing 500 logs.

    python tests/benchmarks/bench_journal.py

It prints medians and the reference, measured in the same run. Aims: a tick takes at most 1.5 times as long as write and
fsync of the same bytes. Resuming takes at most 3 times as long as reading the lines with json. Listing takes
at most 1 s.
"""

import json
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from benchflow.procedure.expand import expand
from benchflow.procedure.model import Procedure
from benchflow.procedure.reader import read
from benchflow.session.catalog import list_sessions
from benchflow.session.log.journal import Draft, Journal
from benchflow.session.state.fold import replay
from tests.benchmarks.review_logs import write_logs
from tests.driving.shipped import WRITTEN_OUT

AT = "2026-03-01T18:30:00.000Z"
SHIPPED = WRITTEN_OUT / "head-install.yaml"


def millis(job: Callable[[], object]) -> float:
    start = time.perf_counter()
    job()
    return (time.perf_counter() - start) * 1000


def report(title: str, ours: float, reference: float, unit: str, aim: float) -> None:
    ratio = ours / reference
    print(f"{title:<58}{ours:>9.3f} {unit}{reference:>10.3f} {unit}  {ratio:5.2f}x  aim {aim}x  "
          f"{'ok' if ratio <= aim else 'MISSED'}")  # fmt: skip


def tick(number: int) -> Draft:
    clock = {"run": 1, "ms": 1000 * number}
    return Draft(AT, "R.", "ticked", {"operation": "torque", "joint": "head", "stage": 1 + number // 14 % 3,
                                      "fastener": 1 + number % 14, "clock": clock})  # fmt: skip


def durable_tick(folder: Path, count: int = 1500) -> None:
    """Measure a tick and the reference in turn, so that a slow phase of the disk affects both."""
    path = folder / "ours.jsonl"
    fd = os.open(folder / "reference", os.O_RDWR | os.O_APPEND | os.O_CREAT)
    ours, reference = [], []

    def write_and_sync(line: bytes) -> None:
        os.write(fd, line)
        os.fsync(fd)

    with Journal.create(path) as journal:
        journal.append([tick(0)])
        line = path.read_bytes()
        for number in range(1, count):
            draft = [tick(number)]
            ours.append(millis(partial(journal.append, draft)))
            reference.append(millis(partial(write_and_sync, line)))
    os.close(fd)
    report("a durable tick, p50 (reference: write + fsync)", statistics.median(ours), statistics.median(reference),
           "ms", 1.5)  # fmt: skip
    p99 = statistics.quantiles(ours, n=100)[98], statistics.quantiles(reference, n=100)[98]
    print(f"{'  p99':<58}{p99[0]:>9.3f} ms{p99[1]:>10.3f} ms")


def long_log(path: Path, procedure: Procedure, text: str, events: int) -> None:
    """Write a log much longer than a real one: one operation is started, ticked, finished and undone again."""
    options = {option.name: option.choices[0] for option in procedure.options}
    plan = expand(procedure, options)
    records = [(step.id, record) for step in plan.steps.values() for record in step.operation.record]
    start = {each.name: each.start or each.values[0] for each in procedure.state}
    drafts = [Draft(AT, "R.", "opened", {
        "procedure": text, "procedure_sha256": "", "file": SHIPPED.name, "options": options, "start": start,
        "unit": "job 1", "version": "0", "format": 3})]  # fmt: skip

    def add(kind: str, data: dict[str, Any]) -> None:
        drafts.append(Draft(AT, "R.", kind, {**data, "clock": {"run": 1, "ms": 800 * len(drafts)}}))

    number = 0
    while len(drafts) < events:
        step, record = records[number % len(records)]
        add("started", {"operation": step})
        quantity = {"value": "0.12", "unit": record.unit, "entered": f"0.12 {record.unit}"}
        add("recorded", {"operation": step, "name": record.name, "reading": record.slots[0], "quantity": quantity,
                         "verdict": "ok", "limit": "0.05 .. 0.15 mm"})  # fmt: skip
        for fastener in range(1, 7):
            add("ticked", {"operation": step, "joint": "head", "stage": 1, "fastener": fastener})
        add("checked", {"operation": step, "check": 1, "text": "turns freely over its whole travel"})
        add("finished", {"operation": step})
        add("undone", {"operation": step})
        number += 1
    with Journal.create(path) as journal:
        journal.append(drafts[:events])


def resuming(folder: Path, events: int = 10_000, rounds: int = 9) -> None:
    text = SHIPPED.read_text(encoding="utf-8")
    procedure = read(text, SHIPPED.name).procedure
    assert procedure is not None
    path = folder / "long.jsonl"
    long_log(path, procedure, text, events)

    def reference() -> None:
        with path.open(encoding="utf-8") as file:
            for line in file:
                json.loads(line)

    def opened() -> Journal:
        return Journal.open(path, read_only=True)

    def resumed() -> None:
        # When a job is resumed, the procedure comes from the compiled cache. Therefore its YAML is not read here.
        replay(opened().lines, lambda text: procedure)

    times = [(millis(reference), millis(opened), millis(resumed)) for _ in range(rounds)]
    by_json, by_open, whole = (statistics.median(column) for column in zip(*times, strict=True))
    size = path.stat().st_size / 1e6
    print(f"{events} events, {size:.1f} MB")
    report("reading and verifying (reference: json.loads a line)", by_open, by_json, "ms", 3)
    report("resuming: reading, verifying, folding", whole, by_json, "ms", 3)


def listing(folder: Path, logs: int = 500, rounds: int = 5) -> None:
    (folder / "sessions").mkdir()
    write_logs(folder / "sessions", logs, events=300)
    took = statistics.median(millis(partial(list_sessions, folder / "sessions")) for _ in range(rounds))
    print(
        f"{f'listing {logs} logs of 300 events':<58}{took:>9.0f} ms  aim 1000 ms  {'ok' if took <= 1000 else 'MISSED'}"
    )


def main() -> None:
    with tempfile.TemporaryDirectory(dir=os.environ.get("BENCH_FOLDER")) as name:
        durable_tick(Path(name))
        resuming(Path(name))
        listing(Path(name))


if __name__ == "__main__":
    main()
