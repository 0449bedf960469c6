"""Changes to a state that several kinds of events share. A state is never changed in place: a new one is returned."""

from collections.abc import Collection, Iterable, Mapping
from typing import Any

from msgspec.structs import replace

from benchflow.procedure.identity import ValueRef
from benchflow.session.state.plan_changes import without_findings_of, without_withdrawn_calls
from benchflow.session.state.state import (
    HOLD,
    EntryRef,
    RemedyWait,
    RoundBefore,
    State,
    VariableWrite,
    WaitKey,
    Work,
    lot_item,
)


def with_work(state: State, step: str, work: Work) -> State:
    """Return the state with ``work`` as the entries of ``step``."""
    return replace(state, works={**state.works, step: work})


def with_entry(state: State, step: str, by: str, **changes: Any) -> State:
    """Return the state after ``by`` entered something for ``step``. ``changes`` are fields of its :class:`Work`.

    ``by`` is added to the people who worked on the operation. An earlier signature for the hold becomes invalid, and so
    does an earlier waiver of it. If the operation is done, its hold is open again, and a value in it may be out of its
    limit again.
    """
    state, work = _with_hold_open(state, step)
    if work.finished:
        state = replace(state, changed_later={**state.changed_later, step: state.seq})
    if by not in work.people:
        changes["people"] = work.people | {by}
    if by not in work.enterers:
        changes["enterers"] = work.enterers | {by}
    return with_work(state, step, replace(work, **changes))


def _with_hold_open(state: State, step: str) -> tuple[State, Work]:
    """Return the state, and the entries of ``step``, without a signature or a waiver for its hold."""
    work = state.work(step)
    waiver = work.deviations.get(HOLD)
    if work.signed is None and waiver is None:
        return state, work
    if step in state.done:
        state = replace(state, reopened_holds=state.reopened_holds | {step})
    if waiver is not None:
        deviations = {about: each for about, each in work.deviations.items() if about != HOLD}
        work = replace(work, deviations=deviations, lapsed={**work.lapsed, HOLD: waiver})
    return state, replace(work, signed=None, void=work.signed or work.void)


def with_hold_closed(state: State, step: str) -> State:
    """Return the state in which the hold of the finished ``step`` is not open again."""
    return replace(state, reopened_holds=state.reopened_holds - {step}) if step in state.reopened_holds else state


def without_deviations_for(state: State, gone: Collection[int]) -> State:
    """Return the state after the entries ``gone`` were replaced or cleared: the deviations that cover one lapse.

    ``gone`` has the ``seq`` of each entry. The deviation can be of another operation, about a calculated value.
    """
    for step, work in state.works.items():
        if not work.deviations:
            continue
        lapsing = {name: each for name, each in work.deviations.items() if not each.entries.isdisjoint(gone)}
        if lapsing:
            kept = {name: each for name, each in work.deviations.items() if name not in lapsing}
            state = with_work(state, step, replace(work, deviations=kept, lapsed={**work.lapsed, **lapsing}))
    return state


def calculated_from(state: State, step: str, name: str) -> tuple[str, ...]:
    """Return the names of the calculated values of ``step`` whose formula uses the value ``name``."""
    from benchflow.procedure.formula import present_names  # late import: most entries need no formula

    found = state.plan.steps.get(step)
    if found is None:
        return ()
    same = {name, ValueRef.parse(name).name}
    return tuple(
        value.name
        for value in found.operation.work_out
        if any(ref.name in same for ref in present_names(state.plan.formula(value)))
    )


def round_before(state: State, work: Work, kept: Mapping[str, Collection[str]] | None = None) -> RoundBefore:
    """The values of the round before, once the readings of ``work`` are void, except those ``kept``, by value.

    A reading that was not entered since it was last reopened keeps its earlier value. Only the values that a `before`
    of the procedure names are remembered.
    """
    named, kept = state.plan.names_before, kept or {}
    readings, results = dict(work.before.readings), dict(work.before.results)
    for name, slots in work.readings.items():
        if ValueRef.parse(name).name in named:
            last = {
                slot: attempts[-1] for slot, attempts in slots.items() if attempts and slot not in kept.get(name, ())
            }
            readings[name] = {**readings.get(name, {}), **last}
    for name, found in work.results.items():
        void = {reading: result for reading, result in found.items() if reading not in kept.get(name, ())}
        results[name] = {**results.get(name, {}), **void}
    return RoundBefore(readings, results)


def with_writes(state: State, seq: int, step: str, settings: Mapping[str, str | None]) -> State:
    """Return the state after event ``seq`` set state variables.

    ``step`` is the step id of the operation; it is empty for a move and for a state that was found.
    """
    writes = dict(state.writes)
    for name, value in settings.items():
        past = writes.get(name, ())
        # A move cannot be undone, so the later of two moves in a row replaces the earlier one.
        if not step and past and not past[-1].step and past[-1].seq:
            past = past[:-1]
        writes[name] = (*past, VariableWrite(seq, step, value))
    return replace(state, writes=writes, valuation={**state.valuation, **settings})


