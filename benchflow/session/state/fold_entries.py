"""Fold of the events that enter, clear or correct something for one operation. Each function returns the new state."""

from collections.abc import Iterator

from msgspec.structs import replace

from benchflow.procedure.identity import ValueRef
from benchflow.session.log.line_format import Line
from benchflow.session.state import events as ev
from benchflow.session.state.clock import NOT_KNOWN, EventTime
from benchflow.session.state.done_operations import reopened_by
from benchflow.session.state.filled_figures import fold_filled_corrected
from benchflow.session.state.fold_joints import fold_figure_corrected, fold_tick_corrected, without_remedied_ticks
from benchflow.session.state.plan_changes import with_called
from benchflow.session.state.state import (
    HOLD,
    Attempt,
    Deviation,
    EntryRef,
    LoggedResult,
    RemedyKey,
    RemedyWait,
    RoundBefore,
    Signature,
    State,
    WaitKey,
    Work,
    check_key,
    fastener_slot,
    lot_item,
    lot_key,
)
from benchflow.session.state.state_changes import (
    calculated_from,
    operation_cleared,
    operation_reopened,
    operation_undone,
    operation_voided,
    round_before,
    waits_without,
    with_clocks_restarted,
    with_correctable,
    with_entry,
    with_hold_closed,
    with_work,
    without_deviations_for,
)
from benchflow.trade.verdict import OUT_OF_LIMIT


def fold_recorded(state: State, event: ev.ReadingRecorded, line: Line) -> State:
    instrument, tools = event.serial or event.instrument or "", event.tools
    if event.claims is not None:  # the same reading, so the same instrument
        read = state.work(event.operation).attempt(
            EntryRef(event.operation, event.name, "reading", event.reading), event.claims
        )
        instrument, tools = ("", ()) if read is None else (read.instrument, read.tools)
    attempt = Attempt(
        line.seq, event.quantity, event.verdict, event.used, event.uncertainty, None, instrument, event.claims, tools
    )
    state = _with_attempt(state, EntryRef(event.operation, event.name, "reading", event.reading), attempt, line.by)
    work = state.work(event.operation)
    entered = {**work.entered, event.name: _entered_at(state, event)}
    waits = waits_without(work, event.name, event.reading)
    return with_work(state, event.operation, replace(work, entered=entered, waits=waits))


def _entered_at(state: State, event: ev.ReadingRecorded) -> EventTime:
    """When a reading was entered: now, or under the log that the job continues."""
    continues = state.opened.continues
    if event.earlier is None or continues is None:
        return state.last
    for entry in continues.entries_of(event.operation):
        if entry.seq == event.earlier and entry.kind == "reading" and entry.at:
            return EventTime(state.seq, entry.at, entry.boot, entry.ms)
    return EventTime(state.seq, state.last.at, NOT_KNOWN)


def _with_attempt(state: State, entry: EntryRef, attempt: Attempt, by: str) -> State:
    """Return the state with ``attempt`` added to the reading ``entry``. Deviations for an earlier attempt lapse.

    A correction is put after the attempt that it corrects, so a correction of an earlier attempt leaves the last one
    in force.
    """
    step, name = entry.operation, entry.name
    of_name = state.work(step).readings.get(name, {})
    before = of_name.get(entry.reading, ())
    at = len(before) if attempt.corrects is None else _end_of_chain(before, attempt.corrects)
    readings = {**state.work(step).readings, name: {**of_name, entry.reading: (*before[:at], attempt, *before[at:])}}
    state = with_entry(state, step, by, readings=readings)
    state = with_correctable(state, attempt.seq, entry)
    return without_deviations_for(state, {before[-1].seq}) if before and at == len(before) else state


def _end_of_chain(attempts: tuple[Attempt, ...], seq: int) -> int:
    """The index after the attempt ``seq`` and everything that corrects it or states ``used`` for it."""
    chain, end = {seq}, len(attempts)
    for index, attempt in enumerate(attempts):
        if attempt.seq in chain or attempt.corrects in chain or attempt.claims in chain:
            chain.add(attempt.seq)
            end = index + 1
    return end


def fold_corrected(state: State, event: ev.EntryCorrected, line: Line) -> State:
    entry = state.correctable.get(event.event)
    if entry is None:
        return state
    match entry.kind:
        case "tick":
            return fold_tick_corrected(state, entry, event, line)
        case "reading":
            quantity = event.quantity
            return state if quantity is None else _fold_reading_corrected(state, entry, event, quantity, line)
        case "lot":
            return state if event.lot is None else _with_lot(state, entry.operation, entry.name, event.lot, line)
        case "figure":
            return fold_figure_corrected(state, entry, event, line)
        case "filled":
            return fold_filled_corrected(state, entry, event, line)
        case "check":
            return _fold_check_corrected(state, entry, event, line)


