"""Time windows of an operation that count already, because the operation they count from is done."""

from msgspec import Struct

from benchflow.procedure.plan import Step, TimeWindow
from benchflow.session.state.clock import Now, elapsed
from benchflow.session.state.state import State


class RunningClock(Struct, frozen=True):
    """The window of an operation that is not done, counting from one that is.

    ``since`` is the number of seconds since that operation was finished.
    """

    step: str
    window: TimeWindow
    since: float

    @property
    def wait_left(self) -> float:
        """Seconds until the lower end is reached; 0 once it is, or where there is none."""
        return 0.0 if self.window.low is None else max(0.0, self.window.low - self.since)

    @property
    def open_left(self) -> float | None:
        """Seconds until the window closes; negative once it has closed, ``None`` where it never does."""
        return None if self.window.high is None else self.window.high - self.since


def running_clocks(state: State, step: Step, now: Now) -> tuple[RunningClock, ...]:
    """The windows of ``step`` that count from an operation that is done."""
    return tuple(
        RunningClock(step.id, window, elapsed(state.done[window.operation], now))
        for window in step.time
        if window.operation in state.done
    )
