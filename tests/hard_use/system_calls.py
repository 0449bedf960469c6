"""Lets system calls on the log fail, by ``strace``. What was acknowledged is in the log, and the program answers."""

import json
import random
import shutil
import subprocess
import time
from pathlib import Path

from benchflow.session.log.journal import LogUnusable
from benchflow.session.log.log_check import verify
from tests.hard_use.counts import Counts
from tests.hard_use.live_drive import Json, acknowledged, as_lines, missing_events, start_drive

CALLS = ("write", "fdatasync", "fsync", "ftruncate", "openat", "flock", "read", "lseek", "newfstatat", "fstat", "close")
ERRORS = ("EIO", "ENOSPC", "EROFS", "EACCES")

OPEN: Json = {"intent": "open", "by": "Robin", "unit": "job 1"}
INTENTS: tuple[Json, ...] = (
    {"intent": "start", "operation": "gap"}, {"intent": "record", "name": "gap", "value": "0.11 mm"},
    {"intent": "note", "text": "one"}, {"intent": "note", "text": "two"},
    {"intent": "record", "name": "gap", "value": "0.12 mm"}, {"intent": "status"},
)  # fmt: skip


def run(seconds: float, seed: int, folder: Path) -> Counts:
    name = "failing system calls"
    if shutil.which("strace") is None:
        return Counts(name, 0, 0, ("strace is not installed",))
    chance, end = random.Random(seed), time.monotonic() + seconds
    tried, notes, log, trace = 0, list[str](), folder / "failing.jsonl", folder / "trace"
    with start_drive(folder, log) as child:
        child.communicate(as_lines(OPEN), timeout=60)
    opened = log.read_bytes()
    while tried < 2 or time.monotonic() < end:
        call, error, first = chance.choice(CALLS), chance.choice(ERRORS), chance.randint(1, 8)
        when = f"{first}{chance.choice(('', '+', '+2'))}"
        log.write_bytes(opened)
        trace.unlink(missing_ok=True)
        problem = _fail_once(folder, log, trace, f"{call}:error={error}:when={when}")
        if not log.read_bytes().startswith(opened):
            problem = "earlier events are lost"
        if not trace.exists() or "INJECTED" not in trace.read_text(errors="replace"):
            continue  # the program does not make this call so often
        tried += 1
        if problem:
            notes.append(f"{call} fails with {error} (call {when}): {problem}")
    return Counts(name, tried, tried - len(notes), tuple(notes))


def _fail_once(folder: Path, log: Path, trace: Path, fault: str) -> str:
    """Work on a log while one system call on it fails. Returns what did not hold; "" if everything did."""
    # -P: only calls on the log itself, not those of the interpreter.
    wrap = ("strace", "-f", "--seccomp-bpf", "-qq", "-o", str(trace), "-P", str(log),
            "-e", f"trace={fault.partition(':')[0]}", "-e", f"inject={fault}")  # fmt: skip
    with start_drive(folder, log, wrap) as child:
        try:
            output, errors = child.communicate(as_lines(*INTENTS), timeout=60)
        except subprocess.TimeoutExpired:
            child.kill()
            return "the program hangs"
    if b"Traceback" in errors:
        return errors.decode(errors="replace")[-300:]
    answers = [json.loads(line) for line in output.splitlines()]
    if child.returncode == 0 and len(answers) != len(INTENTS):
        return f"{len(answers)} answers to {len(INTENTS)} intents"
    if _unannounced(log, answers):
        return "an entry is in the log that was called not saved"
    missing = missing_events(log, acknowledged(output)) if _is_whole(log) else ["all"]
    return f"acknowledged events are lost: {missing}" if missing else ""


def _unannounced(log: Path, answers: list[Json]) -> bool:
    """True if the log has the entry of an intent that was neither accepted nor answered with "may be in the log"."""
    if any("may be in the log" in reason["message"] for answer in answers for reason in answer.get("refused", ())):
        return False
    logged = sum(b'"sent":{' in line for line in log.read_bytes().splitlines())
    return logged > 1 + sum(bool(answer.get("events")) for answer in answers)  # 1: the start of the job


def _is_whole(log: Path) -> bool:
    try:
        return verify(log).damage is None
    except LogUnusable:
        return False
