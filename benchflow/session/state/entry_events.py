"""How each event that enters something for an operation changes the state."""

from msgspec.structs import replace

from benchflow.procedure.identity import ValueRef
from benchflow.session.log.line_format import Line
from benchflow.session.state import events as ev
from benchflow.session.state.done_operations import reopened_by
from benchflow.session.state.state import Attempt, Deviation, EntryRef, RemedyCount, Signature, State, Tick, Turn
from benchflow.session.state.state_changes import (
    calculated_from,
    lapsed_deviations,
    operation_undone,
    with_entry,
    with_work,
)


def recorded(state: State, event: ev.Recorded, line: Line) -> State:
    attempt = Attempt(line.seq, event.quantity, event.verdict, event.used, event.uncertainty)
    state = _with_attempt(state, EntryRef(event.operation, event.name, "reading", event.reading), attempt, line.by)
    work = state.work(event.operation)
    used = work.used | {event.name} if event.used else work.used - {event.name}
    return state if used == work.used else with_work(state, event.operation, replace(work, used=used))


def _with_attempt(state: State, entry: EntryRef, attempt: Attempt, by: str) -> State:
    step, name = entry.operation, entry.name
    work = state.work(step)
    of_name = work.readings.get(name, {})
    before = of_name.get(entry.reading, ())
    lapsed = lapsed_deviations(work, name, *calculated_from(state, step, name)) if before and work.deviations else {}
    readings = {**work.readings, name: {**of_name, entry.reading: (*before, attempt)}}
    state = with_entry(state, step, by, readings=readings, **lapsed)
    return _with_correctable(state, attempt.seq, entry)


def _with_correctable(state: State, seq: int, entry: EntryRef) -> State:
    return replace(state, correctable={**state.correctable, seq: entry})


def corrected(state: State, event: ev.Corrected, line: Line) -> State:
    entry = state.correctable.get(event.event)
    if entry is None:
        return state
    match entry.kind:
        case "tick":
            return _tick_corrected(state, entry, event, line)
        case "reading":
            quantity = event.quantity
            return state if quantity is None else _reading_corrected(state, entry, event, quantity, line)
        case "lot":
            return state if event.lot is None else lot(state, ev.Lot(entry.operation, entry.name, event.lot), line)


def _tick_corrected(state: State, entry: EntryRef, event: ev.Corrected, line: Line) -> State:
    work = state.work(entry.operation)
    ticks = tuple(
        replace(tick, quantity=event.quantity, verdict=event.verdict, stretch=event.stretch)
        if tick.seq == event.event
        else tick
        for tick in work.ticks
    )
    return with_entry(state, entry.operation, line.by, ticks=ticks, **lapsed_deviations(work, entry.name))


def _reading_corrected(
    state: State, entry: EntryRef, event: ev.Corrected, quantity: ev.StoredQuantity, line: Line
) -> State:
    attempts = state.work(entry.operation).readings.get(entry.name, {}).get(entry.reading, ())
    wrong = next((attempt for attempt in attempts if attempt.seq == event.event), None)
    used = wrong is not None and wrong.used
    attempt = Attempt(line.seq, quantity, event.verdict, used, event.uncertainty, corrects=event.event)
    return _with_attempt(state, entry, attempt, line.by)


def remedied(state: State, event: ev.Remedied, line: Line) -> State:
    work = state.work(event.operation)
    before = work.remedies.get(event.name)
    count = before.done + 1 if before is not None and before.verdict == event.verdict else 1
    readings = {name: of_name for name, of_name in work.readings.items() if name != event.name}
    remedies = {**work.remedies, event.name: RemedyCount(event.verdict, count, line.seq)}
    lapsed = lapsed_deviations(work, event.name)
    state = with_entry(state, event.operation, line.by, readings=readings, remedies=remedies, **lapsed)
    if not event.redo:
        return state
    for step in reopened_by(event):
        if step in state.done:
            state = operation_undone(state, step, line.seq)
    return replace(state, in_progress=None, started=None)


def ticked(state: State, event: ev.Ticked, line: Line) -> State:
    tick = Tick(line.seq, event.stage, event.fastener, event.quantity, event.verdict, event.stretch)
    work = state.work(event.operation)
    repeated = bool(work.deviations) and any(
        (each.stage, each.fastener) == (tick.stage, tick.fastener) for each in work.ticks
    )
    lapsed = lapsed_deviations(work, event.joint) if repeated else {}
    state = with_entry(state, event.operation, line.by, ticks=(*work.ticks, tick), **lapsed)
    if event.quantity is None:
        return state
    return _with_correctable(state, line.seq, EntryRef(event.operation, event.joint, "tick"))


def unticked(state: State, event: ev.Unticked, line: Line) -> State:
    ticks = state.work(event.operation).ticks
    matching = [n for n, tick in enumerate(ticks) if (tick.stage, tick.fastener) == (event.stage, event.fastener)]
    if not matching:
        return state
    kept = (*ticks[: matching[-1]], *ticks[matching[-1] + 1 :])
    return with_entry(state, event.operation, line.by, ticks=kept)


def drawn_down(state: State, event: ev.DrawnDown, line: Line) -> State:
    turns = (*state.work(event.operation).turns, Turn(event.round, event.fastener))
    return with_entry(state, event.operation, line.by, turns=turns)


def undrawn(state: State, event: ev.Undrawn, line: Line) -> State:
    return with_entry(state, event.operation, line.by, turns=state.work(event.operation).turns[:-1])


def seated(state: State, event: ev.Seated, line: Line) -> State:
    return with_entry(state, event.operation, line.by, seated=True)


def unseated(state: State, event: ev.Unseated, line: Line) -> State:
    return with_entry(state, event.operation, line.by, seated=False)


def checked(state: State, event: ev.Checked, line: Line) -> State:
    return with_entry(state, event.operation, line.by, checks=state.work(event.operation).checks | {event.check})


def unchecked(state: State, event: ev.Unchecked, line: Line) -> State:
    return with_entry(state, event.operation, line.by, checks=state.work(event.operation).checks - {event.check})


def chosen(state: State, event: ev.Chosen, line: Line) -> State:
    work = state.work(event.operation)
    every_place = ValueRef.parse(event.name).name  # a deviation about a match covers all its places
    lapsed = lapsed_deviations(work, event.name, every_place) if event.name in work.chosen else {}
    return with_entry(state, event.operation, line.by, chosen={**work.chosen, event.name: event.take}, **lapsed)


def lot(state: State, event: ev.Lot, line: Line) -> State:
    lots = {**state.work(event.operation).lots, event.consumable: event.lot}
    state = with_entry(state, event.operation, line.by, lots=lots)
    return _with_correctable(state, line.seq, EntryRef(event.operation, event.consumable, "lot"))


def signed(state: State, event: ev.Signed, line: Line) -> State:
    signature = Signature(line.by, line.at, event.self_signed)
    return with_work(state, event.operation, replace(state.work(event.operation), signed=signature, void=None))


def deviated(state: State, event: ev.Deviated, line: Line) -> State:
    work = state.work(event.operation)
    deviations = {**work.deviations, event.about: Deviation(line.by, event.reason)}
    lapsed = {about: each for about, each in work.lapsed.items() if about != event.about}
    return with_work(state, event.operation, replace(work, deviations=deviations, lapsed=lapsed))
