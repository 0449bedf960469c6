"""The clocks of the bench view: running time windows and waits, each with its advice."""

from collections.abc import Iterator
from math import inf
from typing import Literal

from msgspec.structs import replace

from benchflow.base.durations import clock_duration
from benchflow.base.plaintext import sentence
from benchflow.procedure.plan import Step, TimeWindow
from benchflow.session.context import Context
from benchflow.session.log.timestamps import clock_time_after
from benchflow.session.rules.open_items import unwaived_clocks
from benchflow.session.rules.remedy_waits import running_waits, wait_left_text, waited_for_text
from benchflow.session.rules.running_clocks import RunningClock, counted_from
from benchflow.session.rules.window_advice import (
    missed_window_advice,
    not_known_advice,
    not_known_text,
    too_early_reason,
    wait_text,
    window_text,
)
from benchflow.session.state.clock import Now, elapsed
from benchflow.session.state.state import State
from benchflow.session.view.bench_view import ClockRow

CLOSING = 0.25
"""A time window is closing when this share of it is left, at most 5 minutes."""


def clock_rows(state: State, context: Context) -> Iterator[ClockRow]:
    """The running time windows of operations that are not done, and waits. Waived windows are left out."""
    running = [
        (step, clock)
        for name, step in state.plan.steps.items()
        if name not in state.done
        for clock in unwaived_clocks(state, step, context.now)
    ]
    any_end = any(clock.open_left is not None for _, clock in running)
    start_times = latest_start_times(state, context) if any_end else {}
    for step, clock in running:
        row = clock_row(state, step, clock, context.now, start_times)
        if row is not None:
            yield replace(row, limits=clock.window.text)
    for name, step in state.plan.steps.items():
        if name not in state.done:
            yield from _wait_rows(state, step, context)


def _wait_rows(state: State, step: Step, context: Context) -> Iterator[ClockRow]:
    """The waits after remedies. One row for those that began with the same remedy."""
    seen: set[int] = set()
    for running in running_waits(state, step, context.now):
        if running.wait.since.seq in seen:
            continue
        seen.add(running.wait.since.seq)
        known = running.elapsed.known
        advice = f"{wait_left_text(running, context.now)}. Then go on with {waited_for_text(step, running)}."
        yield ClockRow(
            step.id, step.title, running.wait.do, "wait", running.left if known else None, advice, known,
            by_wall=known and running.elapsed.across, remedy=True,
            until=clock_time_after(context.now.at, running.left, round_up=True) if known else "",
        )  # fmt: skip


def latest_start_times(state: State, context: Context) -> dict[str, float]:
    """For each operation, the seconds until its latest start within all time windows.

    Empty if a window is missed, or its time is not known.
    """
    from benchflow.ordering.latest_start import latest_starts  # imported late: most sessions have no window open

    def counted(window: TimeWindow) -> float | None:
        since = counted_from(state, window)
        if since is None:
            return None
        passed = elapsed(state.spans, state.last, since, context.now)
        return -passed.high if passed.known else -inf

    seconds_left = latest_starts(state.plan, frozenset(state.done), 0.0, counted)
    return seconds_left if all(seconds >= 0 for seconds in seconds_left.values()) else {}


def _first_to_start(state: State, step: Step, start_times: dict[str, float]) -> tuple[str, float] | None:
    """The operation to start first so that ``step`` is in time, and the seconds until its latest start."""
    needed, unvisited = {step.id}, [step.id]
    while unvisited:
        for earlier in state.plan.steps[unvisited.pop()].after:
            if earlier not in state.done and earlier not in needed:
                needed.add(earlier)
                unvisited.append(earlier)
    left = {name: start_times[name] for name in needed if name in start_times and name != state.in_progress}
    return min(left.items(), key=lambda item: item[1]) if left else None


def clock_row(
    state: State, step: Step, clock: RunningClock, now: Now, start_times: dict[str, float]
) -> ClockRow | None:
    """A time window with its advice; ``None`` for a wait that is over."""
    since = state.plan.steps[clock.window.operation].title
    if clock.window.from_:
        since = f"{since} ({clock.window.from_})"
    if not clock.known:
        phase: Literal["wait", "missed"] = "missed" if clock.missed else "wait"
        if phase == "wait" and clock.wait_left <= 0:
            return None
        advice = f"{not_known_text(state, clock)}. {not_known_advice(state, step, clock.window)}."
        return ClockRow(step.id, step.title, since, phase, None, advice, known=False)
    if clock.state_missing:
        advice = sentence(too_early_reason(state, step, clock, now).message)
        return ClockRow(step.id, step.title, since, "wait", clock.wait_left, advice, by_wall=clock.by_wall)
    if clock.wait_left > 0:
        advice = f"{wait_text(clock.wait_left, now)}. Then start {_numbered_title(state, step.id)}."
        end = clock_time_after(now.at, clock.wait_left, round_up=True)
        return ClockRow(step.id, step.title, since, "wait", clock.wait_left, advice, by_wall=clock.by_wall, until=end)
    left = clock.open_left
    if left is None or clock.window.high is None:
        return None
    if left < 0:
        advice = f"{since}: {clock_duration(clock.since)} ago ({window_text(clock)}). "
        advice += sentence(missed_window_advice(state, step, clock.window))
        return ClockRow(step.id, step.title, since, "missed", left, advice, by_wall=clock.by_wall)
    warn = min(clock.window.high * CLOSING, 300.0)
    closing = left <= max(warn, step.takes)
    advice = _deadline_advice(state, step, left, start_times, clock.window.until)
    phase_now: Literal["closing", "open"] = "closing" if closing else "open"
    end = clock_time_after(now.at, left)
    return ClockRow(step.id, step.title, since, phase_now, left, advice, by_wall=clock.by_wall, until=end)


def _deadline_advice(state: State, step: Step, left: float, start_times: dict[str, float], until: str) -> str:
    """The advice so that ``step`` is finished, or its entry ``until`` is made, within ``left`` seconds."""
    this_step = _numbered_title(state, step.id)
    if state.in_progress == step.id and until:
        return f"Enter {until} of {this_step} within {clock_duration(left)}."
    if state.in_progress == step.id:
        return f"Finish {this_step} within {clock_duration(left)}."
    first = _first_to_start(state, step, start_times)
    if first is not None:
        name, start_within = first
        purpose = "" if name == step.id else f", to finish {this_step} in time"
        return f"Start {_numbered_title(state, name)} within {clock_duration(start_within)}{purpose}."
    if not step.takes:
        return f"Finish {this_step} within {clock_duration(left)}."
    if left > step.takes:
        return f"Start {this_step} within {clock_duration(left - step.takes)}."
    return (
        f"{this_step[:1].upper()}{this_step[1:]} takes {clock_duration(step.takes)}. Only {clock_duration(left)} left."
    )


def _numbered_title(state: State, step_id: str) -> str:
    """``step 14 (Lower the head)``."""
    return f"step {state.plan.number(step_id)} ({state.plan.steps[step_id].title})"
