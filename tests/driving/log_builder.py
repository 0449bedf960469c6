"""Builds logs event by event, in the log format, without a controller. All names and numbers are invented."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any, Self

from benchflow.session.log.line_format import Draft, Line, seal
from benchflow.session.log.timestamps import format_timestamp

PROCEDURE = """\
benchflow: 1
id: invented-lid
title: An invented lid on an invented box
revision: "A"
notice: All numbers are invented.
"""


class LogBuilder:
    """Builds one log. Each call adds one event, a few seconds after the previous one."""

    def __init__(
        self,
        unit: str = "job 1",
        by: str = "ann",
        at: datetime = datetime(2026, 3, 2, 18, 0, tzinfo=UTC),
        procedure: str = PROCEDURE,
        with_clock: bool = True,
        **opened: Any,
    ) -> None:
        self.by, self.now, self.with_clock = by, at, with_clock
        self._start = at
        self.run = 1
        self.lines: list[Line] = []
        self.raw = b""
        data = {
            "procedure": procedure,
            "procedure_sha256": sha256(procedure.encode()).hexdigest(),
            "file": "invented-lid.yaml",
            "options": {},
            "start": {},
            "unit": unit,
            "version": "0.2.0",
            "format": 3,
        }
        self.add("opened", after=0, **{**data, **opened})

    def add(self, kind: str, *, by: str = "", after: float = 10, **data: Any) -> Self:
        self.now += timedelta(seconds=after)
        if self.with_clock:
            data["clock"] = {"boot": f"boot-{self.run}", "ms": round((self.now - self._start).total_seconds() * 1000)}
        last = self.lines[-1] if self.lines else None
        lines, raw = seal([Draft(format_timestamp(self.now), by or self.by, kind, data)], last)
        self.lines += lines
        self.raw += raw
        return self

    def wait(self, **span: float) -> Self:
        self.now += timedelta(**span)
        return self

    def start(self, operation: str, **fields: Any) -> Self:
        return self.add("started", operation=operation, **fields)

    def finish(self, operation: str, **fields: Any) -> Self:
        return self.add("finished", operation=operation, **fields)

    def read(
        self, operation: str, value: str, limit: str = "0.10 .. 0.28 mm", *, name: str = "end-play",
        slot: str = "1", verdict: str = "ok", unit: str = "mm", **fields: Any,
    ) -> Self:  # fmt: skip
        quantity = {"value": value, "unit": unit, "entered": f"{value} {unit}"}
        return self.add(
            "recorded", operation=operation, name=name, reading=slot, quantity=quantity, verdict=verdict,
            limit=limit, **fields,
        )  # fmt: skip

    def tick(self, operation: str, fastener: int, stage: int = 1, **fields: Any) -> Self:
        return self.add("ticked", operation=operation, joint="lid-bolts", stage=stage, fastener=fastener, **fields)

    def tighten(self, operation: str, fasteners: Iterable[int] = range(1, 5), stages: int = 2, **fields: Any) -> Self:
        fasteners = list(fasteners)
        for stage in range(1, stages + 1):
            for fastener in fasteners:
                self.tick(operation, fastener, stage, **fields)
        return self

    def close(self, **fields: Any) -> Self:
        return self.add("closed", **fields)

    def save(self, folder: Path, name: str = "") -> Path:
        path = folder / (name or f"{self.lines[0].data['unit'].replace(' ', '-')}.jsonl")
        path.write_bytes(self.raw)
        return path
