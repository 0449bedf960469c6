"""Drives a teardown as an external script does: intents in, answers out. Each call is a separate run of the program."""

import io
import json
from pathlib import Path
from typing import Any

from benchflow.session.json_lines import drive
from benchflow.session.teardown.fold_teardown import load_teardown
from benchflow.session.teardown.teardown_controller import TeardownController
from benchflow.session.teardown.teardown_record import TeardownRecord
from tests.driving.script import Json, intent

OPEN = intent("open", by="Robin", unit="GB-12", what="five-speed gearbox")
"""Starts an invented teardown."""
SKIP_REST = intent("skip", reason="Not on this unit")


class TeardownScript:
    """A scripted teardown on one log. A simulated one gets a minute more with each intent."""

    def __init__(self, folder: Path, *, simulated: bool = False) -> None:
        self.path = folder / "teardown.jsonl"
        self.simulated = simulated
        self._minutes = 0

    def send(self, *intents: Json) -> list[Json]:
        """Send intents. Returns one answer for each, in order."""
        raw = b"".join(json.dumps(self._timed(each)).encode() + b"\n" for each in intents)
        controller = TeardownController.open(self.path, simulated=self.simulated)
        out = io.BytesIO()
        try:
            assert drive(controller, io.BytesIO(raw), out) == 0
        finally:
            controller.close()
        return [json.loads(line) for line in out.getvalue().splitlines()]

    def _timed(self, message: Json) -> Json:
        if not self.simulated or "at" in message:
            return message
        self._minutes += 1
        return {**message, "at": f"2026-03-01T{8 + self._minutes // 60:02}:{self._minutes % 60:02}:00Z"}

    def do(self, name: str, /, **fields: Any) -> Json:
        """Send an intent that must be accepted. Returns the data of its event."""
        (reply,) = self.send({"intent": name, **fields})
        assert reply["ok"] is True, reply
        data: Json = reply["events"][0]["data"]
        return data

    def refused(self, name: str, /, **fields: Any) -> list[str]:
        """Send an intent that must be refused. Returns the codes."""
        (reply,) = self.send({"intent": name, **fields})
        assert reply["ok"] is False, reply
        return [reason["code"] for reason in reply["refused"]]

    def begin(self) -> "TeardownScript":
        """Open the teardown and skip its checklist."""
        assert all(reply["ok"] for reply in self.send(OPEN, SKIP_REST))
        return self

    def off(self, *texts: str) -> "TeardownScript":
        """Log entry lines, which must be accepted."""
        replies = self.send(*(intent("off", text=text) for text in texts))
        assert [reply for reply in replies if not reply["ok"]] == []
        return self

    @property
    def record(self) -> TeardownRecord:
        """The record, read from the log."""
        return load_teardown(self.path)
