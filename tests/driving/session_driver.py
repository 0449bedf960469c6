"""Drives a session in a test: a session controller with the clock under the test's control."""

from datetime import UTC, datetime, timedelta
from typing import Any

from benchflow.procedure.compiled_cache import Loaded
from benchflow.procedure.compiled_cache import read_text as read_procedure_text
from benchflow.procedure.model import Procedure
from benchflow.session.controller import Accepted, Answer, Clock, SessionController
from benchflow.session.refusal import Refusal
from benchflow.session.state.state import State

Intent = dict[str, Any]

START = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)


class HeldClock(Clock):
    """A wall clock and a monotonic clock that stand still until they are moved."""

    def __init__(self, start: datetime = START, monotonic: float = 1000.0) -> None:
        self.wall_now, self.mono_now = start, monotonic
        super().__init__(lambda: self.wall_now, lambda: self.mono_now)

    def forward(self, seconds: float) -> None:
        self.wall_now += timedelta(seconds=seconds)
        self.mono_now += seconds


class SessionDriver:
    """Sends intents to a session controller. The clock goes forward by ``pace`` seconds before each of them."""

    def __init__(self, controller: SessionController, clock: HeldClock, pace: float = 0.0) -> None:
        self.controller, self.clock, self.pace = controller, clock, pace

    @property
    def state(self) -> State:
        assert self.controller.state is not None
        return self.controller.state

    def answer(self, intent: Intent) -> Answer:
        """The controller's answer to an intent, whatever it is."""
        self.clock.forward(self.pace)
        return self.controller.send(intent)

    def send(self, intent: Intent) -> dict[str, Any]:
        """Send an intent that must be accepted; returns what a query asked for, under the query's name."""
        reply = self.answer(intent)
        assert isinstance(reply, Accepted), (intent, reply)
        return reply.answer

    def do(self, intent: str, **fields: Any) -> Accepted:
        """Send an intent that must be accepted; returns the log lines written."""
        reply = self.answer({"intent": intent, **fields})
        assert isinstance(reply, Accepted), reply
        return reply

    def refused(self, intent: str, **fields: Any) -> set[str]:
        """Send an intent that must be refused; returns the codes. Each has a message, and nothing is logged."""
        before = self.controller.saved
        reply = self.answer({"intent": intent, **fields})
        assert isinstance(reply, Refusal), reply
        assert all(reason.message for reason in reply.refused)
        assert self.controller.saved == before
        return {reason.code for reason in reply.refused}

    def work(self, operation: str) -> None:
        """Start and finish an operation that asks for no entries."""
        self.do("start", operation=operation)
        self.do("finish", operation=operation)


def read(text: str) -> Procedure:
    """The procedure in a text without errors."""
    procedure = load(text).procedure
    assert procedure is not None
    return procedure


def load(text: str) -> Loaded:
    loaded = read_procedure_text(text)
    assert loaded.procedure is not None, [str(problem) for problem in loaded.problems]
    return loaded