def without_writes(state: State, step: str) -> State:
    """Return the state without the writes of ``step``. Each variable gets the value of its last remaining write."""
    writes = {name: tuple(write for write in past if write.step != step) for name, past in state.writes.items()}
    valuation = {name: past[-1].value for name, past in writes.items() if past}
    return replace(state, writes=writes, valuation=valuation)


def with_evidence(state: State, step: str, unknown: tuple[str, ...]) -> State:
    """Return the state in which ``step`` does not prove the variables ``unknown``, but proves all others.

    The step is done, or was started again after it was done. Writes that came after it stay: the last write of a
    variable decides.
    """
    plan_step, finished = state.plan.steps.get(step), state.work(step).finished
    if plan_step is None or not finished:
        return state
    settings = {**plan_step.sets, **dict.fromkeys(unknown)}
    own = [write.seq for past in state.writes.values() for write in past if write.step == step]
    seq = max(own, default=finished)
    writes = {name: tuple(write for write in past if write.step != step) for name, past in state.writes.items()}
    for name, value in settings.items():
        past = [*writes.get(name, ()), VariableWrite(seq, step, value)]
        writes[name] = tuple(sorted(past, key=lambda write: write.seq))
    valuation = {name: past[-1].value for name, past in writes.items() if past}
    return replace(state, writes=writes, valuation=valuation)


def operation_undone(state: State, step: str, seq: int) -> State:
    """Return the state after event ``seq`` undid ``step``. The operation has to be done again, with all its entries."""
    state = without_writes(state, step)
    if step in state.to_undo:  # it was reopened before; only its state remained
        state = replace(state, to_undo=tuple(name for name in state.to_undo if name != step))
        return _with_undo_sets(state, step, seq)
    return _with_undo_sets(operation_voided(state, step), step, seq)


def operation_reopened(state: State, step: str) -> State:
    """Return the state in which ``step`` has to be done again, but what it set is still in force.

    Of several, the one to undo first is reopened first.
    """
    return replace(operation_voided(state, step), to_undo=(*state.to_undo, step))


def operation_cleared(state: State, step: str, discard: Collection[str]) -> State:
    """Return the state in which all entries of ``step`` are void, and it is still in progress.

    The lots are kept, except those of the parts ``discard``.
    """
    work = state.work(step)
    lots = {name: lot for name, lot in work.lots.items() if lot_item(name) not in discard}
    fitted = tuple(key for key in work.fitted if lot_item(key) not in discard)
    kept = Work(
        redone=work.redone + 1,
        remedies=work.remedies,
        lots=lots,
        fitted=fitted,
        waits=work.waits,
        failed_fasteners=work.failed_fasteners,
        people=work.people,
        before=round_before(state, work),
        finished=work.finished,
    )
    return without_deviations_for(with_work(state, step, kept), work.entries)


def _with_undo_sets(state: State, step: str, seq: int) -> State:
    plan_step = state.plan.steps.get(step)
    if plan_step is not None and plan_step.undo_sets:
        state = with_writes(state, seq, "", plan_step.undo_sets)
    return state


def operation_voided(state: State, step: str) -> State:
    """Return the state in which ``step`` is not done, and all its entries are void.

    Its tries and waits of remedies are kept, and so are the parts that they have fitted, except those for one use only.
    A fastener that failed still has to be repaired.
    """
    if state.in_progress == step:
        state = replace(state, in_progress=None, started=None)
    done = {name: time for name, time in state.done.items() if name != step}
    state, work = without_findings_of(with_hold_closed(state, step), step), state.work(step)
    kit = state.plan.procedure.kit_by_id
    fitted = tuple(key for key in work.fitted if not (lot_item(key) in kit and kit[lot_item(key)].discard))
    void = Work(
        redone=work.redone + 1,
        remedies=work.remedies,
        lots={key: lot for key, lot in work.lots.items() if key in fitted},
        fitted=fitted,
        waits=work.waits,
        failed_fasteners=work.failed_fasteners,
        before=round_before(state, work),
    )
    state = with_work(replace(state, done=done), step, void)
    return without_withdrawn_calls(without_deviations_for(state, work.entries))


def with_correctable(state: State, seq: int, entry: EntryRef) -> State:
    """Return the state in which the entry of event ``seq`` can be corrected."""
    return replace(state, correctable={**state.correctable, seq: entry})


def waits_without(work: Work, name: str, slot: str) -> dict[WaitKey, RemedyWait]:
    """The waits of ``work`` without the one that held back an entry which is made now."""
    if not work.waits or WaitKey(name, slot) not in work.waits:
        return work.waits
    return {key: wait for key, wait in work.waits.items() if key != (name, slot)}


def with_clocks_restarted(state: State, steps: Iterable[str]) -> State:
    """Return the state in which the clocks of ``steps`` start again now. A step that is not done has no clock."""
    found = {step: (*state.restarted.get(step, ()), state.last) for step in steps if step in state.done}
    return replace(state, restarted={**state.restarted, **found}) if found else state
