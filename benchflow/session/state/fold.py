"""The state of a session as a pure fold over its log: ``fold(state, line) -> state``.

Resuming, the replay and the review all use this one interpretation. A line whose kind this version does not know
changes only the sequence number and the time of the last event.
"""

from collections.abc import Callable, Iterable
from typing import assert_never

import msgspec
from msgspec.structs import replace

from benchflow.ordering.actions import MakeMove, ReworkStep, UndoOperation, read_rework_step
from benchflow.procedure.expand import expand
from benchflow.procedure.model import Procedure
from benchflow.procedure.plan import Plan
from benchflow.session.log.line_format import Line
from benchflow.session.state import entry_events as entry
from benchflow.session.state import events as ev
from benchflow.session.state.clock import event_time
from benchflow.session.state.state import ReworkProgress, State, Write
from benchflow.session.state.state_changes import operation_undone, with_work, with_writes


def begin(line: Line, procedure: Procedure) -> State:
    """The state after the first event, ``opened``.

    Raises:
        msgspec.ValidationError: the line is not an ``opened`` event.
    """
    opened = msgspec.convert(line.data, ev.Opened)
    return begin_opened(line, opened, expand(procedure, opened.options))


def begin_opened(line: Line, opened: ev.Opened, plan: Plan) -> State:
    """The state after the first event, where event and plan are at hand: logs of one procedure share a plan."""
    start = {variable.name: opened.start.get(variable.name, variable.start) for variable in plan.procedure.state}
    return State(
        plan=plan,
        opened=opened,
        by=line.by,
        opened_at=line.at,
        seq=line.seq,
        last=event_time(line),
        writes={name: (Write(0, "", value),) for name, value in start.items()},
        valuation=dict(start),
    )


def replay(lines: Iterable[Line], read: Callable[[str], Procedure]) -> State | None:
    """The state after all ``lines``; ``None`` where there are none. ``read`` turns a text into a procedure."""
    state: State | None = None
    for line in lines:
        state = begin(line, read(line.data["procedure"])) if state is None else fold(state, line)
    return state


def fold(state: State, line: Line) -> State:
    """The state after one more event.

    Raises:
        msgspec.ValidationError: the data is not what the kind of the event requires.
    """
    return fold_event(state, ev.event_of(line), line)


def fold_event(state: State, event: ev.AnyEvent | None, line: Line) -> State:
    """As :func:`fold`, for the event of ``line``; ``None`` for a kind that this version does not know."""
    state = replace(state, seq=line.seq, last=event_time(line))
    return state if event is None else _apply(state, event, line)


def _apply(state: State, event: ev.AnyEvent, line: Line) -> State:
    """The state after ``event``; a kind without a case here is a type error. The most frequent kinds come first."""
    match event:
        case ev.Ticked():
            return entry.ticked(state, event, line)
        case ev.Recorded():
            return entry.recorded(state, event, line)
        case ev.Started():
            return _started(state, event, line)
        case ev.Finished():
            return _finished(state, event, line)
        case ev.Checked():
            return entry.checked(state, event, line)
        case ev.Lot():
            return entry.lot(state, event, line)
        case ev.Chosen():
            return entry.chosen(state, event, line)
        case ev.DrawnDown():
            return entry.drawn_down(state, event, line)
        case ev.Undrawn():
            return entry.undrawn(state, event, line)
        case ev.Seated():
            return entry.seated(state, event, line)
        case ev.Unseated():
            return entry.unseated(state, event, line)
        case ev.Unticked():
            return entry.unticked(state, event, line)
        case ev.Unchecked():
            return entry.unchecked(state, event, line)
        case ev.Signed():
            return entry.signed(state, event, line)
        case ev.Deviated():
            return entry.deviated(state, event, line)
        case ev.Corrected():
            return entry.corrected(state, event, line)
        case ev.Remedied():
            return entry.remedied(state, event, line)
        case ev.Moved():
            return _moved(state, event, line)
        case ev.Paused():
            return replace(state, in_progress=None, started=None)
        case ev.ReworkStarted():
            return _rework_started(state, event)
        case ev.Undone():
            return _undone(state, event, line)
        case ev.Noted():
            return replace(state, notes=state.notes + 1)
        case ev.InstrumentUsed():
            return replace(state, tools={**state.tools, event.need: event})
        case ev.WrenchFitted():
            return replace(state, wrench=event if event.extension is not None else None)
        case ev.Lubricated():
            return replace(state, lubricants={**state.lubricants, event.joint: event})
        case ev.StateSet():
            return with_writes(state, line.seq, "", {event.variable: event.value})
        case ev.Closed():
            return replace(state, closed=line.at)
        case ev.Opened() | ev.Calculated() | ev.ClockWentBack():
            return state  # opened is always the first event (begin); the other two follow from the rest of the log
        case _:
            assert_never(event)


def _started(state: State, event: ev.Started, line: Line) -> State:
    work = state.work(event.operation)
    state = with_work(state, event.operation, replace(work, people=work.people | {line.by}))
    return replace(state, in_progress=event.operation, started=event_time(line))


def _finished(state: State, event: ev.Finished, line: Line) -> State:
    step = state.plan.steps.get(event.operation)
    if step is not None and step.sets:
        state = with_writes(state, line.seq, event.operation, step.sets)
    done = {**state.done}
    done.pop(event.operation, None)  # the order is that of finishing
    done[event.operation] = state.last
    return replace(state, in_progress=None, started=None, done=done)


def _moved(state: State, event: ev.Moved, line: Line) -> State:
    move = state.plan.procedure.moves_by_id.get(event.move)
    if move is not None:
        state = with_writes(state, line.seq, "", move.sets)
    return _rework_step_made(state, MakeMove(event.move))


def _rework_started(state: State, event: ev.ReworkStarted) -> State:
    if not event.steps:
        return replace(state, rework=None)
    steps = tuple(read_rework_step(record) for record in event.steps)
    progress = ReworkProgress(event.operation, event.reason, steps, event.discard, left=len(steps))
    return replace(state, rework=progress)


def _undone(state: State, event: ev.Undone, line: Line) -> State:
    return _rework_step_made(operation_undone(state, event.operation, line.seq), UndoOperation(event.operation))


def _rework_step_made(state: State, step: ReworkStep) -> State:
    """The state with ``step`` counted, where it is the next step of the rework in progress."""
    progress = state.rework
    if progress is None or progress.next != step:
        return state
    return replace(state, rework=replace(progress, left=progress.left - 1) if progress.left > 1 else None)
