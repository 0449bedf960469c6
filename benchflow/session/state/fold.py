"""The fold of a session log: ``fold(state, line) -> state``, a pure function.

The session controller, the replay and the review all use it. A line of an unknown kind changes only the sequence
number and the time of the last event.
"""

from collections.abc import Callable, Iterable
from typing import assert_never

import msgspec
from msgspec.structs import replace

from benchflow.ordering.actions import MakeMove, ReworkStep, UndoOperation, read_rework_step
from benchflow.procedure.expand import expand, resolve, with_findings
from benchflow.procedure.model import Procedure
from benchflow.procedure.plan import Findings, Plan
from benchflow.session.log.line_format import Line
from benchflow.session.state import events as ev
from benchflow.session.state import fold_entries, fold_joints
from benchflow.session.state.clock import event_time, with_event
from benchflow.session.state.continued_job import OperationTakenOver
from benchflow.session.state.done_operations import reopened_by
from benchflow.session.state.filled_figures import fold_filled_in, fold_readings_judged_again
from benchflow.session.state.fold_takeover import fold_taken_over, writes_at_start
from benchflow.session.state.plan_changes import with_findings_made
from benchflow.session.state.state import ReworkProgress, State, VariableWrite
from benchflow.session.state.state_changes import (
    operation_undone,
    operation_voided,
    with_clocks_restarted,
    with_evidence,
    with_hold_closed,
    with_work,
    with_writes,
    without_writes,
)
from benchflow.session.state.state_times import first_values, with_state_times


def begin(line: Line, procedure: Procedure) -> State:
    """Return the state after the first event, ``opened``.

    Raises:
        msgspec.ValidationError: the line is not an ``opened`` event.
    """
    opened = msgspec.convert(line.data, ev.JobOpened)
    return begin_opened(line, opened, expand(procedure, opened.options))


def begin_opened(line: Line, opened: ev.JobOpened, plan: Plan) -> State:
    """Return the state after the first event, for a plan that is already made. Logs of one procedure share a plan."""
    start = {variable.name: opened.start.get(variable.name, variable.start) for variable in plan.procedure.state}
    writes: dict[str, tuple[VariableWrite, ...]]
    writes = {name: (VariableWrite(0, "", value),) for name, value in start.items()}
    if opened.continues is not None:
        plan = with_findings(plan, Findings({}, opened.continues.called))
        writes = writes_at_start(opened.continues, start, line.seq)
    return State(
        plan=plan,
        opened=opened,
        by=line.by,
        opened_at=line.at,
        seq=line.seq,
        last=(time := event_time(line)),
        spans=with_event((), None, time),
        intents=line.data.get("intent", 0),
        register=opened.register,
        people=opened.people,
        had_people=bool(opened.people),
        writes=writes,
        valuation=dict(start),
        value_times=first_values(plan, dict(start), time),
    )


def replay(lines: Iterable[Line], read: Callable[[str], Procedure]) -> State | None:
    """Return the state after all ``lines``, or ``None`` for no lines. ``read`` turns a text into a procedure."""
    state: State | None = None
    for line in lines:
        state = begin(line, read(line.data["procedure"])) if state is None else fold(state, line)
    return state


def fold(state: State, line: Line) -> State:
    """Return the state after the event of ``line``.

    Raises:
        msgspec.ValidationError: the data does not fit the kind of the event.
    """
    return fold_event(state, ev.event_of(line), line)


def fold_event(state: State, event: ev.AnyEvent | None, line: Line) -> State:
    """Return the state after ``event``, which is the event of ``line``, or ``None`` for an unknown kind."""
    time = event_time(line)
    spans = with_event(state.spans, state.last, time)
    state = replace(state, seq=line.seq, last=time, spans=spans, intents=line.data.get("intent", state.intents))
    if event is None:
        return state
    return _with_remark(with_state_times(state, _apply(state, event, line), event), event, line.seq)


