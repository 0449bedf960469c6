"""Entries into the operation in hand: readings, ticks, checks, choices, lots, and putting one right."""

from msgspec.structs import replace

from benchflow.plaintext import clean
from benchflow.procedure.model import CheckStage, Record, TorqueStage
from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity, QuantityError, convert, dimension_of, parse_quantity
from benchflow.session import events as ev
from benchflow.session import intents as it
from benchflow.session.deciding import Around, Decision, Entry, in_hand, refuse, unknown, unreadable
from benchflow.session.fitness import need_for_stage, tool_for
from benchflow.session.judging import (
    bound_in_force,
    judge_reading,
    latest,
    of_stored,
    stated_uncertainty,
    stored,
)
from benchflow.session.refusal import Refusal
from benchflow.session.setting import wrench_setting
from benchflow.session.state import State
from benchflow.session.tally import tally, words
from benchflow.session.working import worked_out
from benchflow.trade.decision import Judgement, judge


def resolve(step: Step, name: str, names: list[str]) -> str | None:
    """A value's name as written, or with this operation's place put behind it."""
    for candidate in (name, f"{name}[{step.place}]"):
        if candidate in names:
            return candidate
    return None


def read_quantity(text: str, unit: str, dimension: str, name: str) -> Quantity | Refusal:
    """What was entered, in the field's unit, with the digits as entered kept beside it."""
    try:
        typed = parse_quantity(text, dimension=dimension)
        return convert(typed, unit) if unit else typed
    except QuantityError as error:
        return unreadable(error, name)


