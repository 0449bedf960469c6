"""Random JSON in random intents to one real ``drive`` process. Every line gets one line of JSON as its answer.

Most intents are plausible with one field of another type, so that they reach the handlers. Some lines are no JSON.
"""

import json
import random
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec

from benchflow.session.intents.intent_types import INTENT_TYPES
from benchflow.session.log.log_check import verify
from tests.hard_use.counts import Counts
from tests.hard_use.live_drive import environment
from tests.hard_use.random_intents import random_intent
from tests.session.test_acceptance_monkey import PROCEDURE

_FIELDS = {name: [field.encode_name for field in msgspec.structs.fields(kind)] for name, kind in INTENT_TYPES.items()}
_WORDS = (
    "Robin", "fit", "gap", "gap[1]", "caps", "caps[1]", "level", "crank", "1", "-1", "0.15 mm", "25 N·m", "yes", "held",
    "", "x", "\ud800", "a\x00b", "\x1b[31m", "1e400 mm", "9" * 4500, "²", "１", "nan mm", "½ in", "2026-02-30", "🙂",
    "\u202e", "\u200b", "[", "gap[", "gap[99999999999999999999]", "n" * 70_000,
)  # fmt: skip
_NUMBERS = (0, 1, -1, 3, 10**20, -(10**30), 2**63, 1.5, 1e308, -0.0, 10**4200)
_TIMES = (
    "0001-01-01T00:00:00Z", "9999-12-31T23:59:59.999Z", "2026-03-01T00:00:00+23:59", "0001-01-01T00:00:00+23:59",
    "9999-12-31T23:59:59-23:59", "2026-13-01T00:00:00Z", "2026-03-01T00:00:60Z", "2026-06-30T23:59:60Z", "now",
)  # fmt: skip
_NO_INTENTS = (
    b"[" * 100_000, b'{"intent":' * 100_000, b"\0", b"\xff\xfe", b"{", b"[]", b"17", b'"open"', b"null", b"{}",
    b'{"intent": "note", "text": "' + b"x" * 10_000_000 + b'"}', b'{"intent": "note", "text": NaN}',
    b'{"intent": "note", "intent": "status"}', b'{"intent": "note", "text": "a", "text": "b"}',
    b'{"intent": "note", "text": "\\ud800"}', b'{"intent": "status"}{"intent": "status"}',
)  # fmt: skip
_BATCH = 60


def run(seconds: float, seed: int, folder: Path) -> Counts:
    chance, end = random.Random(seed), time.monotonic() + seconds
    tried, notes = 0, list[str]()
    number = 0
    while not number or time.monotonic() < end:
        number += 1
        done, problem = _one_process(folder / str(number), chance, end, simulated=number % 2 == 0)
        tried += done
        if problem:
            notes.append(f"process {number}: {problem}")
    return Counts("random JSON in intents", tried, tried - len(notes), tuple(notes))


def _one_process(folder: Path, chance: random.Random, end: float, *, simulated: bool) -> tuple[int, str]:
    """Send lines to a new process for a while. Returns the number of lines, and what did not hold."""
    folder.mkdir()
    log = folder / "log.jsonl"
    (folder / "p.yaml").write_text(PROCEDURE, encoding="utf-8")
    command = ["drive", "p.yaml", "--log", log.name, *(["--simulated"] if simulated else [])]
    lines = _lines(chance, simulated=simulated)
    tried = 0
    with subprocess.Popen(
        [sys.executable, "-m", "benchflow", *command], cwd=folder, env=environment(folder),
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=(folder / "errors").open("wb"),
    ) as process:  # fmt: skip
        assert process.stdin is not None
        assert process.stdout is not None
        for _ in range(10):
            for line in (next(lines) for _ in range(_BATCH)):
                try:
                    process.stdin.write(line + b"\n")
                    process.stdin.flush()
                except BrokenPipeError:
                    pass
                answer = process.stdout.readline()
                tried += 1
                if not _is_answer(answer):
                    process.kill()
                    errors = (folder / "errors").read_text(errors="replace")[-300:]
                    return tried, f"the line {line[:200]!r} got the answer {answer[:200]!r} {errors}"
            if time.monotonic() > end:
                break
        process.stdin.close()
        code = process.wait(30)
    errors = (folder / "errors").read_text(errors="replace")
    if code or "Traceback" in errors:
        return tried, f"exit code {code}: {errors[-300:]}"
    found = verify(log)
    return tried, f"the log is damaged: {found.damage}" if found.damage is not None or found.torn else ""


def _is_answer(line: bytes) -> bool:
    try:
        return line.endswith(b"\n") and json.loads(line)["ok"] in (True, False)
    except (ValueError, KeyError, TypeError):
        return False


def _lines(chance: random.Random, *, simulated: bool) -> Iterator[bytes]:
    """Lines to send, without end. The first one opens the job."""
    start: dict[str, Any] = {"intent": "open", "by": "Robin", "unit": "job 1", "start": {"crank": "top"}}
    yield _encoded(start | ({"at": "2026-03-01T00:00:00Z"} if simulated else {}))
    second = 0
    while True:
        if chance.random() < 0.02:
            yield chance.choice(_NO_INTENTS)
            continue
        intent = random_intent(chance, 20)
        second += 1
        if simulated:
            intent["at"] = f"2026-03-01T{second // 3600 % 24:02d}:{second // 60 % 60:02d}:{second % 60:02d}Z"
            if chance.random() < 0.03:
                intent["at"] = chance.choice(_TIMES)
        if chance.random() < 0.7:
            name = chance.choice(list(_FIELDS)) if chance.random() < 0.3 else str(intent["intent"])
            if name == "close":
                name = "note"
            intent["intent"] = name
            field = chance.choice(_FIELDS[name]) if _FIELDS[name] and chance.random() < 0.95 else chance.choice(_WORDS)
            intent[field] = _value(chance)
        yield _encoded(intent)


def _encoded(intent: dict[str, Any]) -> bytes:
    return json.dumps(intent, ensure_ascii=True).encode()


def _value(chance: random.Random, depth: int = 0) -> Any:
    kind = chance.random()
    if kind < 0.5:
        return chance.choice(_WORDS)
    if kind < 0.7:
        return chance.choice(_NUMBERS)
    if kind < 0.8 or depth > 2:
        return chance.choice((True, False, None))
    if kind < 0.9:
        return [_value(chance, depth + 1) for _ in range(chance.randint(0, 3))]
    return {chance.choice(_WORDS): _value(chance, depth + 1) for _ in range(chance.randint(0, 3))}