def _with_remark(state: State, event: ev.AnyEvent, seq: int) -> State:
    """Return the state with the step of a remark, if the event is something that a person has written."""
    match event:
        case (
            ev.NoteAdded()
            | ev.DeviationSigned()
            | ev.EntryCorrected()
            | ev.FastenerFailed()
            | ev.ComplaintReported()
            | ev.FindingRecorded()
        ):
            return replace(state, remarks={**state.remarks, seq: getattr(event, "operation", None)})
        case _:
            return state


def _apply(state: State, event: ev.AnyEvent, line: Line) -> State:
    """Return the state after ``event``. The most frequent kinds come first."""
    match event:
        case ev.FastenerTicked():
            return fold_joints.fold_ticked(state, event, line)
        case ev.ReadingRecorded():
            return fold_entries.fold_recorded(state, event, line)
        case ev.OperationStarted():
            return _fold_started(state, event, line)
        case ev.OperationFinished():
            return _fold_finished(state, event, line)
        case ev.CheckTicked():
            return fold_entries.fold_checked(state, event, line)
        case ev.LotEntered():
            return fold_entries.fold_lot(state, event, line)
        case ev.PartChosen():
            return fold_entries.fold_chosen(state, event, line)
        case ev.FastenerDrawnDown():
            return fold_joints.fold_drawn_down(state, event, line)
        case ev.DrawDownTurnCleared():
            return fold_joints.fold_undrawn(state, event, line)
        case ev.PartSeated():
            return fold_joints.fold_seated(state, event, line)
        case ev.SeatingCleared():
            return fold_joints.fold_unseated(state, event, line)
        case ev.FigureGiven():
            return (
                fold_joints.fold_figure_given(state, event, line) if event.stage else fold_filled_in(state, event, line)
            )
        case ev.TicksJudgedAgain():
            return fold_joints.fold_judged_again(state, event)
        case ev.ReadingsJudgedAgain():
            return fold_readings_judged_again(state, event)
        case ev.FastenerUnticked():
            return fold_joints.fold_unticked(state, event, line)
        case ev.StageBegunAgain():
            return fold_joints.fold_stage_again(state, event, line)
        case ev.FastenerFailed():
            return fold_joints.fold_fastener_failed(state, event, line)
        case ev.FastenerFailureCleared():
            return fold_joints.fold_failure_cleared(state, event, line)
        case ev.FastenerRepaired():
            return fold_joints.fold_repaired(state, event, line)
        case ev.CheckUnticked():
            return fold_entries.fold_unchecked(state, event, line)
        case ev.HoldSigned():
            return fold_entries.fold_signed(state, event, line)
        case ev.DeviationSigned():
            return fold_entries.fold_deviated(state, event, line)
        case ev.EntryCorrected():
            return fold_entries.fold_corrected(state, event, line)
        case ev.EvidenceChanged():
            return with_evidence(state, event.operation, event.unknown)
        case ev.RemedyCarriedOut():
            return fold_entries.fold_remedied(state, event, line)
        case ev.MoveMade():
            return _fold_moved(state, event, line)
        case ev.OperationPaused():
            return replace(state, in_progress=None, started=None)
        case ev.ReworkStarted():
            return _fold_rework_started(state, event)
        case ev.OperationUndone():
            return _fold_undone(state, event, line)
        case ev.NoteAdded():
            return state
        case ev.ComplaintReported():
            return state
        case ev.FindingRecorded():
            return replace(state, causes={**_without_cause(state, event.replaces), line.seq: event})
        case ev.FindingWithdrawn():
            return replace(state, causes=_without_cause(state, event.event))
        case ev.PictureAttached():
            return replace(state, pictures={**state.pictures, line.seq: event})
        case ev.PictureWithdrawn():
            kept = {seq: picture for seq, picture in state.pictures.items() if seq != event.event}
            return replace(state, pictures=kept)
        case ev.InstrumentUsed():
            return replace(state, tools={**state.tools, event.need: event})
        case ev.WrenchAdapterChanged():
            return replace(state, wrench=event if event.extension is not None else None)
        case ev.LubricantChanged():
            return replace(state, lubricants={**state.lubricants, event.joint: event})
        case ev.StateSet():
            return with_writes(state, line.seq, "", {event.variable: event.value})
        case ev.JobClosed():
            return replace(state, closed=line.at)
        case ev.JobResumed():
            had_people = bool(event.people) or (state.had_people and event.register is not None)
            return replace(state, register=event.register, people=event.people, had_people=had_people, resumed=line.seq)
        case ev.RegisterChanged():
            return _fold_register_changed(state, event)
        case ev.PinRefused():
            return replace(state, pin_refused=state.last)
        case OperationTakenOver():
            return fold_taken_over(state, event, line)
        case ev.ValueCalculated():
            return fold_entries.fold_calculated(state, event)
        case ev.JobOpened() | ev.ClockWentBack():
            return state  # JobOpened is folded by `begin`; the other two follow from the other events
        case _:
            assert_never(event)


