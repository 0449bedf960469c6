"""Putting a wrong entry right by a later event that names it. What was written first stays in the log."""

from benchflow.base.plaintext import clean_line
from benchflow.procedure.model import CheckStage
from benchflow.procedure.plan import Step
from benchflow.session.context import Context, Decision, Entry, refuse
from benchflow.session.intents import intent_types as it
from benchflow.session.intents.entries import scanned
from benchflow.session.refusal import Refusal
from benchflow.session.rules.check_readings import readings
from benchflow.session.rules.check_stages import judge_check
from benchflow.session.rules.computed_values import worked_out
from benchflow.session.rules.typed_values import read_quantity
from benchflow.session.rules.verdicts import judge_reading, of_stored, stated_uncertainty, stored
from benchflow.session.state import events as ev
from benchflow.session.state.state import State, Tick


def correct(state: State, intent: it.Correct, context: Context, by: str) -> Decision:
    """Put a wrong entry right. The entry may belong to an operation that is done: what it says then counts."""
    found = state.correctable.get(intent.event)
    if found is None:
        message = f"number {intent.event} in the log is not a reading or a lot. Only those can be corrected"
        return refuse("unknown-name", message, name=str(intent.event)[:40])
    step_id, name = found.operation, found.name
    reason = clean_line(intent.reason)
    if not reason:
        return refuse("value-missing", "Give the reason why the entry was wrong", name=name)
    if found.kind == "lot":
        lot = scanned(intent.value)
        if not lot:
            return refuse("value-missing", f"the lot of {name} is empty", name=name)
        return (Entry(by, ev.Corrected(intent.event, step_id, reason, lot=lot)),)
    step = state.plan.steps[step_id]
    if found.kind == "tick":
        return _tick(state, step, name, intent, reason, by)
    return _reading(state, step, name, found.reading, intent, reason, context, by)


def _reading(
    state: State, step: Step, name: str, slot: str, intent: it.Correct, reason: str, context: Context, by: str
) -> Decision:
    attempts = state.work(step.id).readings.get(name, {}).get(slot, ())
    old = next((attempt for attempt in attempts if attempt.seq == intent.event), None)
    if old is None:
        return refuse("not-allowed", f"reading {intent.event} of {name} was cleared since", name=name)
    asked = next(record for record in step.operation.record if record.name == name)
    quantity = read_quantity(intent.value, asked.unit, asked.dimension, name)
    if isinstance(quantity, Refusal):
        return quantity
    # The reading was taken with the same instrument: only what was written down was wrong.
    u = stated_uncertainty(state, asked, quantity) if old.uncertainty is None else of_stored(old.uncertainty)
    verdict = judge_reading(state, asked, quantity, old.used, u)
    event = ev.Corrected(
        event=intent.event,
        operation=step.id,
        reason=reason,
        quantity=stored(quantity),
        verdict="none" if verdict is None else verdict.verdict,
        uncertainty=None if u is None else stored(u),
    )
    entries = (Entry(by, event),)
    return (*entries, *worked_out(state, step, entries, context, by))


def _tick(state: State, step: Step, joint: str, intent: it.Correct, reason: str, by: str) -> Decision:
    """What was read on a fastener, put right."""
    old: Tick | None = next((tick for tick in state.work(step.id).ticks if tick.seq == intent.event), None)
    if old is None or step.operation.tighten is None:
        return refuse("not-allowed", f"tick {intent.event} of {joint} was cleared since", name=joint)
    stage = step.operation.tighten.stages[old.stage - 1]
    read = readings(stage, old.fastener, intent.value, intent.stretch)
    if isinstance(read, Refusal):
        return read
    value, stretch = read
    assert value is not None  # it was given
    found = judge_check(stage, value, stretch) if isinstance(stage, CheckStage) else None
    event = ev.Corrected(
        event=intent.event,
        operation=step.id,
        reason=reason,
        quantity=stored(value),
        verdict="none" if found is None else found.verdict,
        stretch=None if stretch is None else stored(stretch),
        corner="" if found is None else found.corner,
    )
    return (Entry(by, event),)
