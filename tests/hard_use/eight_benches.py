"""Eight benches file their logs on one PostgreSQL server at the same time. Nothing is lost, and nothing is replaced.

Each bench is a process of its own. It files its own logs, a log that all benches have, and grown logs of its own again.
"""

import os
import random
import subprocess
import sys
import time
from pathlib import Path

from benchflow.review.archive.database import open_database
from benchflow.review.archive.index import ArchiveIndex
from tests.driving.log_builder import LogBuilder
from tests.driving.postgresql import binaries, running_server
from tests.hard_use.counts import Counts
from tests.hard_use.live_drive import ROOT

BENCHES = 8

FILE = """
import sys
from pathlib import Path
from benchflow.review.archive.database import open_database
from benchflow.review.archive.filing import file_logs
from benchflow.review.log.log_file import logs_under
database = open_database(sys.argv[1])
file_logs(database, logs_under(Path(sys.argv[2])), sys.argv[3], copy_logs=True)
database.close()
"""


def run(seconds: float, seed: int, folder: Path) -> Counts:
    name, programs = "eight benches on one PostgreSQL", binaries()
    if programs is None:
        return Counts(name, 0, 0, ("no PostgreSQL server is installed",))
    chance, end = random.Random(seed), time.monotonic() + seconds
    tried, notes, logs = 0, list[str](), dict[tuple[int, int], LogBuilder]()
    shared = LogBuilder(unit="shared").start("bolt").tighten("bolt", serial="TW-1")
    with running_server(programs) as url:
        open_database(url).close()
        for number in range(1, 1000):
            for bench in range(BENCHES):
                _write_logs(folder / f"bench-{bench}", bench, number, logs, shared, chance)
            failed = _file_all(url, folder)
            tried += len(logs) + 1 + BENCHES
            notes += [f"round {number}: {text}" for text in (*failed, *_wrong(url, logs, shared))]
            if time.monotonic() >= end:
                break
    return Counts(name, tried, tried - len(notes), tuple(notes))


def _write_logs(
    folder: Path, bench: int, number: int, logs: dict[tuple[int, int], LogBuilder], shared: LogBuilder,
    chance: random.Random,
) -> None:  # fmt: skip
    """Write the logs of one bench: a new one, some grown ones, and the one that all benches have."""
    folder.mkdir(exist_ok=True)
    shared.save(folder, "shared.jsonl")
    logs[bench, number] = LogBuilder(unit=f"job {bench}-{number}").start("bolt").tighten("bolt", serial="TW-1")
    for (owner, place), log in logs.items():
        if owner == bench:
            if chance.random() < 0.5:
                log.add("noted", text=f"round {number}")
            log.save(folder, f"job-{place}.jsonl")


def _file_all(url: str, folder: Path) -> list[str]:
    """Let every bench file its logs at the same time. Returns the errors."""
    children = [
        subprocess.Popen(
            [sys.executable, "-c", FILE, url, str(folder / f"bench-{bench}"), f"bench-{bench}"],
            stderr=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": str(ROOT)},
        )
        for bench in range(BENCHES)
    ]  # fmt: skip
    found = [child.communicate(timeout=120)[1].strip() for child in children]
    return [text.splitlines()[-1] for text in found if text]


def _wrong(url: str, logs: dict[tuple[int, int], LogBuilder], shared: LogBuilder) -> list[str]:
    """What the archive lacks, or has in another form than it was written."""
    database = open_database(url)
    try:
        index = ArchiveIndex(database)
        filed = {one.session.unit: one.session for one in index.sessions()}
        wrong = []
        for log in (*logs.values(), shared):
            unit, head = log.lines[0].data["unit"], log.lines[-1].hash
            if unit not in filed or filed[unit].head != head:
                wrong.append(f"{unit} is not in the index as it was written")
            elif index.log_of(log.lines[0].hash, head) != log.raw:
                wrong.append(f"the copy of {unit} is not as it was written")
        return wrong if len(filed) == len(logs) + 1 else [*wrong, f"{len(filed)} sessions instead of {len(logs) + 1}"]
    finally:
        database.close()
