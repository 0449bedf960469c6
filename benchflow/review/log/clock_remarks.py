"""What the clocks of a log say: steps back of the computer clock, and the time windows that ran meanwhile."""

from collections.abc import Iterable, Iterator

from msgspec import Struct

from benchflow.base.durations import rounded_duration
from benchflow.procedure.plan import Step, TimeWindow
from benchflow.review.formatting import count
from benchflow.session.log.line_format import Line
from benchflow.session.rules.running_clocks import counted_from, entry_time
from benchflow.session.state.clock import EventTime, crosses_restart, event_time, wall_seconds
from benchflow.session.state.events import ClockWentBack, event_of
from benchflow.session.state.state import State

NAMED = 5
"""At most this many windows are named in one sentence. (Own rule.)"""


class ClockStep(Struct, frozen=True):
    """A step back of the computer clock, in seconds, noted by event ``seq``.

    ``within_boot`` is true if the boot clock ran on across it: then the step changed no duration.
    """

    seq: int
    seconds: float
    within_boot: bool


class WindowRun(Struct, frozen=True):
    """A time window of ``step``: the event from which it counts, and the one that ended it (``None``: not done)."""

    step: Step
    window: TimeWindow
    since: EventTime
    end: EventTime | None

    def runs_at(self, seq: int) -> bool:
        """True if event ``seq`` was logged while the window ran."""
        return self.since.seq < seq and (self.end is None or seq <= self.end.seq)


def clock_steps(lines: Iterable[Line]) -> Iterator[ClockStep]:
    """Every step back of the computer clock that the log notes."""
    before: Line | None = None
    for line in lines:
        event = event_of(line) if line.kind == _WENT_BACK else None
        if isinstance(event, ClockWentBack):
            within = before is not None and not crosses_restart(event_time(before), event_time(line))
            yield ClockStep(line.seq, max(0.0, wall_seconds(event.now, event.before)), within and "clock" in line.data)
        before = line


def window_runs(state: State, step: Step) -> Iterator[WindowRun]:
    """The time windows of ``step`` that began to count."""
    done = state.done.get(step.id)
    for window in step.time:
        entered = entry_time(state, step, window.until) if window.until else None
        end = entered or done
        since = counted_from(state, window, end)
        if since is not None:
            yield WindowRun(step, window, since, end)


def worked_across_restart(lines: Iterable[Line]) -> frozenset[str]:
    """The operations whose working time is partly from the computer clock, across a restart."""
    found: set[str] = set()
    begun: tuple[str, Line] | None = None
    for line in lines:
        if line.kind not in _WORK:
            continue
        operation = str(line.data.get("operation") or "")
        if begun is not None and begun[0] == operation and crosses_restart(event_time(begun[1]), event_time(line)):
            found.add(operation)
        begun = (operation, line) if line.kind == "started" else None
    return frozenset(found)


def clock_remarks(state: State, lines: Iterable[Line]) -> Iterator[str]:
    """A sentence on the steps back of the computer clock: how far, what they changed, and which windows ran."""
    steps = tuple(clock_steps(lines))
    if not steps:
        return
    times = ", ".join(f"{rounded_duration(step.seconds)} at event {step.seq}" for step in steps[:NAMED])
    more = f", and {len(steps) - NAMED} more" if len(steps) > NAMED else ""
    text = f"The computer clock was set back {count(len(steps), 'time')} ({times}{more})."
    if all(step.within_boot for step in steps):
        text += " Durations are from the boot clock, which nobody can set."
    else:
        text += " Durations across such a step are from the computer clock, so they can be too short."
    ran = [
        f"“{run.step.title}” after “{state.plan.steps[run.window.operation].title}” ({run.window.text})"
        for step in state.plan.steps.values()
        for run in window_runs(state, step)
        if any(run.runs_at(each.seq) for each in steps)
    ]
    if ran:
        more = f", and {len(ran) - NAMED} more" if len(ran) > NAMED else ""
        text += f" Time windows that ran then: {', '.join(ran[:NAMED])}{more}."
    yield text


_WENT_BACK = "clock-went-back"
_WORK = ("started", "paused", "finished")
