"""A real ``benchflow drive`` process: intents go in, answers come out, and it can be killed at any moment."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

Json = dict[str, Any]

ROOT = Path(__file__).parents[2]

PROCEDURE = """\
benchflow: 1
id: hard-use
title: An invented joint for hard use
revision: "1"
notice: All numbers are invented.
joints: {studs: {title: Studs, layout: "1 2 3 4"}}
sections:
- title: All
  operations:
  - {id: gap, title: Gap, record: {gap: {ask: Gap, unit: mm, readings: 3, limit: 0.10 .. 0.20 mm}}, undo: {do: Again}}
  - {id: pull, title: Pull, tighten: {joint: studs, stages: [10 N·m, 20 N·m]}, undo: {do: Let go}}
"""


def environment(folder: Path) -> dict[str, str]:
    """The environment of a process whose files are all in ``folder``."""
    return {**os.environ, "PYTHONPATH": str(ROOT), "BENCHFLOW_HOME": str(folder / "home")}


def drive_command(folder: Path, log: Path) -> list[str]:
    """The command that works on ``log`` by the procedure above, which is written to ``folder``."""
    procedure = folder / "hard-use.yaml"
    if not procedure.exists():
        procedure.write_text(PROCEDURE, encoding="utf-8")
    return [sys.executable, "-m", "benchflow", "drive", str(procedure), "--log", str(log)]


def start_drive(folder: Path, log: Path, wrap: tuple[str, ...] = ()) -> "subprocess.Popen[bytes]":
    """Start the process. ``wrap`` is a command that runs it, such as ``strace``."""
    return subprocess.Popen(
        [*wrap, *drive_command(folder, log)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=folder, env=environment(folder),
    )  # fmt: skip


def as_lines(*intents: Json) -> bytes:
    """Intents as the input of the process."""
    return b"".join(json.dumps(each).encode() + b"\n" for each in intents)


def acknowledged(output: bytes) -> list[tuple[int, str]]:
    """Number and hash of every event in the answers. An answer that was cut short is left out."""
    found: list[tuple[int, str]] = []
    for line in output.split(b"\n")[:-1]:
        found += [(event["seq"], event["hash"]) for event in json.loads(line).get("events", [])]
    return found


def missing_events(log: Path, events: list[tuple[int, str]]) -> list[int]:
    """The numbers of acknowledged events that are not in the log."""
    kept: dict[int, str] = {}
    for line in log.read_bytes().split(b"\n")[:-1] if log.exists() else ():
        event = json.loads(line)
        kept[event["seq"]] = event["hash"]
    return [seq for seq, digest in events if kept.get(seq) != digest]