def _without_cause(state: State, seq: int | None) -> dict[int, ev.FindingRecorded]:
    return {number: event for number, event in state.causes.items() if number != seq}


def _fold_register_changed(state: State, event: ev.RegisterChanged) -> State:
    people = {person.name: person for person in state.people}
    if event.record is None:
        people.pop(event.person, None)
    else:
        people[event.person] = event.record
    had_people = state.had_people or bool(people)
    return replace(state, register=event.register, people=tuple(people.values()), had_people=had_people)


def _fold_started(state: State, event: ev.OperationStarted, line: Line) -> State:
    """An operation that is done is started again if a correction has reopened it. Its entries and states are kept."""
    work = state.work(event.operation)
    state = with_work(state, event.operation, replace(work, people=work.people | {line.by}))
    if event.operation in state.done:
        done = {name: time for name, time in state.done.items() if name != event.operation}
        state = with_hold_closed(replace(state, done=done), event.operation)
    return replace(state, in_progress=event.operation, started=event_time(line))


def _fold_finished(state: State, event: ev.OperationFinished, line: Line) -> State:
    step, work = state.plan.steps.get(event.operation), state.work(event.operation)
    if work.finished:
        state = without_writes(state, event.operation)
    else:
        state = with_work(state, event.operation, replace(work, finished=line.seq))
    if step is not None and (step.sets or event.unknown):
        settings = {**step.sets, **dict.fromkeys(event.unknown)}
        state = with_writes(state, line.seq, event.operation, settings)
    done = {**state.done}
    done.pop(event.operation, None)  # `done` is in the order of finishing
    done[event.operation] = state.last
    state = replace(state, in_progress=None, started=None, done=done)
    return with_findings_made(state, event.findings)


def _fold_moved(state: State, event: ev.MoveMade, line: Line) -> State:
    move = state.plan.procedure.moves_by_id.get(event.move)
    if move is not None:
        state = with_writes(state, line.seq, "", move.sets)
        state = with_clocks_restarted(state, [one for ref in move.restarts for one in resolve(state.plan, ref.name)])
    return _rework_step_made(state, MakeMove(event.move))


def _fold_rework_started(state: State, event: ev.ReworkStarted) -> State:
    for step in reopened_by(event):
        state = operation_voided(state, step)
    if not event.steps:
        return replace(state, rework=None)
    steps = tuple(read_rework_step(record) for record in event.steps)
    progress = ReworkProgress(event.operation, event.reason, steps, event.discard, left=len(steps))
    return replace(state, rework=progress)


def _fold_undone(state: State, event: ev.OperationUndone, line: Line) -> State:
    return _rework_step_made(operation_undone(state, event.operation, line.seq), UndoOperation(event.operation))


def _rework_step_made(state: State, step: ReworkStep) -> State:
    """Return the state with ``step`` removed from the rework in progress, if it is the next step of that rework."""
    progress = state.rework
    if progress is None or progress.next != step:
        return state
    return replace(state, rework=replace(progress, left=progress.left - 1) if progress.left > 1 else None)
