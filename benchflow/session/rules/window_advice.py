"""Time windows in words: why one is closed or not open yet, which clock says so, and what to do."""

from benchflow.base.durations import clock_duration
from benchflow.ordering.wording import in_a_sentence, variable_title, variable_value_text
from benchflow.procedure.expand import resolve
from benchflow.procedure.plan import Step, TimeWindow
from benchflow.session.log.timestamps import clock_time_after
from benchflow.session.refusal import Reason
from benchflow.session.rules.deviation_subjects import window_subject
from benchflow.session.rules.rework_plans import undo_is_written
from benchflow.session.rules.running_clocks import RunningClock, since_text
from benchflow.session.rules.waivers import deviation_advice, window_deviations
from benchflow.session.state.clock import BY_WALL_CLOCK, NOT_KNOWN, TOLERANCE, Now
from benchflow.session.state.state import State


def too_late_reason(state: State, step: Step, clock: RunningClock) -> Reason:
    """The reason that a window has closed, or counts as closed because its time is not known."""
    window = clock.window
    if clock.known:
        over = shown_duration(clock.since - (window.high or 0.0))
        late = f"{over} too late after {since_text(state, window)} ({window_text(clock)}){_set_clock_text(clock)}"
        advice = missed_window_advice(state, step, window)
    else:
        late = f"{not_known_text(state, clock)}. So the window ({window.text}) counts as closed"
        advice = not_known_advice(state, step, window)
    for before in window_deviations(state, step, window):
        late += f". The deviation signed by {before.by} was for an earlier time"
    return Reason("too-late", f"{late}. {advice}", operation=window.operation, rework=_to_redo(state, clock))


def too_early_reason(state: State, step: Step, clock: RunningClock, now: Now) -> Reason:
    """The reason that a window is not open yet, or counts as not open because its time is not known."""
    window = clock.window
    if clock.known and clock.state_missing:
        state_text = _state_text(state, window)
        early = f"Too early after {since_text(state, window)} ({window_text(clock)})"
        early += f": the time counts only while {state_text}"
        sign = deviation_advice(state, step, window_subject(window.operation))
        advice = f"Make it so, then wait {shown_duration(clock.wait_left)}{f', or {sign}' if sign else ''}"
    elif clock.known:
        early = f"Too early after {since_text(state, window)} ({window_text(clock)}){_set_clock_text(clock)}"
        sign = deviation_advice(state, step, window_subject(window.operation))
        advice = f"{wait_text(clock.wait_left, now)}{f', or {sign}' if sign else ''}"
    else:
        early = f"{not_known_text(state, clock)}. So the wait ({window.text}) counts as not over"
        advice = not_known_advice(state, step, window)
    rework = None if clock.known else _to_redo(state, clock)
    return Reason("too-early", f"{early}. {advice}", operation=window.operation, rework=rework)


def _to_redo(state: State, clock: RunningClock) -> str | None:
    """The operation that the advice about a window says to redo; ``None`` if it says something else."""
    window = clock.window
    if (clock.known and restart_advice(state, window)) or not undo_is_written(state, window.operation):
        return None
    return window.operation


def _redo_text(state: State, step: Step, earlier: Step) -> str:
    """How to redo ``earlier``, which a window of ``step`` counts from: ``redo step 33``."""
    redo = f"redo step {state.plan.number(earlier.id)}"
    if state.in_progress != step.id:
        return redo
    return f"{'rework' if step.during else 'pause'} step {state.plan.number(step.id)} and {redo}"


def _state_text(state: State, window: TimeWindow) -> str:
    """The state of `while` inside a sentence: ``vacuum is on``."""
    procedure = state.plan.procedure
    shown = (
        f"{in_a_sentence(variable_title(procedure, name))} is "
        f"{' or '.join(variable_value_text(procedure, name, value) for value in values)}"
        for name, values in window.while_.items()
    )
    return " and ".join(shown)


def restart_advice(state: State, window: TimeWindow) -> str:
    """What starts the clock of a window again, as the end of a sentence; empty if nothing does."""
    steps = [name for name in state.plan.restarters.get(window.operation, ()) if name not in state.done]
    ways = [f"do step {state.plan.number(name)}" for name in steps]
    ways += [
        f"make the move “{move.title}”"
        for move in state.plan.procedure.moves
        if any(window.operation in resolve(state.plan, ref.name) for ref in move.restarts)
    ]
    return f"{' or '.join(ways)}, which starts its clock again" if ways else ""


def shown_duration(seconds: float) -> str:
    """A running time inside a sentence. At a strict edge it can be shorter than is shown."""
    return "less than 1 s" if seconds < 1 else clock_duration(seconds)


def wait_text(seconds: float, now: Now) -> str:
    """What to do until a wait of ``seconds`` is over: ``Wait 2 h 10 min more, until Sun 16:04``."""
    end = clock_time_after(now.at, seconds, round_up=True)
    return f"Wait {shown_duration(seconds)} more{f', until {end}' if end else ''}"


def _set_clock_text(clock: RunningClock) -> str:
    """A sentence on a step of the computer clock that makes the two ends of a window differ; empty without one."""
    low, high = clock.elapsed.low, clock.elapsed.high
    if high - low <= TOLERANCE:
        return ""
    return (
        f". The computer clock was set meanwhile, or did not run right: {clock_duration(low)} counts for a wait, "
        f"{clock_duration(high)} for a deadline"
    )


def window_text(clock: RunningClock) -> str:
    """The limits of a window, and which clock counts if only the wall clock shows the time."""
    return f"{clock.window.text}; {BY_WALL_CLOCK}" if clock.by_wall else clock.window.text


def not_known_text(state: State, clock: RunningClock) -> str:
    """Why the time of a window is not known, with what both clocks show."""
    if state.done[clock.window.operation].boot == NOT_KNOWN:
        since = since_text(state, clock.window)
        return f"The time since {since} is not known: it was taken over, and no trusted line of the earlier log has it"
    wall, proven = clock.elapsed.wall, clock_duration(clock.elapsed.proven)
    shown = clock_duration(wall) if wall >= 0 else f"{clock_duration(wall)} less than at its start"
    running = f" The running time of the computer proves at least {proven}." if clock.elapsed.proven >= 1 else ""
    return (
        f"The time since {since_text(state, clock.window)} is not known. The computer clock shows {shown}.{running} "
        "The computer clock was set back, or was wrong before"
    )


def not_known_advice(state: State, step: Step, window: TimeWindow) -> str:
    """What to do about a window whose time is not known."""
    earlier = state.plan.steps[window.operation]
    ways = ["Set the computer clock right"]
    if undo_is_written(state, earlier.id):
        ways.append(_redo_text(state, step, earlier))
    sign = deviation_advice(state, step, window_subject(earlier.id))
    ways += [sign] if sign else []
    return ways[0] if len(ways) == 1 else f"{', '.join(ways[:-1])}, or {ways[-1]}"


def missed_window_advice(state: State, step: Step, window: TimeWindow) -> str:
    """What to do about a window that has closed: do the earlier operation again, or have a deviation signed."""
    earlier = state.plan.steps[window.operation]
    ways = [restart_advice(state, window), deviation_advice(state, step, window_subject(earlier.id))]
    if not ways[0] and undo_is_written(state, earlier.id):
        ways[0] = _redo_text(state, step, earlier)
    advice = ", or ".join(filter(None, ways))
    if advice:
        return f"{advice[:1].upper()}{advice[1:]}"
    return f"Nobody can waive it, and the procedure does not say how to undo step {state.plan.number(earlier.id)}"
