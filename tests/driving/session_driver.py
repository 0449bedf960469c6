"""Drives a session controller in a test. The test sets the clock."""

from datetime import UTC, datetime, timedelta
from typing import Any

from benchflow.procedure.compiled_cache import Loaded
from benchflow.procedure.compiled_cache import read_text as read_procedure_text
from benchflow.procedure.model import Procedure
from benchflow.session.controller import SessionController
from benchflow.session.log_writer import Accepted, Answer
from benchflow.session.machine_clock import Clock, boot_id, boot_seconds
from benchflow.session.refusal import Refusal
from benchflow.session.state.state import State

Intent = dict[str, Any]

START = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)


class ManualClock(Clock):
    """A wall clock and a boot clock that change only when the test advances or sets them."""

    def __init__(self, start: datetime = START, monotonic: float = 1000.0, boot: str = "0b00710d-0001") -> None:
        self.wall_time, self.monotonic_time, self.boot = start, monotonic, boot
        super().__init__(lambda: self.wall_time, lambda: self.monotonic_time, lambda: self.boot)

    def advance(self, seconds: float) -> None:
        self.wall_time += timedelta(seconds=seconds)
        self.monotonic_time += seconds


def stopped_clock() -> ManualClock:
    """A clock with the time and the boot of this machine, which stands still until the test advances it."""
    return ManualClock(datetime.now(UTC), boot_seconds() or 0.0, boot_id())


class SessionDriver:
    """Sends intents to a session controller. The clock advances by ``pace`` seconds before each intent."""

    def __init__(self, controller: SessionController, clock: ManualClock, pace: float = 0.0) -> None:
        self.controller, self.clock, self.pace = controller, clock, pace

    @property
    def state(self) -> State:
        assert self.controller.state is not None
        return self.controller.state

    def answer(self, intent: Intent) -> Answer:
        """Send an intent and return the answer, accepted or refused."""
        self.clock.advance(self.pace)
        return self.controller.send(intent)

    def send(self, intent: Intent) -> dict[str, Any]:
        """Send an intent that must be accepted. Returns the answer of a query, under the name of the query."""
        reply = self.answer(intent)
        assert isinstance(reply, Accepted), (intent, reply)
        return reply.answer

    def do(self, intent: str, **fields: Any) -> Accepted:
        """Send an intent that must be accepted. Returns the log lines that were written."""
        reply = self.answer({"intent": intent, **fields})
        assert isinstance(reply, Accepted), reply
        return reply

    def refused(self, intent: str, **fields: Any) -> set[str]:
        """Send an intent that must be refused. Returns the codes. Each reason has a message, and nothing is logged."""
        before = self.controller.saved
        reply = self.answer({"intent": intent, **fields})
        assert isinstance(reply, Refusal), reply
        assert all(reason.message for reason in reply.refused)
        assert self.controller.saved == before
        return {reason.code for reason in reply.refused}

    def work(self, operation: str) -> None:
        """Start and finish an operation that needs no entries."""
        self.do("start", operation=operation)
        self.do("finish", operation=operation)


def read_procedure(text: str) -> Procedure:
    """The procedure in ``text``, which must have no errors."""
    procedure = load_text(text).procedure
    assert procedure is not None
    return procedure


def load_text(text: str) -> Loaded:
    """The procedure in ``text``, with its source. The text must have no errors."""
    loaded = read_procedure_text(text)
    assert loaded.procedure is not None, [str(problem) for problem in loaded.problems]
    return loaded
