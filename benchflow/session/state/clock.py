"""How long ago something was: by the monotonic clock while one program ran, by the calendar otherwise."""

from msgspec import Struct

from benchflow.procedure.plan import Step, TimeWindow
from benchflow.session.log.timestamps import parse
from benchflow.session.state.state import State, When


class Now(Struct, frozen=True):
    """This moment. ``run`` 0 means that no monotonic clock runs (simulated sessions)."""

    at: str
    run: int = 0
    ms: int = 0


def elapsed(since: When, now: Now) -> float:
    """Seconds from ``since`` to ``now``; never below zero, since a clock set back proves nothing."""
    if since.run and since.run == now.run:
        return max(0, now.ms - since.ms) / 1000
    return max(0.0, (parse(now.at) - parse(since.at)).total_seconds())


class Running(Struct, frozen=True):
    """A window of an operation not yet done, counting from one that is."""

    step: str
    window: TimeWindow
    since: float  # seconds since the operation it counts from was finished

    @property
    def wait_left(self) -> float:
        return 0.0 if self.window.low is None else max(0.0, self.window.low - self.since)

    @property
    def open_left(self) -> float | None:
        """Seconds until it closes, negative once it has; ``None`` when it never does."""
        return None if self.window.high is None else self.window.high - self.since


def running(state: State, step: Step, now: Now) -> tuple[Running, ...]:
    """The windows of ``step`` whose operation is done."""
    return tuple(
        Running(step.id, window, elapsed(state.done[window.operation], now))
        for window in step.time
        if window.operation in state.done
    )
