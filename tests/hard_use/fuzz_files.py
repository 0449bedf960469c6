"""Gives changed procedures, registers, logs and archives to every command that reads them.

No command may end with a traceback or hang, and its exit status is a documented one.
"""

import random
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

from tests.driving.script import Script, intent, open_intent
from tests.hard_use.counts import Counts
from tests.hard_use.live_drive import PROCEDURE, ROOT, environment

SHOP = """\
shop: 1
people: {Robin: {roles: [builder]}, Kim: {roles: [inspector]}}
instruments: {w-1: {kind: torque, serial: W-1, range: 5 .. 50 N·m, uncertainty: 4 %, calibrated: 2026-01-10}}
"""

COMMANDS: dict[str, tuple[tuple[str, ...], ...]] = {
    "p.yaml": (
        ("check", "p.yaml"), ("check", "--json", "p.yaml"), ("order", "p.yaml"),
        ("drive", "p.yaml", "--log", "n.jsonl"),
    ),
    "home/config/shop.yaml": (("shop",), ("review", "log.jsonl", "--text"), ("drive", "p.yaml", "--log", "n.jsonl")),
    "log.jsonl": (
        ("log", "log.jsonl"), ("verify", "log.jsonl"), ("audit", "log.jsonl"), ("review", "log.jsonl", "--text"),
        ("sheet", "log.jsonl", "--markdown"), ("export", "log.jsonl", "--as", "csv"), ("sessions", "--folder", "."),
        ("drive", "p.yaml", "--log", "log.jsonl"), ("trend", "gap", "--logs", "log.jsonl"),
        ("drive", "--continue-from", "log.jsonl", "--log", "m.jsonl"),
    ),
    "archive.sqlite": (
        ("archive", "--to", "archive.sqlite", "log.jsonl"), ("trend", "gap", "--archive", "archive.sqlite"),
        ("verify", "log.jsonl", "--against", "archive.sqlite"),
    ),
}  # fmt: skip


def run(seconds: float, seed: int, folder: Path) -> Counts:
    chance, end = random.Random(seed), time.monotonic() + seconds
    originals = _originals(folder)
    tried, notes = 0, list[str]()
    while tried < 4 or time.monotonic() < end:
        name = chance.choice(list(COMMANDS))
        for path, content in originals.items():
            (folder / path).write_bytes(content)
        (folder / name).write_bytes(_changed(originals[name], chance))
        command = chance.choice(COMMANDS[name])
        tried += 1
        problem = _problem(folder, command)
        if problem:
            kept = folder.parent / f"fuzz-{seed}-{tried}-{Path(name).name}"
            kept.write_bytes((folder / name).read_bytes())
            notes.append(f"benchflow {' '.join(command)} with {kept}: {problem}")
    return Counts("changed files given to commands", tried, tried - len(notes), tuple(notes))


def _originals(folder: Path) -> dict[str, bytes]:
    """A valid file of each kind, by its path in ``folder``."""
    (folder / "p.yaml").write_text(PROCEDURE, encoding="utf-8")
    (folder / "home" / "config").mkdir(parents=True)
    (folder / "home" / "config" / "shop.yaml").write_text(SHOP, encoding="utf-8")
    made = folder / "made"
    made.mkdir()
    script = Script(made, PROCEDURE)
    readings = [intent("record", name="gap", value=f"0.1{number} mm") for number in (1, 2, 3)]
    script.do_all(
        open_intent(), intent("start", operation="gap"), *readings, intent("finish"), intent("note", text="½")
    )
    (folder / "log.jsonl").write_bytes(script.path.read_bytes())
    _run(folder, ("archive", "--to", "archive.sqlite", "log.jsonl"))
    with sqlite3.connect(folder / "archive.sqlite") as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return {name: (folder / name).read_bytes() for name in COMMANDS}


def _changed(content: bytes, chance: random.Random) -> bytes:
    """``content`` with some bytes changed, removed, repeated or added."""
    found = bytearray(content)
    for _ in range(chance.choice((1, 1, 2, 10))):
        place, size = chance.randrange(len(found) or 1), chance.choice((1, 1, 4, 60, 900))
        match chance.randrange(5):
            case 0:
                found[place : place + 1] = bytes([chance.randrange(256)])
            case 1:
                del found[place : place + size]
            case 2:
                found[place:place] = found[place : place + size]
            case 3:
                found[place:place] = chance.randbytes(size)
            case _:
                found[place:place] = chance.choice((b"[" * size, b"\0" * size, b"\x1b[2J", "\u202e".encode(), b"\r\n"))
    return bytes(found)


def _problem(folder: Path, command: tuple[str, ...]) -> str:
    """What is wrong with the end of a command; "" if nothing is."""
    try:
        done = _run(folder, command)
    except subprocess.TimeoutExpired:
        return "it hangs"
    if b"Traceback" in done.stderr or done.returncode not in (0, 1, 2):
        return f"exit status {done.returncode}: {done.stderr.decode(errors='replace')[-300:]}"
    return ""


def _run(folder: Path, command: tuple[str, ...]) -> "subprocess.CompletedProcess[bytes]":
    return subprocess.run(
        [sys.executable, "-m", "benchflow", *command], input=b'{"intent": "status"}\n', capture_output=True, timeout=60,
        check=False, cwd=folder, env={**environment(folder), "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
