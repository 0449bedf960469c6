"""Running time windows: those that count from an operation that is done."""

from msgspec import Struct

from benchflow.procedure.plan import Step, TimeWindow
from benchflow.session.state.clock import Now, elapsed
from benchflow.session.state.state import State


class RunningClock(Struct, frozen=True):
    """A running time window. ``since`` is the number of seconds since the earlier operation was finished."""

    window: TimeWindow
    since: float

    @property
    def wait_left(self) -> float:
        """Seconds until the window opens; 0 if it is open already or has no lower end."""
        return 0.0 if self.window.low is None else max(0.0, self.window.low - self.since)

    @property
    def open_left(self) -> float | None:
        """Seconds until the window closes; negative after that, ``None`` if it has no upper end."""
        return None if self.window.high is None else self.window.high - self.since


def running_clocks(state: State, step: Step, now: Now) -> tuple[RunningClock, ...]:
    """The running time windows of ``step``."""
    return tuple(
        RunningClock(window, elapsed(state.done[window.operation], now))
        for window in step.time
        if window.operation in state.done
    )
