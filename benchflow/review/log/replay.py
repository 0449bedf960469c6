"""Replays a session: its state and its screen after any event, made by folding the log again."""

from bisect import bisect_left, bisect_right
from collections.abc import Callable
from typing import Literal

from msgspec import Struct

from benchflow.review.formatting import local_day
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.session.context import Context
from benchflow.session.history.event_text import event_text
from benchflow.session.history.log_titles import LogTitles
from benchflow.session.rules.reopened_operations import done_operations
from benchflow.session.state.clock import Now
from benchflow.session.state.events import event_of
from benchflow.session.state.fold import begin, fold
from benchflow.session.state.state import State
from benchflow.session.view.bench_view import BenchView, ClockRow, StateRow
from benchflow.session.view.build import bench_view, state_rows
from benchflow.session.view.clock_rows import clock_rows

StepSize = Literal["event", "operation", "day"]

_KEPT_EVERY = 64
"""Every 64th state is kept, so that stepping back does not fold from the beginning."""


def context_at_end(state: State) -> Context:
    """The context at the time of the last event of ``state``, to show it as it was then."""
    return Context(Now(state.last.at, state.last.boot, state.last.ms))


class Frame(Struct, frozen=True):
    """The session after event ``seq``: the event as text, the state of the assembly, the clocks and the operations."""

    seq: int
    of: int
    at: str
    by: str
    text: str
    operation: str  # in progress; "" for none
    title: str
    state_rows: tuple[StateRow, ...]
    clocks: tuple[ClockRow, ...]
    done: tuple[str, ...]  # operations, in the order of finishing
    open: tuple[str, ...]  # paused
    left: int  # operations not done yet
    closed: bool


class Replay:
    """One session, shown after any of its events, from 1 to :attr:`last`."""

    def __init__(self, log: LoadedLog) -> None:
        self._lines = log.lines
        self._titles = LogTitles(log.plan)
        procedure = log.written_procedure
        self._begin: Callable[[], State] = lambda: begin(self._lines[0], procedure)
        self._kept: dict[int, State] = {}
        self._steps: dict[StepSize, list[int]] = {}

    @property
    def last(self) -> int:
        return len(self._lines)

    def state(self, seq: int) -> State:
        """The state after event ``seq``.

        Raises:
            IndexError: there is no such event.
        """
        if not 1 <= seq <= self.last:
            raise IndexError(f"There is no event {seq}. The session has events 1 to {self.last}")
        start = (seq - 1) // _KEPT_EVERY * _KEPT_EVERY + 1
        state = self._kept.get(start)
        while state is None and start > 1:
            start -= _KEPT_EVERY
            state = self._kept.get(start)
        if state is None:
            state = self._kept[1] = self._begin()
        for number in range(start + 1, seq + 1):
            state = fold(state, self._lines[number - 1])
            if number % _KEPT_EVERY == 1:
                self._kept[number] = state
        return state

    def frame(self, seq: int) -> Frame:
        """The session after event ``seq``.

        Raises:
            IndexError: there is no such event.
        """
        state, line = self.state(seq), self._lines[seq - 1]
        event = event_of(line)
        in_progress, done = state.in_progress or "", done_operations(state)
        return Frame(
            seq=seq,
            of=self.last,
            at=line.at,
            by=line.by,
            text=event_text(event, self._titles)
            if event is not None
            else f"{line.kind} (an event that this version cannot read)",
            operation=in_progress,
            title=self._titles.step(in_progress) if in_progress else "",
            state_rows=tuple(state_rows(state)),
            clocks=tuple(clock_rows(state, context_at_end(state))),
            done=done,
            open=state.paused,
            left=len(state.plan.steps) - len(done),
            closed=bool(state.closed),
        )

    def bench(self, seq: int) -> BenchView:
        """The bench as it was shown after event ``seq``, read-only."""
        state = self.state(seq)
        reason = f"this is the job after event {seq} of {self.last}"
        return bench_view(state, context_at_end(state), saved=seq, read_only=reason)

    # --- stepping ---

    def forward(self, seq: int, by: StepSize = "event") -> int:
        """The next event to stop at; the last event of the session if there is none."""
        steps = self.steps(by)
        place = bisect_right(steps, seq)
        return steps[place] if place < len(steps) else self.last

    def back(self, seq: int, by: StepSize = "event") -> int:
        """The previous event to stop at; the first event of the session if there is none."""
        steps = self.steps(by)
        place = bisect_left(steps, seq)
        return steps[place - 1] if place > 0 else 1

    def steps(self, by: StepSize) -> list[int]:
        """The events where stepping stops: every event; the end or rework of an operation; the first of a local day."""
        if by not in self._steps:
            self._steps[by] = list(self._stopping_events(by))
        return self._steps[by]

    def _stopping_events(self, by: StepSize) -> list[int]:
        if by == "event":
            return list(range(1, self.last + 1))
        if by == "operation":
            return [line.seq for line in self._lines if line.kind in ("finished", "undone")]
        return [
            line.seq
            for before, line in zip((None, *self._lines), self._lines, strict=False)
            if before is None or local_day(before.at) != local_day(line.at)
        ]
