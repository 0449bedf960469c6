"""Fold of the events of a joint: torques, ticks, failed fasteners, draw-down. Each function returns the new state."""

from typing import Any

from msgspec.structs import replace

from benchflow.procedure.model import CheckStage
from benchflow.session.log.line_format import Line
from benchflow.session.state import events as ev
from benchflow.session.state.filled_figures import as_corrected
from benchflow.session.state.state import (
    EntryRef,
    FailedFastener,
    GivenFigure,
    State,
    Tick,
    Turn,
    check_key,
    lot_item,
)
from benchflow.session.state.state_changes import (
    waits_without,
    with_correctable,
    with_entry,
    with_work,
    without_deviations_for,
)


def fold_ticked(state: State, event: ev.FastenerTicked, line: Line) -> State:
    tick = Tick(
        line.seq,
        event.stage,
        event.fastener,
        event.quantity,
        event.verdict,
        event.stretch,
        event.answer,
        loosened=event.loosened,
        check=_is_check(state, event),
        torque=event.torque,
        at=state.last,
    )
    work = state.work(event.operation)
    # Only a deviation needs the tick that is replaced. All ticks of a joint for each of them would be slow.
    replaced = work.ticks_in_force.get((event.stage, event.fastener)) if work.deviations else None
    waits = waits_without(work, event.joint, str(event.fastener))
    state = with_entry(state, event.operation, line.by, ticks=(*work.ticks, tick), waits=waits)
    if replaced is not None:
        state = _without_waiver_of(state, event.operation, replaced.entry)
    if event.quantity is None and not event.answer:
        return state
    return with_correctable(state, line.seq, EntryRef(event.operation, event.joint, "tick"))


def _is_check(state: State, event: ev.FastenerTicked) -> bool:
    """True if the tick is of a check stage."""
    step = state.plan.steps.get(event.operation)
    tighten = None if step is None else step.operation.tighten
    if tighten is None or not 1 <= event.stage <= len(tighten.stages):
        return False
    return isinstance(tighten.stages[event.stage - 1], CheckStage)


def fold_figure_given(state: State, event: ev.FigureGiven, line: Line) -> State:
    figures = {**state.work(event.operation).figures, event.stage: GivenFigure(line.seq, event.figure, event.source)}
    state = with_entry(state, event.operation, line.by, figures=figures)
    return with_correctable(state, line.seq, EntryRef(event.operation, event.joint, "figure", str(event.stage)))


def fold_figure_corrected(state: State, entry: EntryRef, event: ev.EntryCorrected, line: Line) -> State:
    """Return the state with the correct figure of a stage, or its source. ``event.event`` is the wrong entry."""
    stage, work = int(entry.reading), state.work(entry.operation)
    given = work.figures.get(stage)
    if given is None or given.seq != event.event or not (event.figure or event.source):
        return state
    figures = {**work.figures, stage: as_corrected(given, event, line)}
    state = with_entry(state, entry.operation, line.by, figures=figures)
    return with_correctable(state, line.seq, entry)


def fold_judged_again(state: State, event: ev.TicksJudgedAgain) -> State:
    work = state.work(event.operation)

    def judged(tick: Tick) -> Tick:
        verdict = event.verdicts.get(str(tick.seq))
        return tick if verdict is None else replace(tick, verdict=verdict, judged_by=event.torque)

    changed = [tick for tick in work.ticks if str(tick.seq) in event.verdicts]
    ticks, cleared_high = tuple(map(judged, work.ticks)), tuple(map(judged, work.cleared_high))
    state = with_work(state, event.operation, replace(work, ticks=ticks, cleared_high=cleared_high))
    for tick in changed:
        state = _without_waiver_of(state, event.operation, tick.entry)
    return state


def fold_tick_corrected(state: State, entry: EntryRef, event: ev.EntryCorrected, line: Line) -> State:
    before = state.work(entry.operation).tick(event.event)
    correct: dict[str, Any] = {"quantity": event.quantity, "verdict": event.verdict, "stretch": event.stretch}
    correct |= {"answer": "" if event.answer == "yes" else event.answer, "corrected": line.seq}
    work = state.work(entry.operation)
    ticks, cleared_high = (
        tuple(replace(tick, **correct) if tick.seq == event.event else tick for tick in ticks)
        for ticks in (work.ticks, work.cleared_high)
    )
    state = with_entry(state, entry.operation, line.by, ticks=ticks, cleared_high=cleared_high)
    return state if before is None else _without_waiver_of(state, entry.operation, before.entry)


def fold_unticked(state: State, event: ev.FastenerUnticked, line: Line) -> State:
    ticks = state.work(event.operation).ticks
    matching = [
        index for index, tick in enumerate(ticks) if (tick.stage, tick.fastener) == (event.stage, event.fastener)
    ]
    if not matching:
        return state
    gone = ticks[matching[-1]]
    kept = (*ticks[: matching[-1]], *ticks[matching[-1] + 1 :])
    cleared_high = state.work(event.operation).cleared_high
    if gone.verdict == "high":
        cleared_high = (*cleared_high, gone)
    state = with_entry(state, event.operation, line.by, ticks=kept, cleared_high=cleared_high)
    return _without_waiver_of(state, event.operation, gone.entry)


