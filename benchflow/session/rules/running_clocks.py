"""Running time windows: those that count from an operation that is done, or from an entry in it."""

from msgspec import Struct

from benchflow.procedure.plan import Step, TimeWindow
from benchflow.session.context import quoted_title
from benchflow.session.state.clock import Elapsed, EventTime, Now, elapsed
from benchflow.session.state.state import State, check_key
from benchflow.session.state.state_times import entered_at


class RunningClock(Struct, frozen=True):
    """A running time window. ``elapsed`` is the time since the earlier operation was finished.

    For a window with ``from`` it counts from the last entry of that value or check. ``ended`` is true if the entry
    that ends the window (``until``) is made: then the upper end no longer counts.
    """

    window: TimeWindow
    elapsed: Elapsed
    ended: bool = False
    waited: Elapsed | None = None  # the time that counts for the lower end; None while the state of `while` is not so

    @property
    def since(self) -> float:
        """The most seconds that can have passed."""
        return self.elapsed.high

    @property
    def known(self) -> bool:
        """False if the clocks contradict each other: then the window is closed, and its lower end is not reached."""
        return self.elapsed.known and (self.waited is None or self.waited.known)

    @property
    def by_wall(self) -> bool:
        """True if only the wall clock shows the time, because the machine was started again in between."""
        return self.known and (self.elapsed.across or (self.waited is not None and self.waited.across))

    @property
    def state_missing(self) -> bool:
        """True while the state of `while` is not so, so that the lower end is not reached."""
        return self.waited is None and self.window.low is not None

    @property
    def missed(self) -> bool:
        """True if the upper end has passed, or may have passed."""
        left = self.open_left
        return left is not None and (left < 0 or not self.known)

    @property
    def wait_left(self) -> float:
        """Seconds until the window opens; 0 if it is open already or has no lower end.

        While the state of `while` is not so, it is the whole wait.
        """
        if self.window.low is None:
            return 0.0
        return self.window.low if self.waited is None else max(0.0, self.window.low - self.waited.low)

    @property
    def open_left(self) -> float | None:
        """Seconds until the window closes; negative after that, ``None`` if it has no upper end or has ended."""
        return None if self.window.high is None or self.ended else self.window.high - self.since


def running_clocks(state: State, step: Step, now: Now) -> tuple[RunningClock, ...]:
    """The running time windows of ``step``."""
    found = []
    for window in step.time:
        since = counted_from(state, window)
        if since is not None:
            ended = bool(window.until) and entry_time(state, step, window.until) is not None
            passed = elapsed(state.spans, state.last, since, now)
            begun = wait_from(state, window)
            waited = passed if begun == since else None
            if begun is not None and begun != since:
                waited = elapsed(state.spans, state.last, begun, now)
            found.append(RunningClock(window, passed, ended, waited))
    return tuple(found)


def counted_from(state: State, window: TimeWindow, until: EventTime | None = None) -> EventTime | None:
    """The time from which a window counts; ``None`` while its earlier operation is not done.

    It is the end of that operation, the entry that ``from`` names, or when its clock was last started again. With
    ``until``, what came after that event does not count.
    """
    done = state.done.get(window.operation)
    if done is None:
        return None
    begun = entry_time(state, state.plan.steps[window.operation], window.from_) if window.from_ else None
    restarts = [
        time
        for time in (
            *state.restarted.get(window.operation, ()),
            *(state.done.get(name) for name in state.plan.restarters.get(window.operation, ())),
        )
        if time is not None and time.seq > done.seq and (until is None or time.seq <= until.seq)
    ]
    return max(restarts, key=lambda time: time.seq, default=begun or done)


def wait_from(state: State, window: TimeWindow, until: EventTime | None = None) -> EventTime | None:
    """The time from which the lower end of a window counts; ``None`` while the state of `while` is not so."""
    since = counted_from(state, window, until)
    if since is None or not window.while_:
        return since
    entered = entered_at(state, window.while_, until)
    return None if entered is None else max(since, entered, key=lambda time: time.seq)


def entry_time(state: State, step: Step, name: str) -> EventTime | None:
    """The last entry of the value ``name``, or of the check with the id ``name``, in ``step``; ``None`` if it is open.

    The correction of an entry does not change its time.
    """
    work = state.work(step.id)
    number = check_number(step, name)
    if number is not None:
        return work.entered.get(check_key(number)) if number in work.checks else None
    return work.entered.get(name) if work.readings.get(name) else None


def check_number(step: Step, ident: str) -> int | None:
    """The number, from 1, of the check with this id; ``None`` if there is none."""
    numbers = (number for number, point in enumerate(step.operation.check, 1) if ident and point.id == ident)
    return next(numbers, None)


def since_text(state: State, window: TimeWindow) -> str:
    """What a window counts from, inside a sentence: ``“Heat the casing”``, or ``casing-temp of “Heat the casing”``."""
    title = quoted_title(state, window.operation)
    done, since = state.done.get(window.operation), counted_from(state, window)
    if done is not None and since is not None and since.seq > done.seq:
        return f"{title}, whose clock was started again"
    return f"{window.from_} of {title}" if window.from_ else title
