"""``fold(state, line) -> state``: pure, total, small. Resume, replay and review all go through it.

A kind of event that this version does not know changes nothing but the sequence number, so that a log
of a newer version can still be read as far as it is understood.
"""

from collections.abc import Callable, Iterable
from typing import Any, cast

import msgspec
from msgspec.structs import replace

from benchflow.ordering.actions import MakeMove, ReworkStep, UndoOperation, read_rework_step
from benchflow.ordering.configuration import Valuation
from benchflow.procedure.expand import expand
from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import Procedure
from benchflow.session.log.line_format import Line
from benchflow.session.state import events as ev
from benchflow.session.state.state import (
    Attempt,
    Deviation,
    Remedy,
    ReworkProgress,
    Signature,
    State,
    Tick,
    Turn,
    When,
    Work,
    Write,
)

KINDS: dict[str, type[ev.Event]] = {cast(str, kind.__struct_config__.tag): kind for kind in ev.Happening.__args__}


def happening(line: Line) -> ev.Event | None:
    """The typed event of a line; ``None`` for a kind of a newer version.

    Raises:
        msgspec.ValidationError: the data is not what its kind says.
    """
    kind = KINDS.get(line.kind)
    return None if kind is None else msgspec.convert(line.data, kind)


def when(line: Line) -> When:
    clock = line.data.get("clock")
    if clock is None:
        return When(line.seq, line.at)
    return When(line.seq, line.at, clock["run"], clock["ms"])


def begin(line: Line, procedure: Procedure) -> State:
    """The state after the first event, ``opened``."""
    opened = msgspec.convert(line.data, ev.Opened)
    start = {variable.name: opened.start.get(variable.name, variable.start) for variable in procedure.state}
    return State(
        plan=expand(procedure, opened.options),
        opened=opened,
        by=line.by,
        opened_at=line.at,
        seq=line.seq,
        last=when(line),
        writes={name: (Write(0, "", value),) for name, value in start.items()},
        valuation=dict(start),
    )


def replay(lines: Iterable[Line], read: Callable[[str], Procedure]) -> State | None:
    """The state after all ``lines``; ``None`` when there are none. ``read`` makes a procedure of its text."""
    state: State | None = None
    for line in lines:
        state = begin(line, read(line.data["procedure"])) if state is None else fold(state, line)
    return state


def fold(state: State, line: Line) -> State:
    """The state after one more event."""
    event = happening(line)
    moment = when(line)
    base = replace(state, seq=line.seq, last=moment)
    if event is None:
        return base
    apply = APPLY.get(type(event))
    return base if apply is None else apply(base, event, line)


def _put_work(state: State, step: str, work: Work, **changes: Any) -> State:
    return replace(state, works={**state.works, step: work}, **changes)


def _entered(state: State, step: str, by: str, **changes: Any) -> State:
    """An entry into an operation: whoever makes it has worked on it, and a signature given before it no longer covers
    what stands there."""
    work = state.work(step)
    if work.signed is not None:
        changes |= {"signed": None, "void": work.signed}
    if by not in work.people:
        changes["people"] = work.people | {by}
    return replace(state, works={**state.works, step: replace(work, **changes)})


def _lapse(work: Work, *names: str) -> dict[str, Any]:
    """A deviation covers what stood when it was signed: it lapses for values of which a reading is replaced."""
    gone = {name: work.deviations[name] for name in names if name in work.deviations}
    if not gone:
        return {}
    kept = {name: each for name, each in work.deviations.items() if name not in gone}
    return {"deviations": kept, "lapsed": {**work.lapsed, **gone}}


def _follows(state: State, step: str, name: str) -> tuple[str, ...]:
    """The values of an operation that are worked out from ``name``."""
    plain = ValueRef.parse(name).name
    found = state.plan.steps.get(step)
    return () if found is None else tuple(one.name for one in found.operation.work_out if plain in one.formula)


def written(state: State, line_seq: int, step: str, settings: dict[str, str | None]) -> State:
    """The state with variables written over by ``step`` (empty for a move or a finding)."""
    writes = dict(state.writes)
    for name, value in settings.items():
        past = writes.get(name, ())
        # Moves are never taken back: of two on top of each other only the later can matter.
        if not step and past and not past[-1].step and past[-1].seq:
            past = past[:-1]
        writes[name] = (*past, Write(line_seq, step, value))
    return replace(state, writes=writes, valuation={**state.valuation, **settings})


def without_writes(state: State, step: str) -> State:
    """The state with every write of ``step`` withdrawn: what was written before stands again."""
    writes = {name: tuple(w for w in past if w.step != step) for name, past in state.writes.items()}
    valuation: Valuation = {name: past[-1].value for name, past in writes.items() if past}
    return replace(state, writes=writes, valuation=valuation)


def undone(state: State, step: str, line_seq: int) -> State:
    """The state with ``step`` to be done again from the start."""
    state = without_writes(state, step)
    plan_step = state.plan.steps.get(step)
    if plan_step is not None and plan_step.undo_sets:
        state = written(state, line_seq, "", {**plan_step.undo_sets})
    done = {name: moment for name, moment in state.done.items() if name != step}
    if state.in_progress == step:
        state = replace(state, in_progress=None, started=None)
    return _put_work(state, step, Work(redone=state.work(step).redone + 1), done=done)


