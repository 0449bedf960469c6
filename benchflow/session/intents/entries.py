"""Handlers of the intents `record`, `tick-check` and `lot`."""

from collections.abc import Iterable

from msgspec.structs import replace

from benchflow.base.plaintext import clean
from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import RecordedValue
from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity
from benchflow.session.context import Context, Decision, Entry, in_progress, refuse, unknown
from benchflow.session.intents import intent_types as it
from benchflow.session.refusal import Refusal
from benchflow.session.rules.computed_values import worked_out
from benchflow.session.rules.instrument_fitness import tool_for
from benchflow.session.rules.typed_values import read_quantity, whole_number
from benchflow.session.rules.verdicts import (
    bound_in_force,
    judge_reading,
    latest,
    stated_uncertainty,
    stored,
)
from benchflow.session.state import events as ev
from benchflow.session.state.state import State
from benchflow.trade.decision_rules import Judgement


def resolve(step: Step, name: str, names: Iterable[str]) -> str | None:
    """A value's name as written, or with this operation's place put behind it."""
    for candidate in (name, str(ValueRef(name, step.place))):
        if candidate in names:
            return candidate
    return None


def record(state: State, intent: it.Record, context: Context, by: str) -> Decision:
    step = in_progress(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    found = _asked(step, intent)
    if isinstance(found, Refusal):
        return found
    asked, said = found
    name = asked.name
    slot = _next_slot(state, step, asked) if said is None else said
    if isinstance(slot, Refusal):
        return slot
    quantity = read_quantity(intent.value, asked.unit, asked.dimension, name)
    if isinstance(quantity, Refusal):
        return quantity
    tool = tool_for(state, context, asked.instrument, intent.instrument, quantity)
    if isinstance(tool, Refusal):
        return tool
    used = intent.used if intent.used is not None else name in state.work(step.id).used
    u = tool.uncertainty(quantity) or stated_uncertainty(state, asked, quantity)
    event = _recorded(state, step, asked, slot, quantity, u, used)
    event = replace(event, instrument=tool.need, serial=tool.serial)
    entries = (*tool.entries(by), Entry(by, event))
    return (*entries, *worked_out(state, step, entries, context, by))


def _asked(step: Step, intent: it.Record) -> tuple[RecordedValue, str | None] | Refusal:
    """The value that is meant, and which reading of it, where that is said.

    ``place`` is the reading's own place, or the one that the operation is repeated for; ``bore[front]`` says both the
    name and the place.
    """
    records = {record.name: record for record in step.operation.record}
    name = resolve(step, intent.name, records)
    slot = None if intent.reading is None else str(intent.reading)
    place = None if intent.place is None else str(intent.place)
    if name is None:
        ref = ValueRef.parse(intent.name)
        name = resolve(step, ref.name, records)
        if name is None or not records[name].by_place or ref.place not in records[name].slots:
            return unknown("value in this operation", intent.name, records)
        place = ref.place if place is None else place
    asked = records[name]
    if place is not None and place in asked.slots and (asked.by_place or step.place is None):
        slot = place
    elif place is not None and place != step.place:
        return unknown(f"place of {asked.name}", place, asked.slots if step.place is None else [step.place])
    if slot is not None and slot not in asked.slots:
        return unknown(f"reading of {asked.name}", slot, asked.slots)
    return asked, slot


def _next_slot(state: State, step: Step, record: RecordedValue) -> str | Refusal:
    """Which reading is meant where nothing is said: the only one, or the next that is open."""
    if len(record.slots) == 1:
        return record.slots[0]
    given = latest(state, step.id, record.name)
    open_slots = [slot for slot in record.slots if slot not in given]
    if open_slots:
        return open_slots[0]
    return refuse(
        "value-missing",
        f"all {len(record.slots)} readings of {record.name} are recorded. Name the one that this replaces",
        name=record.name,
    )


def _recorded(
    state: State, step: Step, record: RecordedValue, slot: str, quantity: Quantity, u: Quantity | None, used: bool
) -> ev.Recorded:
    bound = bound_in_force(record, used)
    verdict = judge_reading(state, record, quantity, used, u)
    return ev.Recorded(
        operation=step.id,
        name=record.name,
        reading=slot,
        quantity=stored(quantity),
        verdict="none" if verdict is None else verdict.verdict,
        limit="" if bound is None else bound.text,
        decision=record.decision,
        uncertainty=None if u is None else stored(u),
        conformity=_chance(verdict),
        used=used,
    )


def _chance(verdict: Judgement | None) -> str | None:
    """A probability is for looking at: four decimals say all that a person takes from it."""
    return None if verdict is None or verdict.conformity is None else f"{verdict.conformity:.4f}"


def tick_check(state: State, intent: it.TickCheck, context: Context, by: str) -> Decision:
    step = in_progress(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    texts = step.operation.check
    number = _check_number(texts, intent.check)
    if number is None:
        return unknown("check in this operation", str(intent.check), texts)
    ticked = number in state.work(step.id).checks
    if intent.undo:
        if not ticked:
            return refuse("check-open", f"check {number} is not ticked: {texts[number - 1]}")
        return (Entry(by, ev.Unchecked(step.id, number, texts[number - 1])),)
    if ticked:
        return refuse("already-done", f"check {number} is ticked already: {texts[number - 1]}")
    return (Entry(by, ev.Checked(step.id, number, texts[number - 1])),)


def _check_number(texts: tuple[str, ...], given: int | str) -> int | None:
    """A check is named by its text or by its number, from 1."""
    if isinstance(given, str) and given in texts:
        return texts.index(given) + 1
    number = whole_number(given)
    return number if number is not None and 1 <= number <= len(texts) else None


def scanned(code: str) -> str:
    """A lot as it was scanned, every blank in it kept; only what cannot be seen is taken out, and what stands around
    it."""
    return clean(code).replace("\n", " ").strip()


def lot(state: State, intent: it.EnterLot, context: Context, by: str) -> Decision:
    step = in_progress(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    used = {ref.name for ref in step.operation.uses}
    items = [item.id for item in state.plan.procedure.kit if item.id in used]
    if intent.consumable not in items:
        return unknown("part or consumable in this operation", intent.consumable, items)
    text = scanned(intent.lot)
    if not text:
        return refuse("value-missing", f"the lot of {intent.consumable} is empty", name=intent.consumable)
    return (Entry(by, ev.Lot(step.id, intent.consumable, text)),)
