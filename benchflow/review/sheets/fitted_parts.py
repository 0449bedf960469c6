"""The parts and lots that are on the assembly at the end of a job."""

from collections.abc import Iterator

from benchflow.review.log.loaded_log import LoadedLog
from benchflow.session.rules.planned_disassembly import trials, used_once_items


def part_rows(log: LoadedLog) -> Iterator[tuple[str, ...]]:
    kit = log.procedure.kit_by_id
    titles = {step.id: step.title for step in log.plan.steps.values()}
    taken_apart = trials(log.state)
    for lot in log.facts.lots:
        if lot.in_force:
            title = kit[lot.consumable].title if lot.consumable in kit else lot.consumable
            where = titles.get(lot.operation, lot.operation)
            if lot.operation in taken_apart and lot.consumable in used_once_items(log.state, lot.operation):
                where += " (trial; thrown away)"
            yield title, f"lot {lot.lot}", where
    for choice in log.facts.choices:
        if choice.in_force:
            yield choice.name, choice.take, titles.get(choice.operation, choice.operation)