def _started(state: State, event: ev.Started, line: Line) -> State:
    work = state.work(event.operation)
    return _put_work(
        state,
        event.operation,
        replace(work, people=work.people | {line.by}),
        in_progress=event.operation,
        started=when(line),
    )


def _paused(state: State, event: ev.Paused, line: Line) -> State:
    return replace(state, in_progress=None, started=None)


def _finished(state: State, event: ev.Finished, line: Line) -> State:
    settings: dict[str, str | None] = {**state.plan.steps[event.operation].sets}
    state = written(state, line.seq, event.operation, settings) if settings else state
    done = {name: moment for name, moment in state.done.items() if name != event.operation}
    done[event.operation] = when(line)
    return replace(state, in_progress=None, started=None, done=done)


def _moved(state: State, event: ev.Moved, line: Line) -> State:
    settings: dict[str, str | None] = {}
    for move in state.plan.procedure.moves:
        if move.id == event.move:
            settings = {**move.sets}
    return _walked(written(state, line.seq, "", settings), MakeMove(event.move))


def _recorded(state: State, event: ev.Recorded, line: Line) -> State:
    attempt = Attempt(line.seq, event.quantity, event.verdict, event.side, event.used, event.uncertainty)
    state = _with_attempt(state, event.operation, event.name, event.reading, attempt, line.by)
    work = state.work(event.operation)
    used = work.used | {event.name} if event.used else work.used - {event.name}
    return state if used == work.used else _put_work(state, event.operation, replace(work, used=used))


def _with_attempt(state: State, step: str, name: str, slot: str, attempt: Attempt, by: str) -> State:
    work = state.work(step)
    of_name = work.readings.get(name, {})
    before = of_name.get(slot, ())
    lapsed = _lapse(work, name, *_follows(state, step, name)) if before and work.deviations else {}
    readings = {**work.readings, name: {**of_name, slot: (*before, attempt)}}
    state = _entered(state, step, by, readings=readings, **lapsed)
    return replace(state, recorded={**state.recorded, attempt.seq: (step, name, slot)})


def _corrected(state: State, event: ev.Corrected, line: Line) -> State:
    if event.event not in state.recorded:
        return state
    step, name, slot = state.recorded[event.event]
    if slot == "tick":
        right = {"quantity": event.quantity, "verdict": event.verdict, "stretch": event.stretch}
        ticks = (replace(tick, **right) if tick.seq == event.event else tick for tick in state.work(step).ticks)
        return _entered(state, step, line.by, ticks=tuple(ticks), **_lapse(state.work(step), name))
    if event.quantity is not None:
        old = next((a for a in state.work(step).readings.get(name, {}).get(slot, ()) if a.seq == event.event), None)
        used = old is not None and old.used
        attempt = Attempt(
            line.seq, event.quantity, event.verdict, event.side, used, event.uncertainty, corrects=event.event
        )
        return _with_attempt(state, step, name, slot, attempt, line.by)
    return state if event.lot is None else _lot(state, ev.Lot(step, name, event.lot), line)


def _remedied(state: State, event: ev.Remedied, line: Line) -> State:
    work = state.work(event.operation)
    before = work.remedies.get(event.name)
    count = before.done + 1 if before is not None and before.side == event.side else 1
    readings = {name: of_name for name, of_name in work.readings.items() if name != event.name}
    remedies = {**work.remedies, event.name: Remedy(event.side, count, line.seq)}
    lapsed = _lapse(work, event.name)
    state = _entered(state, event.operation, line.by, readings=readings, remedies=remedies, **lapsed)
    if not event.redo:
        return state
    for step in event.redo:
        if step in state.done:
            state = undone(state, step, line.seq)
    return replace(state, in_progress=None, started=None)


def _ticked(state: State, event: ev.Ticked, line: Line) -> State:
    tick = Tick(line.seq, event.stage, event.fastener, event.quantity, event.verdict, event.stretch)
    work = state.work(event.operation)
    lapsed: dict[str, Any] = {}
    if work.deviations and any((each.stage, each.fastener) == (tick.stage, tick.fastener) for each in work.ticks):
        lapsed = _lapse(work, event.joint)
    state = _entered(state, event.operation, line.by, ticks=(*work.ticks, tick), **lapsed)
    if event.quantity is None:
        return state
    return replace(state, recorded={**state.recorded, line.seq: (event.operation, event.joint, "tick")})


def _unticked(state: State, event: ev.Unticked, line: Line) -> State:
    ticks = state.work(event.operation).ticks
    taken = [n for n, tick in enumerate(ticks) if (tick.stage, tick.fastener) == (event.stage, event.fastener)]
    return (
        _entered(state, event.operation, line.by, ticks=(*ticks[: taken[-1]], *ticks[taken[-1] + 1 :]))
        if taken
        else state
    )


