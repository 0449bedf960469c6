"""The parts and lots that are on the assembly at the end of a job, and those that were taken off again."""

from collections.abc import Iterator

from msgspec import Struct

from benchflow.procedure.model import KitItem, parts_of
from benchflow.procedure.plan import Step
from benchflow.review.log.facts import LotFact
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.session.rules.deviation_subjects import titled_value
from benchflow.session.rules.planned_disassembly import trials, used_once_items
from benchflow.session.state.events import RemedyCarriedOut, event_of

CUSTOMER, SHOP = "customer", "shop"
"""The suppliers that the format names. The shop is the usual one."""


class PartOnAssembly(Struct, frozen=True):
    """A part or consumable on the assembly. ``which`` has its lots or sizes; ``supplier`` is "" for the shop."""

    title: str
    quantity: str
    which: str
    supplier: str


def fitted_parts(log: LoadedLog) -> tuple[PartOnAssembly, ...]:
    """Each part and consumable with a lot, for one use, or with a supplier, as it is on the assembly at the end.

    It counts as fitted when the last operation that uses it is finished. A part that was thrown away, or that only a
    trial used, is left out. Parts that remedies fitted and parts that were chosen by size follow.
    """
    rows: dict[tuple[str, str], dict[str, None]] = {}  # lots by title and quantity
    suppliers: dict[str, str] = {}
    for item in log.procedure.kit:
        lots = _lots_by_place(log, item)
        supplier = supplier_of(log, item)
        listed = item.lot_required or item.discard or bool(item.supplier or item.supplier_option)
        if lots or (listed and not item.lot_required and _is_fitted(log, item)):
            rows[item.title, item.quantity] = dict.fromkeys(lots)
            suppliers[item.title] = supplier
    for title, lot in _lots_of_remedies(log):
        rows.setdefault((title, ""), {})[lot] = None
    for title in _parts_of_remedies(log):
        rows.setdefault((title, ""), {})
    for choice in log.facts.choices:
        if choice.in_force and choice.operation in log.finished:
            title, place = _choice_title(log.plan.steps[choice.operation], choice.name)
            rows.setdefault((title, ""), {})[f"{place} {choice.take}".strip()] = None
    return tuple(
        PartOnAssembly(title, quantity, "; ".join(which), suppliers.get(title, ""))
        for (title, quantity), which in rows.items()
    )


def _lots_by_place(log: LoadedLog, item: KitItem) -> tuple[str, ...]:
    """The lots of an item: ``lot A``, or by place where they differ, ``left: lot A`` and ``right: lots B, C``.

    Lots that remedies fitted are left out: they are not those of all pieces.
    """
    by_place: dict[str, dict[str, None]] = {}
    for lot in _lots_in_force(log):
        if lot.consumable == item.id and not lot.subject:
            by_place.setdefault(place_title(log.plan.steps[lot.operation]), {})[lot.lot] = None
    everywhere = dict.fromkeys(lot for lots in by_place.values() for lot in lots)
    if all(lots.keys() == everywhere.keys() for lots in by_place.values()):
        return tuple(f"lot {lot}" for lot in everywhere)
    return tuple(
        f"{place + ': ' if place else ''}{'lot' if len(lots) == 1 else 'lots'} {', '.join(lots)}"
        for place, lots in by_place.items()
    )


def place_title(step: Step) -> str:
    """The place of a repeated step: ``left``, ``cylinder 2``; "" for a step that is not repeated."""
    place, of = step.place or "", step.operation.each or step.operation.section_each
    return f"{of} {place}" if of and place.isdecimal() else place


def supplier_of(log: LoadedLog, item: KitItem) -> str:
    """Who supplied the part, "" for the shop."""
    name = log.facts.session.options.get(item.supplier_option, "") if item.supplier_option else item.supplier
    return "" if name == SHOP else name


def part_rows(log: LoadedLog) -> Iterator[tuple[str, ...]]:
    """For the shop's copy: title, lot or part, and where it was used, of every lot and choice in force."""
    kit = log.procedure.kit_by_id
    titles = {step.id: step.title for step in log.plan.steps.values()}
    taken_apart = trials(log.state)
    for lot in log.facts.lots:
        if lot.in_force:
            item = kit.get(lot.consumable)
            where = titles.get(lot.operation, lot.operation)
            if lot.operation in taken_apart and lot.consumable in used_once_items(log.state, lot.operation):
                where += " (trial; thrown away)"
            elif lot.operation not in log.finished:
                where += " (not done)"
            yield _lot_title(log, item, lot), f"lot {lot.lot}", where
    for choice in log.facts.choices:
        if choice.in_force:
            yield choice.name, choice.take, titles.get(choice.operation, choice.operation)


def removed_part_rows(log: LoadedLog) -> Iterator[tuple[str, ...]]:
    """For the shop's copy, as :func:`part_rows`: the lots that were thrown away, or replaced by another entry."""
    kit, steps = log.procedure.kit_by_id, log.plan.steps
    for lot in log.facts.lots:
        if not lot.in_force:
            where = steps[lot.operation].title if lot.operation in steps else lot.operation
            yield _lot_title(log, kit.get(lot.consumable), lot), f"lot {lot.lot}", where


def _lot_title(log: LoadedLog, item: KitItem | None, lot: LotFact) -> str:
    title = lot.consumable if item is None else item.title
    return f"{title} for {titled_value(log.plan, lot.subject)}" if lot.subject else title


def _lots_in_force(log: LoadedLog) -> Iterator[LotFact]:
    """Every lot on the assembly."""
    taken_apart = trials(log.state)
    for lot in log.facts.lots:
        thrown_away = lot.operation in taken_apart and lot.consumable in used_once_items(log.state, lot.operation)
        if lot.in_force and lot.operation in log.finished and not thrown_away:
            yield lot


def _is_fitted(log: LoadedLog, item: KitItem) -> bool:
    """True if a step of the last operation that uses the item is done, and was not a trial that used it up."""
    using = [step for step in log.plan.steps.values() if any(ref.name == item.id for ref in step.operation.uses)]
    last = [step for step in using if step.operation.id == using[-1].operation.id]
    taken_apart = trials(log.state)
    return any(step.id in log.finished and not (item.discard and step.id in taken_apart) for step in last)


def _lots_of_remedies(log: LoadedLog) -> Iterator[tuple[str, str]]:
    """Title and lot of each part that a remedy fitted: ``lot A, for Gap of ring 3``."""
    kit = log.procedure.kit_by_id
    for lot in _lots_in_force(log):
        if lot.subject:
            item = kit.get(lot.consumable)
            title = lot.consumable if item is None else item.title
            yield title, f"lot {lot.lot}, for {titled_value(log.plan, lot.subject)}"


def _parts_of_remedies(log: LoadedLog) -> Iterator[str]:
    """The title of each part without a lot that a remedy has fitted in a finished operation."""
    kit = log.procedure.kit_by_id
    with_lot = {lot.consumable for lot in _lots_in_force(log)}
    for line in log.lines:
        event = event_of(line) if line.kind == "remedied" else None
        if isinstance(event, RemedyCarriedOut) and event.operation in log.finished:
            yield from (kit[name].title for name in event.uses if name in kit and name not in with_lot)


def _choice_title(step: Step, name: str) -> tuple[str, str]:
    """The title of a choice, and its place: ``Shim``, ``2 intake`` for ``shims[2 intake]``."""
    base, _, place = name.rstrip("]").partition("[")
    for choice in parts_of(step.operation):
        if choice.name in (base, name):
            return choice.title or choice.name, place
    return base, place
