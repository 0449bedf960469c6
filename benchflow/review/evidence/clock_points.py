"""Weak points of a computer clock that was set back outside time windows: within a joint, or at another time."""

from collections.abc import Iterator
from typing import Final

from benchflow.base.durations import rounded_duration
from benchflow.procedure.plan import Step
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.log.clock_remarks import window_runs
from benchflow.review.log.loaded_log import LoadedLog

LONG_PAUSE_SECONDS: Final = 40 * 60.0
"""The pause within a joint that is long (the kind `long-pause`). The time that a clock hides is a part of it."""


SLIGHT_SECONDS: Final = 600.0
"""A step back up to this is what a time server corrects, and no longer than a short pause. (Own rule.)"""


def joint_clock_points(log: LoadedLog, step: Step) -> Iterator[WeakPoint]:
    """Each time that the computer clock was set back between two ticks of a joint. The pause there can be longer."""
    if step.operation.tighten is None or not log.clock_steps:
        return
    ticks = [tick.seq for tick in log.state.work(step.id).ticks]
    for each in log.clock_steps:
        if ticks and min(ticks) < each.seq < max(ticks) and not each.within_boot:
            words = f"the computer clock was set back {rounded_duration(each.seconds)} between two fasteners"
            words += ". The pause there can be longer than is shown"
            size = max(0.0, each.seconds - SLIGHT_SECONDS) / LONG_PAUSE_SECONDS
            yield WeakPoint("clock-back", words, each.seq, step.operation.tighten.joint, size)


def job_clock_points(log: LoadedLog) -> Iterator[WeakPoint]:
    """Each time that the computer clock was set back while no time window ran. It is only mentioned."""
    if not log.clock_steps:
        return
    runs = [run for step in log.plan.steps.values() for run in window_runs(log.state, step)]
    for each in log.clock_steps:
        if not any(run.runs_at(each.seq) for run in runs):
            words = f"the computer clock was set back {rounded_duration(each.seconds)}; no time window ran then"
            yield WeakPoint("clock-back", words, each.seq, "clock", 0.0)
