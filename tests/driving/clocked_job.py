"""A job on a machine whose clocks the test moves: it sleeps, is started again, and its wall clock is set."""

from datetime import timedelta
from pathlib import Path
from typing import Any, Self

from benchflow.review.audit.audit_file import audit_file
from benchflow.session.controller import SessionController
from benchflow.session.log_writer import Accepted
from tests.driving.session_driver import Intent, ManualClock, SessionDriver, load_text, read_procedure

MINUTE = 60.0


class ClockedJob:
    """A job with its log in ``folder``. Times are in minutes."""

    def __init__(self, folder: Path, text: str, **opened: Any) -> None:
        self.clock, self.boots = ManualClock(), 1
        self.path = folder / "build.jsonl"
        begun = SessionController.begin(
            self.path, load_text(text), file="p.yaml", read=read_procedure, clock=self.clock
        )
        self.driver = SessionDriver(begun, self.clock)
        self.do("open", **{"by": "Robin", "unit": "job 7", **opened})

    def wait(self, minutes: float) -> Self:
        self.clock.advance(minutes * MINUTE)
        return self

    def set_clock(self, minutes: float) -> Self:
        """Set the wall clock forward, or back."""
        self.clock.wall_time += timedelta(minutes=minutes)
        return self

    def reboot(self, off: float, clock_set: float = 0.0) -> Self:
        """Start the machine again after ``off`` minutes, with the wall clock set by ``clock_set`` minutes."""
        self.boots += 1
        wall = self.clock.wall_time + timedelta(minutes=off + clock_set)
        return self.restart(ManualClock(wall, monotonic=5.0, boot=f"b00{self.boots}7105-0001"))

    def restart(self, clock: ManualClock | None = None) -> Self:
        """Start the program again, with other clocks if they are given."""
        self.driver.controller.close()
        self.clock = clock or self.clock
        resumed = SessionController.resume(self.path, read=read_procedure, clock=self.clock)
        self.driver = SessionDriver(resumed, self.clock)
        return self

    def do(self, intent: str, **fields: Any) -> Accepted:
        return self.driver.do(intent, **fields)

    def do_all(self, *intents: Intent) -> None:
        for each in intents:
            self.driver.send(each)

    def refused(self, intent: str, **fields: Any) -> set[str]:
        return self.driver.refused(intent, **fields)

    def status(self) -> dict[str, Any]:
        """The answer to the query `status`."""
        found: dict[str, Any] = self.driver.send({"intent": "status"})["status"]
        return found

    def audited(self) -> None:
        """Assert that the audit decides every entry of the log as it was decided."""
        report, damage = audit_file(self.path, read_procedure)
        assert (report.wrong, damage) == ((), "")