def _fold_reading_corrected(
    state: State, entry: EntryRef, event: ev.EntryCorrected, quantity: ev.StoredQuantity, line: Line
) -> State:
    wrong = state.work(entry.operation).attempt(entry, event.event)
    used = state.work(entry.operation).stated_used(entry, event.event)
    instrument = "" if wrong is None else wrong.instrument
    attempt = Attempt(
        line.seq, quantity, event.verdict, used, event.uncertainty, event.event, instrument, tools=event.tools
    )
    return _with_attempt(state, entry, attempt, line.by)


def fold_remedied(state: State, event: ev.RemedyCarriedOut, line: Line) -> State:
    work = state.work(event.operation)
    reopened = [name for name in dict.fromkeys(reopened_by(event)) if name in state.done or state.work(name).touched]
    remedies = dict(work.remedies)
    counted = tuple(fastener_slot(event.stage, fastener) for fastener in event.fasteners) or event.readings or ("",)
    for reading in counted:
        key = RemedyKey(event.name, reading, event.verdict, event.limit)
        remedies[key] = remedies.get(key, 0) + 1
    if event.fresh:
        remedies = {key: count for key, count in remedies.items() if key.name != event.name}
    void = {event.name, *event.void}
    void |= {name for each in event.void for name in calculated_from(state, event.operation, each)}
    readings = work.readings if event.stage or event.check else _without_readings(work, event)
    results, before = _rounds(state, work, event, readings)
    state = with_entry(
        state,
        event.operation,
        line.by,
        readings=readings,
        results=results,
        before=before,
        failed={number: seq for number, seq in work.failed.items() if number != event.check},
        remedies=remedies,
        remedied={**work.remedied, **dict.fromkeys(void, line.seq)},
        lots={key: lot for key, lot in work.lots.items() if lot_item(key) not in event.discard},
    )
    state = without_deviations_for(state, work.entries - state.work(event.operation).entries)
    state = without_remedied_ticks(state, event)
    for step in sorted(
        reopened, key=lambda name: state.done[name].seq if name in state.done else line.seq, reverse=True
    ):
        if step == event.operation:
            state = operation_cleared(state, step, event.discard)
        elif step in event.called:
            state = operation_voided(state, step)  # it is done once more; what it set stays
        elif step in event.undo_later:
            state = operation_reopened(state, step)
        else:
            state = operation_undone(state, step, line.seq)
    if event.called:
        state = with_called(state, event.called, event.operation)
    state = with_clocks_restarted(_with_waits(_with_parts_fitted(state, event), event), event.restarts)
    stays = all(step == event.operation for step in event.redo)
    return state if stays else replace(state, in_progress=None, started=None)


def _with_parts_fitted(state: State, event: ev.RemedyCarriedOut) -> State:
    """Return the state in which the lots of the parts that a remedy fits are asked for."""
    if not event.uses:
        return state
    work, step = state.work(event.operation), state.plan.steps.get(event.operation)
    own = {ref.name for ref in step.operation.uses} if step is not None else set[str]()
    keys = tuple(item if item in own else lot_key(item, event.subject) for item in event.uses)
    lots = {key: lot for key, lot in work.lots.items() if key not in keys}
    fitted = tuple(dict.fromkeys((*work.fitted, *keys)))
    return with_work(state, event.operation, replace(work, lots=lots, fitted=fitted))


def _with_waits(state: State, event: ev.RemedyCarriedOut) -> State:
    """Return the state with the wait that begins with a remedy. It replaces an earlier wait for the same entry."""
    if event.wait is None:
        return state
    wait = RemedyWait(state.last, event.wait, event.do)
    for step, names in event.wait_for.items():
        added = {WaitKey(name, slot): wait for name, slots in names.items() for slot in slots}
        work = state.work(step)
        state = with_work(state, step, replace(work, waits={**work.waits, **added}))
    return state


def _without_readings(work: Work, event: ev.RemedyCarriedOut) -> dict[str, dict[str, tuple[Attempt, ...]]]:
    """Return the readings of ``work`` without those that a remedy makes void."""
    if not event.void:
        return {name: slots for name, slots in work.readings.items() if name != event.name}
    kept = {
        name: {slot: attempts for slot, attempts in slots.items() if slot not in event.void.get(name, ())}
        for name, slots in work.readings.items()
    }
    return {name: slots for name, slots in kept.items() if slots}


def _rounds(
    state: State, work: Work, event: ev.RemedyCarriedOut, readings: dict[str, dict[str, tuple[Attempt, ...]]]
) -> tuple[dict[str, dict[str, LoggedResult]], RoundBefore]:
    """The results in force after a remedy, and the values of the round before. ``readings`` are those that it keeps."""
    void = {
        name: {slot for slot in slots if slot not in readings.get(name, {})} for name, slots in work.readings.items()
    }
    kept = {name: set(slots) - void[name] for name, slots in work.readings.items()}
    for name, found in work.results.items():
        gone = set().union(*(void[each] for each in void if name in calculated_from(state, event.operation, each)))
        kept[name] = {reading for reading in found if not gone or (reading and reading not in gone)}
    results = {name: {slot: found[slot] for slot in kept[name]} for name, found in work.results.items()}
    return results, round_before(state, work, kept)