def record(state: State, intent: it.Record, around: Around, by: str) -> Decision:
    step = in_hand(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    records = {record.name: record for record in step.operation.record}
    name = resolve(step, intent.name, list(records))
    if name is None:
        return unknown("value in this operation", intent.name, records)
    asked = records[name]
    slot = _slot(state, step, asked, intent)
    if isinstance(slot, Refusal):
        return slot
    quantity = read_quantity(intent.value, asked.unit, asked.dimension, name)
    if isinstance(quantity, Refusal):
        return quantity
    tool = tool_for(state, around, asked.instrument, intent.instrument, quantity)
    if isinstance(tool, Refusal):
        return tool
    used = intent.used if intent.used is not None else name in state.work(step.id).used
    u = tool.uncertainty(quantity) or stated_uncertainty(state, asked, quantity)
    event = _recorded(state, step, asked, slot, quantity, u, used)
    event = replace(event, instrument=tool.need, serial=tool.serial)
    entries = (*tool.entries(by), Entry(by, event))
    return (*entries, *worked_out(state, step, entries, around, by))


def _slot(state: State, step: Step, record: Record, intent: it.Record) -> str | Refusal:
    """Which reading is meant: the one named, the only one, or the next that is open."""
    wanted = intent.place if intent.place is not None else intent.reading
    if wanted is not None:
        slot = str(wanted)
        if slot not in record.slots:
            return unknown(f"reading of {record.name}", slot, record.slots)
        return slot
    if len(record.slots) == 1:
        return record.slots[0]
    given = latest(state, step.id, record.name)
    open_slots = [slot for slot in record.slots if slot not in given]
    if open_slots:
        return open_slots[0]
    return refuse(
        "value-missing",
        f"all {len(record.slots)} readings of {record.name} are there: say which one this replaces",
        name=record.name,
    )


def _recorded(
    state: State, step: Step, record: Record, slot: str, quantity: Quantity, u: Quantity | None, used: bool
) -> ev.Recorded:
    bound = bound_in_force(record, used)
    verdict = judge_reading(state, record, quantity, used, u)
    return ev.Recorded(
        operation=step.id,
        name=record.name,
        reading=slot,
        quantity=stored(quantity),
        verdict="none" if verdict is None else verdict.verdict,
        side=None if verdict is None else verdict.side,
        limit="" if bound is None else bound.text,
        decision=record.decision,
        uncertainty=None if u is None else stored(u),
        conformity=_chance(verdict),
        used=used,
    )


def _chance(verdict: Judgement | None) -> str | None:
    """A probability is for looking at: four decimals say all that a person takes from it."""
    return None if verdict is None or verdict.conformity is None else f"{verdict.conformity:.4f}"


def _fastener(given: int | str) -> int | None:
    try:
        return int(given)
    except ValueError:
        return None


def tick(state: State, intent: it.Tick, around: Around, by: str) -> Decision:
    step = in_hand(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    count = tally(state, step)
    if count is None or count.joint.id != intent.joint:
        known = [] if count is None else [count.joint.id]
        return unknown("joint in this operation", intent.joint, known)
    number = _fastener(intent.fastener)
    if number is None or not 1 <= number <= count.joint.count:
        return unknown("fastener", str(intent.fastener), map(str, range(1, count.joint.count + 1)))
    stage = count.in_hand
    if stage is None:
        return refuse("already-done", f"{count.joint.title}: {words(count)}", name=str(number))
    if intent.stage is not None and intent.stage > count.stage:
        return refuse(
            "stage-not-finished", f"stage {count.stage} is not finished: {words(count)}; next is {count.next}"
        )
    if (intent.stage is not None and intent.stage < count.stage) or number in count.order[: count.done]:
        return refuse("already-done", f"fastener {number} has had this stage: {words(count)}", name=str(number))
    if number != count.next:
        return refuse(
            "fastener-order",
            f"{count.next} comes next, not {number}: {words(count)}",
            name=str(number),
        )
    wanted = wrench_setting(state, stage.torque) if isinstance(stage, TorqueStage) else None
    need = need_for_stage(state, step, stage, count.tighten.instrument)
    tool = tool_for(state, around, need, intent.instrument, wanted)
    if isinstance(tool, Refusal):
        return tool
    event = ev.Ticked(step.id, count.joint.id, count.stage, number, instrument=tool.need, serial=tool.serial)
    if intent.value is not None or isinstance(stage, CheckStage):
        ticked = _tick_with_value(event, stage, intent, by)
    else:
        ticked = (Entry(by, event),)
    return ticked if isinstance(ticked, Refusal) else (*tool.entries(by), *ticked)


def _tick_with_value(event: ev.Ticked, stage: object, intent: it.Tick, by: str) -> Decision:
    number = str(event.fastener)
    if intent.value is None:
        return refuse("value-missing", f"this stage checks: enter what fastener {number} read", name=number)
    try:
        quantity = parse_quantity(intent.value)
    except QuantityError as error:
        return unreadable(error, number)
    if not isinstance(stage, CheckStage):
        return (Entry(by, replace(event, quantity=stored(quantity))),)
    edge = stage.limit.low or stage.limit.high
    assert edge is not None  # a limit has at least one end
    read = read_quantity(intent.value, edge.unit, dimension_of(edge.unit), number)
    if isinstance(read, Refusal):
        return read
    verdict = judge(read, stage.limit, "simple")
    return (Entry(by, replace(event, quantity=stored(read), verdict=verdict.verdict, side=verdict.side)),)


def untick(state: State, intent: it.Untick, around: Around, by: str) -> Decision:
    step = in_hand(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    count = tally(state, step)
    if count is None or count.joint.id != intent.joint:
        return unknown("joint in this operation", intent.joint, [] if count is None else [count.joint.id])
    number = _fastener(intent.fastener)
    if count.last is None:
        return refuse("fastener-order", "nothing is ticked yet: there is nothing to take back")
    if number != count.last.fastener or intent.stage not in (None, count.last.stage):
        return refuse(
            "fastener-order",
            f"only the last tick can be taken back: fastener {count.last.fastener}, stage {count.last.stage}",
            name=str(intent.fastener),
        )
    return (Entry(by, ev.Unticked(step.id, count.joint.id, count.last.stage, count.last.fastener)),)


def tick_check(state: State, intent: it.TickCheck, around: Around, by: str) -> Decision:
    step = in_hand(state, intent.operation)
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
    number = _fastener(given)
    return number if number is not None and 1 <= number <= len(texts) else None


def lot(state: State, intent: it.EnterLot, around: Around, by: str) -> Decision:
    step = in_hand(state, intent.operation)
    if isinstance(step, Refusal):
        return step
    used = {ref.name for ref in step.operation.uses}
    items = [item.id for item in state.plan.procedure.kit if item.id in used]
    if intent.consumable not in items:
        return unknown("part or consumable in this operation", intent.consumable, items)
    text = clean(intent.lot).strip()
    if not text:
        return refuse("value-missing", f"the lot of {intent.consumable} is empty", name=intent.consumable)
    return (Entry(by, ev.Lot(step.id, intent.consumable, text)),)


def correct(state: State, intent: it.Correct, around: Around, by: str) -> Decision:
    """Put a wrong entry right. The entry may belong to an operation that is done: what it says then counts."""
    found = state.recorded.get(intent.event)
    if found is None:
        return unknown("reading or lot to correct, by its number in the log", str(intent.event), [])
    step_id, name, slot = found
    if not intent.reason.strip():
        return refuse("value-missing", "say why the entry was wrong", name=name)
    reason = clean(intent.reason).strip()
    if slot == "lot":
        text = clean(intent.value).strip()
        if not text:
            return refuse("value-missing", f"the lot of {name} is empty", name=name)
        return (Entry(by, ev.Corrected(intent.event, step_id, reason, lot=text)),)
    step = state.plan.steps[step_id]
    attempts = state.work(step_id).readings.get(name, {}).get(slot, ())
    if not any(attempt.seq == intent.event for attempt in attempts):
        return refuse("not-allowed", f"reading {intent.event} of {name} was taken back since", name=name)
    asked = next(record for record in step.operation.record if record.name == name)
    quantity = read_quantity(intent.value, asked.unit, asked.dimension, name)
    if isinstance(quantity, Refusal):
        return quantity
    old = next(attempt for attempt in attempts if attempt.seq == intent.event)
    # The reading was taken with the same instrument: only what was written down was wrong.
    u = stated_uncertainty(state, asked, quantity) if old.uncertainty is None else of_stored(old.uncertainty)
    verdict = judge_reading(state, asked, quantity, old.used, u)
    event = ev.Corrected(
        event=intent.event,
        operation=step_id,
        reason=reason,
        quantity=stored(quantity),
        verdict="none" if verdict is None else verdict.verdict,
        side=None if verdict is None else verdict.side,
        uncertainty=None if u is None else stored(u),
    )
    entries = (Entry(by, event),)
    return (*entries, *worked_out(state, step, entries, around, by))
