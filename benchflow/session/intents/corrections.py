"""Handler of the intent `correct`."""

from msgspec.structs import replace

from benchflow.base.plaintext import clean_line
from benchflow.procedure.model import CheckStage, OpenStage
from benchflow.procedure.plan import Step
from benchflow.session.context import Context, Decision, Entry, refusal_or_none, refuse, unknown_name
from benchflow.session.intents import intent_types as intents
from benchflow.session.intents.entries import lot_number
from benchflow.session.intents.figure_intents import calculated_after_correction, corrected_figure, corrected_source
from benchflow.session.intents.stage_figure_intents import read_stage_figure, wrong_angle
from benchflow.session.refusal import Refusal
from benchflow.session.rules.calculated_values import calculated_entries
from benchflow.session.rules.check_readings import ANSWERS, tick_readings
from benchflow.session.rules.check_stages import judge_tick
from benchflow.session.rules.correction_signatures import sign_correction
from benchflow.session.rules.findings import finding_change_reasons
from benchflow.session.rules.joint_progress import joint_of
from benchflow.session.rules.measurements import combined_share, reading_measurement
from benchflow.session.rules.open_items import late_entry_reasons, lot_title
from benchflow.session.rules.open_values import value_title
from benchflow.session.rules.reading_instruments import shares_of_correction, uncertainty_again
from benchflow.session.rules.stage_torques import stage_figure_missing, tighten_in_force
from benchflow.session.rules.typed_values import read_value
from benchflow.session.rules.verdicts import judge_reading, to_stored
from benchflow.session.state import events as ev
from benchflow.session.state.state import EntryRef, State


def correct_entry(state: State, intent: intents.CorrectEntry, context: Context, by: str) -> Decision:
    """Correct a wrong entry. The entry of a finished operation can be corrected too, if it decides as before."""
    event = judged_correction(state, intent, context)
    if isinstance(event, Refusal):
        return event
    event = replace(event, change=intent.change)
    found = sign_correction(state, Entry(by, event), context, by, intent.pin)
    if isinstance(found, Refusal):
        return found
    if state.correctable[intent.event].kind == "reading":
        step = state.plan.steps[event.operation]
        found = (*found, *calculated_entries(state, step, found, context, by))
    if state.correctable[intent.event].kind == "filled" and event.figure:
        found = (*found, *calculated_after_correction(state, state.correctable[intent.event], found, context, by))
    return refusal_or_none(tuple(finding_change_reasons(state, found, context))) or found


def judged_correction(state: State, intent: intents.CorrectEntry, context: Context) -> ev.EntryCorrected | Refusal:
    """The correction with its verdict, before anybody has signed it."""
    entry = state.correctable.get(intent.event)
    if entry is None:
        possible = "Only a reading, a tick with a reading or an answer, a check answered no, a figure or a lot can be"
        message = f"Log line {intent.event} cannot be corrected. {possible}"
        return refuse("unknown-name", message, name=str(intent.event)[:40])
    reason = clean_line(intent.reason)
    if not reason:
        return refuse("value-missing", "Give the reason why the entry was wrong", name=entry.name)
    step = state.plan.steps[entry.operation]
    unclear = None if entry.kind in ("figure", "filled") else _not_of_an_entry(intent, entry)
    if unclear is not None:
        return unclear
    match entry.kind:
        case "lot":
            lot = lot_number(intent.value)
            if not lot:
                title = lot_title(state, entry.name)
                return refuse("value-missing", f"The lot number of {title} is empty. Enter it", name=entry.name)
            return ev.EntryCorrected(intent.event, step.id, reason, lot=lot)
        case "tick":
            return _correct_tick(state, step, entry, intent, reason)
        case "reading":
            return _correct_reading(state, step, entry, intent, reason)
        case "figure":
            return _correct_figure(state, step, entry, intent, reason)
        case "filled":
            return corrected_figure(state, step, entry, intent, reason)
        case "check":
            return _correct_check(state, step, entry, intent, reason, context)


def _not_of_an_entry(intent: intents.CorrectEntry, entry: EntryRef) -> Refusal | None:
    """A refusal of a correction that has no value, or a source: only a figure has one."""
    if intent.source:
        message = f"{entry.name} is not a figure that was given at the bench, so it has no source. Leave out `from`"
        return refuse("not-allowed", message, name="from")
    if not intent.value:
        return refuse("value-missing", "Give the correct value", name="value")
    return None


