"""Weak points of parts: thrown away and not replaced, fitted again, tightened twice, used, or with another lot."""

from collections.abc import Iterator
from decimal import Decimal

from benchflow.base.plaintext import folded
from benchflow.procedure.model import CheckStage, Fixed, KitItem
from benchflow.procedure.plan import Step
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.formatting import count
from benchflow.review.log.discards import Discard
from benchflow.review.log.facts import LotFact
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.log.margin import band_of_limit, margin
from benchflow.session.rules.planned_disassembly import used_once_items

PLANNED = 0.0
"""The size of a lot that is entered again after a trial as planned: two new parts can be of one lot."""


def part_points(log: LoadedLog, step: Step) -> Iterator[WeakPoint]:
    """The weak points of the parts of ``step``."""
    if step.id in log.state.done:
        for discard in log.discards:
            yield from _discard_points(log, step, discard)
        yield from _tightened_twice_points(log, step)
    yield from _used_part_points(log, step)
    yield from _changed_lot_points(log, step)


def _discard_points(log: LoadedLog, step: Step, discard: Discard) -> Iterator[WeakPoint]:
    kit = log.procedure.kit_by_id.get(discard.item)
    if kit is None or not _for_one_use(kit) or not _concerns(log, step, discard):
        return
    title, thrown = kit.title or kit.id, f"thrown away at event {discard.seq} ({discard.cause})"
    before = [lot for lot in _lots_of(log, discard.item) if lot.seq < discard.seq]
    after = [lot for lot in _lots_of(log, discard.item) if lot.seq > discard.seq]
    old = {folded(lot.lot) for lot in before}
    for lot in after:
        if lot.operation == step.id and lot.in_force and folded(lot.lot) in old:
            words = f"{title}: lot {lot.lot} was entered again after a part of that lot was {thrown}"
            planned = discard.cause == "taken apart"
            yield WeakPoint("fitted-after-discard", words, lot.seq, discard.item, PLANNED if planned else 1.0)
    if not after and not _new_one_noted(log, discard, title):
        words = f"{title}: {thrown}, and no new one is on record"
        if kit.lot_required or before:
            yield WeakPoint("not-replaced", words, discard.seq, discard.item)
        else:
            words += "; the procedure asks for no lot of it, and no note names a new one"
            tightened = _tightened_before(log, step)
            words += f". Its joint was tightened again, {count(tightened + 1, 'time')} in all" if tightened else ""
            yield WeakPoint("new-part-unknown", words, discard.seq, discard.item)


def _for_one_use(kit: KitItem) -> bool:
    """False for a consumable that is wiped off, such as sealant: the rest of the same tube is used again."""
    return kit.kind == "part" or kit.discard


def _concerns(log: LoadedLog, step: Step, discard: Discard) -> bool:
    """True if ``step`` was done again with the part, after the part was thrown away."""
    done = log.state.done[step.id]
    if done.seq <= discard.seq or (discard.operations and step.id not in discard.operations):
        return False
    users = [name for name in discard.operations or log.plan.steps if _uses(log, name, discard.item)]
    return step.id in users if users else discard.item in used_once_items(log.state, step.id)


def _uses(log: LoadedLog, step_id: str, item: str) -> bool:
    step = log.plan.steps.get(step_id)
    return step is not None and any(ref.name == item for ref in step.operation.uses)


def _lots_of(log: LoadedLog, item: str) -> list[LotFact]:
    return [lot for lot in log.facts.lots if lot.consumable == item]


_NOT_FITTED_YET = frozenset(
    {"no", "not", "need", "needed", "order", "ordered", "buy", "get", "wait", "waiting", "without"}
)
"""Words of a note about a new part that is not there. (Own list.)"""


def _new_one_noted(log: LoadedLog, discard: Discard, title: str) -> bool:
    """True if a later note says that a new one was fitted: it has the word "new" and a word of the title."""
    names = {word.strip(",.").removesuffix("s") for word in title.casefold().split() if len(word) > 3} - {"new"}
    for remark in log.remarks:
        words = {word.strip(",.;:!").removesuffix("s") for word in remark.text.casefold().split()}
        if (
            remark.seq > discard.seq
            and remark.kind == "note"
            and "new" in words
            and not words & _NOT_FITTED_YET
            and names & words
        ):
            return True
    return False


# --- joints whose fasteners or gasket are for one use ----------------------------------------------