def fold_stage_again(state: State, event: ev.StageBegunAgain, line: Line) -> State:
    work = state.work(event.operation)
    gone = [tick for tick in work.ticks if tick.stage == event.stage]
    kept = tuple(tick for tick in work.ticks if tick.stage != event.stage)
    cleared_high = (*work.cleared_high, *(tick for tick in gone if tick.verdict == "high"))
    state = with_entry(state, event.operation, line.by, ticks=kept, cleared_high=cleared_high)
    for tick in gone:
        state = _without_waiver_of(state, event.operation, tick.entry)
    return state


def fold_fastener_failed(state: State, event: ev.FastenerFailed, line: Line) -> State:
    failed = FailedFastener(line.seq, event.fastener, event.stage, event.what, event.quantity)
    found = {**state.work(event.operation).failed_fasteners, event.fastener: failed}
    return with_entry(state, event.operation, line.by, failed_fasteners=found)


def fold_failure_cleared(state: State, event: ev.FastenerFailureCleared, line: Line) -> State:
    return _without_failure(state, event.operation, event.fastener, line)


def _without_failure(state: State, step: str, fastener: int, line: Line) -> State:
    """Return the state in which ``fastener`` has not failed, and no deviation covers that it had."""
    left = {**state.work(step).failed_fasteners}
    gone = left.pop(fastener, None)
    state = with_entry(state, step, line.by, failed_fasteners=left)
    return state if gone is None else _without_waiver_of(state, step, gone.seq)


def fold_repaired(state: State, event: ev.FastenerRepaired, line: Line) -> State:
    """Return the state in which the joint is begun again. Checks that were answered since its first tick are open."""
    state, ticks = _without_failure(state, event.operation, event.fastener, line), state.work(event.operation).ticks
    for tick in ticks:
        state = _without_waiver_of(state, event.operation, tick.entry)
    work = state.work(event.operation)
    first = ticks[0].seq if ticks else line.seq
    checks = frozenset(number for number in work.checks if work.entered[check_key(number)].seq < first)
    failed = {number: seq for number, seq in work.failed.items() if seq < first}
    waits = {key: wait for key, wait in work.waits.items() if key.name != event.joint}
    lots = {key: lot for key, lot in work.lots.items() if lot_item(key) not in event.discard}
    begun = replace(
        work, ticks=(), cleared_high=(), turns=(), seated=False, checks=checks, failed=failed, waits=waits, lots=lots
    )
    return without_deviations_for(with_work(state, event.operation, begun), work.entries - begun.entries)


def _without_waiver_of(state: State, step: str, gone: int) -> State:
    """Return the state in which no deviation covers the entry ``gone`` of a joint, which was replaced or cleared.

    ``gone`` is the ``seq`` of the entry. A deviation still covers its other entries. It lapses with the last one.
    """
    work = state.work(step)
    if gone not in work.covered:
        return state
    deviations, lapsed = {}, dict(work.lapsed)
    for about, deviation in work.deviations.items():
        left = deviation.entries - {gone}
        if left or not deviation.entries:
            deviations[about] = replace(deviation, entries=left)
        else:
            lapsed[about] = deviation
    return with_work(state, step, replace(work, deviations=deviations, lapsed=lapsed))


def without_remedied_ticks(state: State, event: ev.RemedyCarriedOut) -> State:
    """Return the state without the ticks that a remedy of a joint makes void.

    With ``redo`` these are all ticks. Otherwise they are those of its fasteners, in its stage and the later ones.
    """
    work = state.work(event.operation)
    if not event.stage:
        return state

    def void(tick: Tick) -> bool:
        return bool(event.redo) or (tick.stage >= event.stage and tick.fastener in event.fasteners)

    ticks = tuple(tick for tick in work.ticks if not void(tick))
    cleared_high = tuple(tick for tick in work.cleared_high if not void(tick))
    gone = [tick for tick in work.ticks if void(tick)]
    state = with_work(state, event.operation, replace(work, ticks=ticks, cleared_high=cleared_high))
    for tick in gone:
        state = _without_waiver_of(state, event.operation, tick.entry)
    return state


def fold_drawn_down(state: State, event: ev.FastenerDrawnDown, line: Line) -> State:
    turns = (*state.work(event.operation).turns, Turn(event.round, event.fastener))
    return with_entry(state, event.operation, line.by, turns=turns)


def fold_undrawn(state: State, event: ev.DrawDownTurnCleared, line: Line) -> State:
    return with_entry(state, event.operation, line.by, turns=state.work(event.operation).turns[:-1])


def fold_seated(state: State, event: ev.PartSeated, line: Line) -> State:
    return with_entry(state, event.operation, line.by, seated=True)


def fold_unseated(state: State, event: ev.SeatingCleared, line: Line) -> State:
    return with_entry(state, event.operation, line.by, seated=False)