def _correct_reading(
    state: State, step: Step, entry: EntryRef, intent: intents.CorrectEntry, reason: str
) -> ev.EntryCorrected | Refusal:
    wrong = state.work(step.id).attempt(entry, intent.event)
    if wrong is None:
        title = value_title(step, entry.name)
        message = f"The reading in log line {intent.event} ({title}) was cleared. Record it again"
        return refuse("not-allowed", message, name=entry.name)
    record = step.record(entry.name)
    assert record is not None  # the event is a reading of this value
    record = record.at(entry.reading)
    quantity = read_value(state.plan, record, intent.value)
    if isinstance(quantity, Refusal):
        return quantity
    shares = shares_of_correction(state, wrong, quantity)
    u = uncertainty_again(state, record.instrument, wrong.uncertainty, wrong, quantity)
    if shares:
        u = combined_share(shares, record.unit)
    used = state.work(step.id).stated_used(entry, intent.event)
    measured = reading_measurement(record, quantity, u, wrong.instrument, shares=shares)
    verdict = judge_reading(state, record, measured, used)
    return ev.EntryCorrected(
        event=intent.event,
        operation=step.id,
        reason=reason,
        quantity=to_stored(quantity),
        verdict="none" if verdict is None else verdict.verdict,
        uncertainty=None if u is None else to_stored(u),
        tools=shares,
    )


def _correct_figure(
    state: State, step: Step, entry: EntryRef, intent: intents.CorrectEntry, reason: str
) -> ev.EntryCorrected | Refusal:
    """Correct the torque of a stage, or its source. Its ticks are judged again by another torque."""
    given = state.work(step.id).figures.get(int(entry.reading))
    if given is None or given.seq != intent.event:
        message = f"The figure in log line {intent.event} no longer counts. Correct the one that does, or give it again"
        return refuse("not-allowed", message, operation=step.id, name=entry.name)
    source = corrected_source(intent, given)
    if isinstance(source, Refusal):
        return source
    if source and clean_line(intent.value) in ("", given.figure):
        return ev.EntryCorrected(intent.event, step.id, reason, source=source)
    tighten = step.operation.tighten
    stage = None if tighten is None else tighten.stages[int(entry.reading) - 1]
    assert isinstance(stage, OpenStage)  # its figure was given
    figure = read_stage_figure(intent.value, entry.name, stage)
    if isinstance(figure, Refusal):
        return figure
    wrong = wrong_angle(state, step, int(entry.reading), figure)
    quantity = to_stored(figure.quantity)
    return wrong or ev.EntryCorrected(intent.event, step.id, reason, quantity, figure=figure.text, source=source)


def _correct_check(
    state: State, step: Step, entry: EntryRef, intent: intents.CorrectEntry, reason: str, context: Context
) -> ev.EntryCorrected | Refusal:
    """Correct the answer no to yes."""
    number = next((n for n, seq in state.work(step.id).failed.items() if seq == intent.event), None)
    if number is None:
        message = f"The answer in log line {intent.event} ({entry.name}) no longer counts. Answer the check again"
        return refuse("not-allowed", message, operation=step.id, name=entry.name)
    if intent.value != "yes":
        return unknown_name("correct answer", intent.value, ("yes",))
    point = step.operation.check[number - 1]
    late = refusal_or_none(late_entry_reasons(state, step, point.id, context.now))
    if late is not None:
        return late
    return ev.EntryCorrected(intent.event, step.id, reason, answer="yes")


def _correct_tick(
    state: State, step: Step, entry: EntryRef, intent: intents.CorrectEntry, reason: str
) -> ev.EntryCorrected | Refusal:
    wrong = state.work(step.id).tick(intent.event)
    tighten = tighten_in_force(state, step)
    if wrong is None or tighten is None:
        message = f"The tick in log line {intent.event} was cleared. Tick the fastener again"
        return refuse("not-allowed", message, name=entry.name)
    stage = tighten.stages[wrong.stage - 1]
    if isinstance(stage, OpenStage):
        return Refusal((stage_figure_missing(state, step, wrong.stage, stage),))
    answered = isinstance(stage, CheckStage) and intent.value in ANSWERS
    value, answer = (None, intent.value) if answered else (intent.value, None)
    read = tick_readings(stage, wrong.fastener, value, intent.stretch, answer)
    if isinstance(read, Refusal):
        return read
    result = judge_tick(joint_of(state, tighten.joint), tighten, stage, read)
    return ev.EntryCorrected(
        event=intent.event,
        operation=step.id,
        reason=reason,
        quantity=None if read.value is None else to_stored(read.value),
        verdict=result.verdict,
        stretch=None if read.stretch is None else to_stored(read.stretch),
        corner=result.corner,
        answer=read.answer,
    )
