"""The advice after a break within a stage of tightening: where to continue."""

from benchflow.procedure.plan import Step
from benchflow.session.rules.joint_progress import JointProgress
from benchflow.session.state.clock import EventTime, Now, elapsed
from benchflow.session.state.state import State

BREAK_SECONDS = 10 * 60.0
"""Seconds after a tick from which the work counts as interrupted. Common practice, no source."""


def resume_text(state: State, step: Step, progress: JointProgress, now: Now, *, started_again: bool) -> str:
    """Where to continue after a break within a stage: ``last: no. 6. Check no. 6, then no. 7.``; "" without a break.

    A break is a new start of the program, a pause of the operation, or more than :data:`BREAK_SECONDS` since the last
    tick. ``started_again`` is true if the new start is not logged yet.
    """
    last = progress.last
    if last is None or last.stage != progress.stage_number:
        return ""
    if progress.next is None or progress.out or progress.failed:
        return ""
    paused = step.id in state.paused or (state.started is not None and state.started.seq > last.seq)
    if not (started_again or paused or state.resumed > last.seq or _long_ago(state, last.at, now)):
        return ""
    return f"last: no. {last.fastener}. Check no. {last.fastener}, then no. {progress.next}."


def _long_ago(state: State, at: EventTime | None, now: Now) -> bool:
    return at is not None and elapsed(state.spans, state.last, at, now).high > BREAK_SECONDS
