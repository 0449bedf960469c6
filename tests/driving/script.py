"""Drives a session as an external script does: JSON lines in, JSON lines out, and the log file.

Each call of ``send`` is a separate run of the program that resumes the log.
"""

import io
import json
from collections.abc import Iterator
from functools import cache
from itertools import count
from pathlib import Path
from typing import Any

from benchflow.review.audit.audit_file import audit_file
from benchflow.session.json_lines import drive, open_controller
from benchflow.session.machine_clock import Clock
from benchflow.session.shop.live_register import Register
from tests.driving import session_driver
from tests.driving.log_files import events_in

Json = dict[str, Any]
load_text, read_procedure = cache(session_driver.load_text), cache(session_driver.read_procedure)


def intent(kind: str, **fields: Any) -> Json:
    return {"intent": kind, **{name.replace("_", "-"): value for name, value in fields.items()}}


class Script:
    """A scripted session on one log. Each call starts a new run of the program. ``shop`` is the text of a shop file."""

    def __init__(self, folder: Path, procedure: str, *, simulated: bool = False, shop: str = "") -> None:
        self.path = folder / "log.jsonl"
        self.text, self.simulated = procedure, simulated
        self.shop = folder / "shop.yaml"
        self.clock: Clock | None = None
        """The clock of the runs; ``None`` for that of the machine."""
        if shop:
            self.shop.write_text(shop, encoding="utf-8")

    def run(self, raw: bytes) -> list[Json]:
        source = load_text(self.text)
        register = Register(self.shop)
        controller = open_controller(
            source,
            "p.yaml",
            self.path,
            read_procedure,
            simulated=self.simulated,
            register=register,
            clock=self.clock,
        )
        out = io.BytesIO()
        try:
            assert drive(controller, io.BytesIO(raw), out) == 0
        finally:
            controller.close()
        return [json.loads(line) for line in out.getvalue().splitlines()]

    def send(self, *intents: Json) -> list[Json]:
        """Send intents. Returns one answer for each, in order."""
        replies = self.run(b"".join(json.dumps(each).encode() + b"\n" for each in intents))
        assert len(replies) == len(intents)
        return replies

    def do(self, kind: str, **fields: Any) -> list[Json]:
        """Send an intent that must be accepted. Returns its events."""
        (reply,) = self.send(intent(kind, **fields))
        assert reply["ok"] is True, reply
        events: list[Json] = reply["events"]
        return events

    def do_all(self, *intents: Json) -> None:
        """Send intents that must all be accepted."""
        for each, reply in zip(intents, self.send(*intents), strict=True):
            assert reply["ok"] is True, (each, reply)

    def refused(self, kind: str, **fields: Any) -> list[str]:
        """Send an intent that must be refused. Returns the codes. Nothing may be written."""
        before = self.path.read_bytes() if self.path.exists() else b""
        (reply,) = self.send(intent(kind, **fields))
        assert reply["ok"] is False, reply
        assert "events" not in reply
        assert all(reason["message"] for reason in reply["refused"])
        assert (self.path.read_bytes() if self.path.exists() else b"") == before
        return [reason["code"] for reason in reply["refused"]]

    def query(self, kind: str, **fields: Any) -> Any:
        """Send a query and return its answer."""
        (reply,) = self.send(intent(kind, **fields))
        assert (reply["ok"], reply["events"]) == (True, [])
        return reply[kind]

    def audited(self) -> None:
        """Assert that the audit decides every entry of the log as it was decided."""
        report, damage = audit_file(self.path, read_procedure)
        assert (report.wrong, damage) == ((), "")

    def log(self) -> list[Json]:
        return events_in(self.path)


def open_intent(**fields: Any) -> Json:
    return intent("open", **{"by": "Robin", "unit": "job 7", **fields})


def procedure_with(*operations: str, head: str = "") -> str:
    """The text of a procedure with these operations, each a YAML mapping on one line."""
    lines = "".join(f"  - {each}\n" for each in operations)
    return (
        f"benchflow: 1\nid: tried\ntitle: Tried\nrevision: '1'\n{head}sections:\n- title: All\n  operations:\n{lines}"
    )


def minute_timestamps() -> Iterator[str]:
    """Timestamps a minute apart, for simulated sessions."""
    for minute in count():
        yield f"2026-03-01T{6 + minute // 60:02d}:{minute % 60:02d}:00Z"