def fold_calculated(state: State, event: ev.ValueCalculated) -> State:
    if ValueRef.parse(event.name).name not in state.plan.names_before:
        return state
    work = state.work(event.operation)
    of_name = {**work.results.get(event.name, {}), event.reading: LoggedResult(event.quantity, event.difference)}
    return with_work(state, event.operation, replace(work, results={**work.results, event.name: of_name}))


def fold_checked(state: State, event: ev.CheckTicked, line: Line) -> State:
    work = state.work(event.operation)
    failed = {number: seq for number, seq in work.failed.items() if number != event.check}
    entered = {**work.entered, check_key(event.check): state.last}
    if event.answer == "no":
        checks = work.checks - {event.check}
        failed[event.check] = line.seq
        state = with_correctable(state, line.seq, EntryRef(event.operation, check_key(event.check), "check"))
    else:
        checks = work.checks | {event.check}
    waits = waits_without(work, check_key(event.check), "")
    state = with_entry(state, event.operation, line.by, checks=checks, failed=failed, entered=entered, waits=waits)
    return without_deviations_for(state, work.entries - state.work(event.operation).entries)


def _fold_check_corrected(state: State, entry: EntryRef, event: ev.EntryCorrected, line: Line) -> State:
    """Return the state in which the answer no of event ``event.event`` is a yes, entered at the time of that answer."""
    work = state.work(entry.operation)
    number = next((number for number, seq in work.failed.items() if seq == event.event), None)
    if number is None or event.answer != "yes":
        return state
    failed = {other: seq for other, seq in work.failed.items() if other != number}
    state = with_entry(state, entry.operation, line.by, checks=work.checks | {number}, failed=failed)
    return without_deviations_for(state, {event.event})


def fold_unchecked(state: State, event: ev.CheckUnticked, line: Line) -> State:
    work = state.work(event.operation)
    failed = {number: seq for number, seq in work.failed.items() if number != event.check}
    state = with_entry(state, event.operation, line.by, checks=work.checks - {event.check}, failed=failed)
    return without_deviations_for(state, work.entries - state.work(event.operation).entries)


def fold_chosen(state: State, event: ev.PartChosen, line: Line) -> State:
    work = state.work(event.operation)
    chosen = {**work.chosen, event.name: event.take}
    choice_seqs = {**work.choice_seqs, event.name: line.seq}
    has_reason = event.reason or event.earlier is not None
    reasoned = work.reasoned | {event.name} if has_reason else work.reasoned - {event.name}
    state = with_entry(state, event.operation, line.by, chosen=chosen, choice_seqs=choice_seqs, reasoned=reasoned)
    return without_deviations_for(state, work.entries - state.work(event.operation).entries)


def fold_lot(state: State, event: ev.LotEntered, line: Line) -> State:
    key = lot_key(event.consumable, event.subject)
    work = state.work(event.operation)
    if event.subject and key not in work.fitted:  # it was fitted under the log that this job continues
        state = with_work(state, event.operation, replace(work, fitted=(*work.fitted, key)))
    return _with_lot(state, event.operation, key, event.lot, line)


def _with_lot(state: State, step: str, consumable: str, lot: str, line: Line) -> State:
    state = with_entry(state, step, line.by, lots={**state.work(step).lots, consumable: lot})
    return with_correctable(state, line.seq, EntryRef(step, consumable, "lot"))


def fold_signed(state: State, event: ev.HoldSigned, line: Line) -> State:
    signature = Signature(line.by, line.at, event.self_signed)
    work = replace(state.work(event.operation), signed=signature, void=None)
    return with_hold_closed(with_work(state, event.operation, work), event.operation)


def fold_deviated(state: State, event: ev.DeviationSigned, line: Line) -> State:
    work = state.work(event.operation)
    entries = frozenset(event.entries or _entries_about(state, event))
    if event.about in work.deviations and entries <= {tick.entry for tick in work.ticks}:
        entries |= work.deviations[event.about].entries  # the deviation before covers its own ticks
    deviations = {**work.deviations, event.about: Deviation(line.by, event.reason, entries, event.clocks)}
    lapsed = {about: deviation for about, deviation in work.lapsed.items() if about != event.about}
    if event.about == HOLD:
        state = with_hold_closed(state, event.operation)
    return with_work(state, event.operation, replace(work, deviations=deviations, lapsed=lapsed))


def _entries_about(state: State, event: ev.DeviationSigned) -> Iterator[int]:
    """The ``seq`` of each present entry that a deviation is about, for an event that does not name them.

    Version 0.1 and deviations from a joint do not name them.
    """
    work = state.work(event.operation)
    for name, slots in work.readings.items():
        if event.about in (name, *calculated_from(state, event.operation, name)):
            yield from (attempts[-1].seq for attempts in slots.values() if attempts)
    for name, seq in work.choice_seqs.items():
        if event.about in (name, ValueRef.parse(name).name):
            yield seq
    step = state.plan.steps.get(event.operation)
    if step is not None and step.operation.tighten is not None and step.operation.tighten.joint == event.about:
        yield from (tick.entry for tick in work.ticks_in_force.values() if tick.verdict in OUT_OF_LIMIT)