def _tightened_twice_points(log: LoadedLog, step: Step) -> Iterator[WeakPoint]:
    often = _tightened_before(log, step)
    tighten = step.operation.tighten
    if not often or tighten is None:
        return
    items = _parts_for_one_use(log, step)
    kit = log.procedure.kit_by_id
    named = ", ".join(kit[item].title or item for item in items) or "the fasteners, which are tightened to yield"
    thrown = [one for one in log.discards if one.item in items and step.id in one.operations]
    if thrown and any(_replaced(log, one) for one in thrown):
        return
    if thrown and not any(kit[one.item].lot_required for one in thrown):
        return  # nothing in the log can show new ones: the kind `new-part-unknown`
    words = f"{tighten.joint} was tightened {count(often + 1, 'time')} to the end, with parts for one use ({named})"
    if thrown:
        words += f". The {thrown[-1].cause} of event {thrown[-1].seq} throws them away, and no new ones are on record"
    yield WeakPoint("tightened-twice", words, _last_tick(log, step), tighten.joint, often)


def _replaced(log: LoadedLog, discard: Discard) -> bool:
    """True if a lot of a new part, or a note about one, follows. The same lot again is another weak point."""
    kit = log.procedure.kit_by_id[discard.item]
    after = any(lot.seq > discard.seq for lot in _lots_of(log, discard.item))
    return after or _new_one_noted(log, discard, kit.title or kit.id)


def _tightened_before(log: LoadedLog, step: Step) -> int:
    """How often the joint of ``step`` was tightened to the end before, with parts for one use."""
    tighten = step.operation.tighten
    if tighten is None or not (_parts_for_one_use(log, step) or log.procedure.joints_by_id[tighten.joint].to_yield):
        return 0
    stages = [number for number, stage in enumerate(tighten.stages, 1) if not isinstance(stage, CheckStage)]
    if not stages:
        return 0
    facts = [
        one for one in log.facts.stages if one.operation == step.id and one.stage == stages[-1] and not one.stretch
    ]
    rounds: dict[int, int] = {}
    for one in facts:
        rounds[one.round] = rounds.get(one.round, 0) + one.fasteners
    full = max(rounds.values(), default=0)
    last = max(rounds, default=0)
    in_round = sum(one.unticked for one in facts if one.round == last) // full if full > 1 else 0
    return sum(ticked == full for number, ticked in rounds.items() if number != last) + in_round


def _parts_for_one_use(log: LoadedLog, step: Step) -> tuple[str, ...]:
    kit = log.procedure.kit_by_id
    return tuple(item for item in used_once_items(log.state, step.id) if item in kit and _for_one_use(kit[item]))


def _last_tick(log: LoadedLog, step: Step) -> int | None:
    return max((one.seq for one in log.facts.stages if one.operation == step.id and one.in_force), default=None)


# --- used parts and lots ------------------------------------------------------------------------------


def _used_part_points(log: LoadedLog, step: Step) -> Iterator[WeakPoint]:
    """Readings for which somebody said that the part is used. A part that an option names as used is left out."""
    work = log.state.work(step.id)
    for record in step.operation.record:
        if record.used_by_option is not None:
            continue
        for slot, attempts in work.readings.get(record.name, {}).items():
            if not attempts or not attempts[-1].used:
                continue
            last = attempts[-1]
            where = f" ({slot})" if len(record.slots) > 1 else ""
            words = f"{record.ask or record.name}{where} {last.quantity.entered}: the part was used before"
            beyond = False
            if isinstance(record.bound, Fixed):
                share = margin(Decimal(last.quantity.value), band_of_limit(record.bound.limit, last.quantity.unit))
                beyond = share is not None and share < 0
                words += f"; a new one has {record.bound.limit.text}" if beyond else ""
            yield WeakPoint("used-part", words, last.seq, record.name, 1.0 if beyond else 0.0)


def _changed_lot_points(log: LoadedLog, step: Step) -> Iterator[WeakPoint]:
    """Lot numbers that were corrected, or entered again with another number though nothing was thrown away."""
    for lot in log.facts.lots:
        if lot.operation != step.id or not lot.in_force:
            continue
        before = [one for one in _lots_of(log, lot.consumable) if one.operation == step.id and one.seq < lot.seq]
        if not before or folded(before[-1].lot) == folded(lot.lot):
            continue
        if not any(before[-1].seq < one.seq < lot.seq and one.item == lot.consumable for one in log.discards):
            words = f"the lot of {lot.consumable} was changed from {before[-1].lot} to {lot.lot}"
            yield WeakPoint("lot-changed", words, lot.seq, lot.consumable)