def _drawn_down(state: State, event: ev.DrawnDown, line: Line) -> State:
    turns = (*state.work(event.operation).turns, Turn(event.round, event.fastener))
    return _entered(state, event.operation, line.by, turns=turns)


def _undrawn(state: State, event: ev.Undrawn, line: Line) -> State:
    return _entered(state, event.operation, line.by, turns=state.work(event.operation).turns[:-1])


def _seated(state: State, event: ev.Seated, line: Line) -> State:
    return _entered(state, event.operation, line.by, seated=True)


def _unseated(state: State, event: ev.Unseated, line: Line) -> State:
    return _entered(state, event.operation, line.by, seated=False)


def _checked(state: State, event: ev.Checked, line: Line) -> State:
    return _entered(state, event.operation, line.by, checks=state.work(event.operation).checks | {event.check})


def _unchecked(state: State, event: ev.Unchecked, line: Line) -> State:
    return _entered(state, event.operation, line.by, checks=state.work(event.operation).checks - {event.check})


def _chosen(state: State, event: ev.Chosen, line: Line) -> State:
    work = state.work(event.operation)
    whole = ValueRef.parse(event.name).name  # a deviation about a match speaks of all its places
    lapsed = _lapse(work, event.name, whole) if event.name in work.chosen and work.deviations else {}
    return _entered(state, event.operation, line.by, chosen={**work.chosen, event.name: event.take}, **lapsed)


def _lot(state: State, event: ev.Lot, line: Line) -> State:
    lots = {**state.work(event.operation).lots, event.consumable: event.lot}
    state = _entered(state, event.operation, line.by, lots=lots)
    return replace(state, recorded={**state.recorded, line.seq: (event.operation, event.consumable, "lot")})


def _signed(state: State, event: ev.Signed, line: Line) -> State:
    signature = Signature(line.by, line.at, event.self_signed)
    return _put_work(state, event.operation, replace(state.work(event.operation), signed=signature, void=None))


def _deviated(state: State, event: ev.Deviated, line: Line) -> State:
    work = state.work(event.operation)
    deviations = {**work.deviations, event.about: Deviation(line.by, event.reason)}
    lapsed = {about: each for about, each in work.lapsed.items() if about != event.about}
    return _put_work(state, event.operation, replace(work, deviations=deviations, lapsed=lapsed))


def _rework_started(state: State, event: ev.ReworkStarted, line: Line) -> State:
    steps = tuple(read_rework_step(record) for record in event.steps)
    plan = ReworkProgress(event.operation, event.reason, steps, event.discard, len(event.steps))
    return replace(state, rework=plan if event.steps else None)


def _undone(state: State, event: ev.Undone, line: Line) -> State:
    return _walked(undone(state, event.operation, line.seq), UndoOperation(event.operation))


def _walked(state: State, step: ReworkStep) -> State:
    plan = state.rework
    if plan is None or plan.next != step:
        return state
    return replace(state, rework=replace(plan, left=plan.left - 1) if plan.left > 1 else None)


def _noted(state: State, event: ev.Noted, line: Line) -> State:
    return replace(state, notes=state.notes + 1)


def _instrument_used(state: State, event: ev.InstrumentUsed, line: Line) -> State:
    return replace(state, tools={**state.tools, event.need: event})


def _wrench_fitted(state: State, event: ev.WrenchFitted, line: Line) -> State:
    return replace(state, wrench=event if event.extension is not None else None)


def _lubricated(state: State, event: ev.Lubricated, line: Line) -> State:
    return replace(state, lubricants={**state.lubricants, event.joint: event})


def _state_set(state: State, event: ev.StateSet, line: Line) -> State:
    return written(state, line.seq, "", {event.variable: event.value})


def _closed(state: State, event: ev.Closed, line: Line) -> State:
    return replace(state, closed=line.at)


APPLY: dict[type[ev.Event], Callable[[State, Any, Line], State]] = {
    ev.Started: _started,
    ev.Paused: _paused,
    ev.Finished: _finished,
    ev.Moved: _moved,
    ev.Recorded: _recorded,
    ev.Corrected: _corrected,
    ev.Remedied: _remedied,
    ev.Ticked: _ticked,
    ev.Unticked: _unticked,
    ev.DrawnDown: _drawn_down,
    ev.Undrawn: _undrawn,
    ev.Seated: _seated,
    ev.Unseated: _unseated,
    ev.Checked: _checked,
    ev.Unchecked: _unchecked,
    ev.Chosen: _chosen,
    ev.Lot: _lot,
    ev.Signed: _signed,
    ev.Deviated: _deviated,
    ev.ReworkStarted: _rework_started,
    ev.Undone: _undone,
    ev.Noted: _noted,
    ev.InstrumentUsed: _instrument_used,
    ev.WrenchFitted: _wrench_fitted,
    ev.Lubricated: _lubricated,
    ev.StateSet: _state_set,
    ev.Closed: _closed,
}
"""One small function a kind. ``worked`` and ``clock-went-back`` change nothing: both follow from the rest."""
