"""Writes many invented logs in the format of the program, for the benchmarks of the archive."""

from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from random import Random
from typing import Any

import msgspec

from benchflow.session.log.line_format import ZEROS, read
from benchflow.session.log.timestamps import format_timestamp

OPERATIONS = 150


def _procedure() -> str:
    """Return a valid procedure of 40 KB. The ids and values in the logs come from it."""
    head = """\
benchflow: 1
id: invented
title: An invented build
revision: "1"
options: {cams: {ask: Which?, choices: [standard, hot]}}
state: {pistons: {values: [down, up], start: ask, ask: Where?}}
instruments:
  torque-wrench: {title: Wrench, kind: torque}
  dial-indicator: {title: Dial, kind: length}
kit: {consumables: {sealant: {title: Sealant, lot: required}}}
joints: {head-nuts: {title: Nuts, layout: "1 2 3 4 5 6 7 8 9 10"}}
sections:
- title: All
  operations:
"""
    bodies = (
        "    check: [free to turn]\n    uses: [sealant]\n",
        "    tighten: {joint: head-nuts, stages: [10 N·m, 20 N·m, 30 N·m], with: torque-wrench}\n",
        "    record: {end-play-%s: {ask: End play, unit: mm, limit: 0.10 .. 0.28 mm, with: dial-indicator,\n"
        "      readings: [front, rear, left, right]}}\n",
    )
    text = head + "".join(
        f"  - id: operation-{number}\n    title: Operation {number}\n{bodies[number % 3].replace('%s', str(number))}"
        for number in range(1, OPERATIONS + 1)
    )
    return text + ("# a comment\n" * 4000)[: 40_000 - len(text)]


PROCEDURE = _procedure()
_encode = msgspec.json.Encoder(order="sorted").encode  # sorted keys are the canonical form of the data in these logs


class _Writer:
    def __init__(self, begin: datetime) -> None:
        self.began = self.now = begin
        self.prev = ZEROS
        self.lines: list[bytes] = []

    def add(self, kind: str, **data: Any) -> None:
        self.now += timedelta(seconds=20)
        data["clock"] = {"run": 1, "ms": round((self.now - self.began).total_seconds() * 1000)}
        line: dict[str, Any] = {
            "seq": len(self.lines) + 1, "at": format_timestamp(self.now), "by": "builder", "kind": kind, "data": data,
            "prev": self.prev,
        }  # fmt: skip
        line["hash"] = self.prev = sha256(_encode(line)).hexdigest()
        self.lines.append(_encode(line))


def write_log(path: Path, seed: int, events: int) -> None:
    """Write one session of ``events`` events: readings, ticks, lots and checks, mixed as in a head installation."""
    chance = Random(seed)
    out = _Writer(datetime(2026, 1, 1, tzinfo=UTC) + timedelta(hours=seed))
    wrench = f"TW-{chance.randrange(10)}"
    out.add(
        "opened", procedure=PROCEDURE, procedure_sha256=sha256(PROCEDURE.encode()).hexdigest(), file="invented.yaml",
        options={"cams": "standard"}, start={"pistons": "down"}, unit=f"job {seed}", version="0.2.0", format=2,
    )  # fmt: skip
    number = 0
    while len(out.lines) < events - 1:
        number += 1
        operation = f"operation-{number}"
        out.add("started", operation=operation)
        if number % 3 == 1:
            for stage in (1, 2, 3):
                for fastener in range(1, 11):
                    out.add("ticked", operation=operation, joint="head-nuts", stage=stage, fastener=fastener,
                            instrument="torque-wrench", serial=wrench)  # fmt: skip
        elif number % 3 == 2:
            for slot in ("front", "rear", "left", "right"):
                value = f"0.{chance.randrange(11, 28)}"
                out.add("recorded", operation=operation, name=f"end-play-{number}", reading=slot, verdict="ok",
                        quantity={"value": value, "unit": "mm", "entered": f"{value} mm"}, limit="0.10 .. 0.28 mm",
                        instrument="dial-indicator", serial=f"DI-{chance.randrange(4)}")  # fmt: skip
        else:
            out.add("checked", operation=operation, check=1, text="free to turn")
            out.add("lot", operation=operation, consumable="sealant", lot=f"L-{chance.randrange(100)}")
        out.add("finished", operation=operation)
    del out.lines[events - 1 :]
    out.prev = msgspec.json.decode(out.lines[-1])["hash"]
    out.add("closed", open_operations=[])
    path.write_bytes(b"\n".join(out.lines) + b"\n")


def write_logs(folder: Path, logs: int, events: int) -> list[Path]:
    """Write ``logs`` logs under ``folder``, check that the first one verifies, and return their paths."""
    paths = [folder / f"job-{seed:05}.jsonl" for seed in range(logs)]
    for seed, path in enumerate(paths):
        write_log(path, seed, events)
    assert read(paths[0].read_bytes()).damage is None
    return paths
