"""What a correction of an entry would lead to. Nothing is logged: the correcting page shows it during typing."""

from collections.abc import Container, Iterable

from msgspec import Struct
from msgspec.structs import replace

from benchflow.procedure.plan import Step
from benchflow.quantity import base, dimension_of, show
from benchflow.session.context import Context, Entry, refusal_or_none
from benchflow.session.intents import intent_types as intents
from benchflow.session.intents.corrections import judged_correction
from benchflow.session.refusal import Refusal
from benchflow.session.rules.check_stages import TickReadings, band_in_force, judge_tick, readings_of
from benchflow.session.rules.findings import finding_change_reasons
from benchflow.session.rules.joint_progress import joint_of
from benchflow.session.rules.measurements import from_stored
from benchflow.session.rules.proof_corrections import with_evidence_changed
from benchflow.session.rules.readings_judged_again import with_readings_judged_again
from benchflow.session.rules.reopened_operations import reopened_operations
from benchflow.session.rules.stage_torques import tighten_in_force
from benchflow.session.rules.state_after import state_after
from benchflow.session.rules.ticks_judged_again import with_ticks_judged_again
from benchflow.session.rules.verdicts import LimitComparison
from benchflow.session.state.events import EntryCorrected
from benchflow.session.state.state import EntryRef, State, Tick
from benchflow.session.view.bench_view import Reading, ReadingInput, ShownVerdict
from benchflow.session.view.gauge_positions import gauge_positions
from benchflow.session.view.limit_distance import distance_outside
from benchflow.session.view.operation_inputs import operation_inputs


class CorrectionPreview(Struct, frozen=True):
    """A corrected entry. ``summary`` is the statistic of the readings, if they are judged together.

    ``reopens`` has the number and title of each finished operation that the correction reopens. ``settles`` has those
    that count as done again after it.
    """

    reading: Reading
    summary: str = ""
    summary_verdict: ShownVerdict = ""
    reopens: tuple[str, ...] = ()
    settles: tuple[str, ...] = ()


def entered_reading(state: State, seq: int, context: Context) -> CorrectionPreview | None:
    """The entry with this ``seq`` as it is judged now; ``None`` if it is neither a reading nor a tick."""
    entry = state.correctable[seq]
    if entry.kind == "reading":
        return _value_reading(state, entry, context)
    tick = state.work(entry.operation).tick(seq) if entry.kind == "tick" else None
    return None if tick is None else _tick_reading(state, state.plan.steps[entry.operation], tick, readings_of(tick))


def correction_preview(state: State, intent: intents.CorrectEntry, context: Context) -> CorrectionPreview | Refusal:
    """What the correction leads to, signed or not; a refusal if it is not possible."""
    event = judged_correction(state, intent, context)
    if isinstance(event, Refusal):
        return event
    correction = (Entry(state.by, event),)
    refusal = refusal_or_none(tuple(finding_change_reasons(state, correction, context)))
    if refusal is not None:
        return refusal
    entries = with_readings_judged_again(state, correction, context)
    entries = with_ticks_judged_again(state, with_evidence_changed(state, entries, context), context)
    after = state_after(state, entries, context)
    corrected = _corrected_entry(state, after, event, context) or CorrectionPreview(Reading("", "", ""))
    before, now = reopened_operations(state), reopened_operations(after)
    return replace(corrected, reopens=_titles(state, now, before), settles=_titles(state, before, now))


def _titles(state: State, operations: Iterable[str], without: Container[str]) -> tuple[str, ...]:
    plan = state.plan
    return tuple(f"{plan.number(name)} {plan.steps[name].title}" for name in operations if name not in without)


def _corrected_entry(state: State, after: State, event: EntryCorrected, context: Context) -> CorrectionPreview | None:
    entry = state.correctable[event.event]
    if entry.kind == "reading":
        return _value_reading(after, entry, context)
    tick = state.work(entry.operation).tick(event.event) if entry.kind == "tick" else None
    if tick is None:
        return None
    value, stretch = (None if each is None else from_stored(each) for each in (event.quantity, event.stretch))
    read = TickReadings(value, stretch, "" if event.answer == "yes" else event.answer)
    return _tick_reading(after, after.plan.steps[entry.operation], tick, read)


def _value_reading(state: State, entry: EntryRef, context: Context) -> CorrectionPreview | None:
    for given in operation_inputs(state, state.plan.steps[entry.operation], context):
        if isinstance(given, ReadingInput) and given.name == entry.name:
            reading = next(each for each in given.readings if each.slot == entry.reading)
            return CorrectionPreview(reading, given.summary, given.summary_verdict)
    return None


def _tick_reading(state: State, step: Step, tick: Tick, read: TickReadings) -> CorrectionPreview | None:
    tighten = tighten_in_force(state, step)
    if tighten is None:
        return None
    joint, stage = joint_of(state, tighten.joint), tighten.stages[tick.stage - 1]
    verdict, band = judge_tick(joint, tighten, stage, read).verdict, band_in_force(joint, tighten, stage)
    if band is None or read.value is None or dimension_of(read.value.unit) != dimension_of(band.unit):
        return CorrectionPreview(Reading(str(tick.fastener), read.shown, verdict))
    figure = base(read.value)
    outside = distance_outside(LimitComparison(figure, band.exact, None), band.unit, read.value)
    gauge, distance = gauge_positions(band.exact, figure, None), f"by {outside}" if outside else ""
    shown = show(read.value) if read.stretch is None else read.shown
    return CorrectionPreview(Reading(str(tick.fastener), shown, verdict, distance=distance, gauge=gauge))
