"""Weak points of time windows: missed, nearly missed, or not proven by the clocks."""

from collections.abc import Iterator

from benchflow.base.durations import rounded_duration
from benchflow.procedure.plan import Step
from benchflow.review.evidence.ranking import WINDOW_SHARE, WeakPoint
from benchflow.review.evidence.speed_points import entered_afterwards
from benchflow.review.log.clock_remarks import ClockStep, WindowRun, window_runs
from benchflow.review.log.facts import OperationFact
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.session.rules.running_clocks import wait_from
from benchflow.session.state.clock import BY_WALL_CLOCK, NOT_KNOWN, Elapsed, EventTime, elapsed_between

LITTLE_OF_A_WAIT = 0.025
"""A wait that is shortened by less than this part of it is only mentioned. (Own rule: oil drains and sealant cures
slowly, so the end of the wait changes little.)"""

WHOLE_WINDOW = 1.0
"""The size of a fault in a window without a length."""


def time_window_points(log: LoadedLog, step: Step, fact: OperationFact | None, seq: int) -> Iterator[WeakPoint]:
    """The weak points of the time windows of ``step``, which event ``seq`` finished."""
    if not step.time or log.state.work(step.id).takeover is not None:
        return
    started = fact.started if fact is not None else None
    for run in window_runs(log.state, step):
        if run.end is None:
            continue
        window, title = run.window, log.plan.steps[run.window.operation].title
        if run.since.boot == NOT_KNOWN:
            words = f"the time after “{title}” is not known, since no trusted line of the earlier log has it"
            yield WeakPoint("window-unknown", words, seq, window.operation)
            continue
        judged: list[Elapsed] = []
        if window.high is not None:
            judged.append(elapsed_between(log.state.spans, run.since, run.end))
            yield from _upper_end_points(run, judged[0], title, seq)
        if window.low is not None and started is not None:
            begun = EventTime(started.seq, started.at, started.boot, started.ms)
            since = wait_from(log.state, window, begun)
            judged.append(Elapsed(0.0, 0.0) if since is None else elapsed_between(log.state.spans, since, begun))
            yield from _lower_end_points(run, judged[-1], title, seq)
        yield from _clock_points(run, judged, title, seq)
        yield from _set_back_points(run, log.clock_steps, title)
        yield from _stood_still_points(log, run, judged, title)


def _upper_end_points(run: WindowRun, taken: Elapsed, title: str, seq: int) -> Iterator[WeakPoint]:
    window, high = run.window, run.window.high or 0.0
    did = f"{window.until} entered" if window.until else "finished"
    words = f"{did} {rounded_duration(taken.high)} after “{title}”"
    if taken.high > high:
        words += f" (window {window.text}{_which_clock(taken)}), {_time_missed(taken.high - high)} too late"
        words += f": {taken.high / high:.3g} times the window" if high and taken.high >= 2 * high else ""
        if taken.known and not taken.across and taken.low <= high:
            words += (
                f". The other clock of the log shows only {rounded_duration(taken.low)}. It stood still while the "
                "computer slept, or the computer clock was set forward"
            )
        size = (taken.high - high) / high if high else WHOLE_WINDOW
        yield WeakPoint("window-missed", words, seq, window.operation, size)
    elif taken.known and taken.high > WINDOW_SHARE * high:
        words += f", {taken.high / high:.0%} of the window {window.text}".replace("%", " %")
        yield WeakPoint("window-tight", words, seq, window.operation, taken.high / high)


def _lower_end_points(run: WindowRun, waited: Elapsed, title: str, seq: int) -> Iterator[WeakPoint]:
    low = run.window.low or 0.0
    if waited.known and waited.low < low:
        words = f"started {rounded_duration(waited.low)} after “{title}” (wait {run.window.text}{_which_clock(waited)})"
        words += f", {_time_missed(low - waited.low)} too early"
        missing = (low - waited.low) / low
        if missing < LITTLE_OF_A_WAIT:
            yield WeakPoint("window-tight", words, seq, run.window.operation)
        else:
            yield WeakPoint("window-missed", words, seq, run.window.operation, missing)


def _time_missed(seconds: float) -> str:
    """The time by which an end was missed; less than a second is shown too."""
    return f"{seconds:.1g} s" if seconds < 1 else rounded_duration(seconds)


def _clock_points(run: WindowRun, judged: list[Elapsed], title: str, seq: int) -> Iterator[WeakPoint]:
    unknown = next((each for each in judged if not each.known), None)
    if unknown is not None:
        shown = rounded_duration(abs(unknown.wall)) + (" less than at its start" if unknown.wall < 0 else "")
        words = (
            f"the time after “{title}” is not known (window {run.window.text}): the computer clock shows {shown}, and "
            f"the running time of the computer proves at least {rounded_duration(unknown.proven)}"
        )
        yield WeakPoint("window-unknown", words, seq, run.window.operation)
    elif any(each.across for each in judged):
        words = f"only the computer clock shows the time after “{title}” across a restart (window {run.window.text})"
        yield WeakPoint("window-across", words, seq, run.window.operation)


def _set_back_points(run: WindowRun, steps: tuple[ClockStep, ...], title: str) -> Iterator[WeakPoint]:
    end = run.window.high or run.window.low or 0.0
    for each in steps:
        if run.runs_at(each.seq):
            words = f"the computer clock was set back {rounded_duration(each.seconds)} after “{title}”"
            words += f" (window {run.window.text})"
            words += "; the boot clock ran on" if each.within_boot else ". More time can have passed than is shown"
            size = 0.0 if each.within_boot else each.seconds / end if end else WHOLE_WINDOW
            yield WeakPoint("clock-back", words, each.seq, run.window.operation, size)


def _stood_still_points(log: LoadedLog, run: WindowRun, judged: list[Elapsed], title: str) -> Iterator[WeakPoint]:
    """A window in which the clocks show less time than the entries in it need: both of them stood still."""
    if run.end is None or not judged:
        return
    entries = sum(line.kind in _ENTRIES for line in log.lines[run.since.seq : run.end.seq])
    shown = max(each.high for each in judged)
    if entries >= FEWEST_ENTRIES and shown < entries * LEAST_ENTRY_SECONDS and not entered_afterwards(log):
        words = f"the clocks show {shown:.1f} s for {entries} entries after “{title}”. They stood still"
        words += f", so more time can have passed (window {run.window.text})"
        yield WeakPoint("clock-back", words, run.end.seq, run.window.operation, WHOLE_WINDOW)


FEWEST_ENTRIES = 4
LEAST_ENTRY_SECONDS = 0.25
"""Hands cannot make so many entries in less than this time each. (Own rule.)"""

_ENTRIES = ("recorded", "ticked", "checked", "lot", "chosen", "started", "finished", "moved")


def _which_clock(taken: Elapsed) -> str:
    return f"; {BY_WALL_CLOCK}" if taken.across and taken.known else ""
