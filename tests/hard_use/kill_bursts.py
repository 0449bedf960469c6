"""Kills the program with SIGKILL while it writes. No event that was acknowledged may be lost."""

import random
import signal
import time
from pathlib import Path

from benchflow.session.log.journal import Journal
from tests.hard_use.counts import Counts
from tests.hard_use.live_drive import acknowledged, as_lines, missing_events, start_drive


def run(seconds: float, seed: int, folder: Path) -> Counts:
    chance, log, end = random.Random(seed), folder / "killed.jsonl", time.monotonic() + seconds
    tried, notes = 0, list[str]()
    while tried < 2 or time.monotonic() < end:
        tried += 1
        notes += _kill_once(folder, log, chance, tried)
        if log.exists() and log.stat().st_size > 2_000_000:
            log.unlink()
    return Counts("kill -9 while writing", tried, tried - len(notes), tuple(notes))


def _kill_once(folder: Path, log: Path, chance: random.Random, number: int) -> list[str]:
    """Start the program, kill it after a random time, and open the log again. Returns what did not hold."""
    child = start_drive(folder, log)
    assert child.stdin is not None
    assert child.stdout is not None
    child.stdin.write(as_lines({"intent": "open", "by": "Robin", "unit": f"job {number}"}))
    child.stdin.flush()
    output = child.stdout.readline()  # it has started
    child.stdin.write(as_lines(*({"intent": "note", "text": f"note {n} of run {number}"} for n in range(300))))
    child.stdin.flush()
    time.sleep(chance.uniform(0, 0.06))
    child.send_signal(signal.SIGKILL)
    rest, errors = child.communicate(timeout=60)
    events = acknowledged(output + rest)
    with Journal.open(log) as journal:
        if journal.damage is not None or journal.read_only:
            return [f"kill {number}: {journal.damage or journal.read_only}"]
    missing = missing_events(log, events)
    if missing or errors:
        return [f"kill {number}: events {missing} are lost; {errors.decode(errors='replace')[:200]}"]
    return []
