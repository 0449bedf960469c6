"""The order that an author does not write line by line: places in their order, sections place by place, called work."""

from collections.abc import Callable, Hashable, Iterable, Sequence
from typing import TypeVar

from msgspec.structs import replace

from benchflow.procedure.identity import parts
from benchflow.procedure.model import Procedure
from benchflow.procedure.plan import Findings, Step

Steps = dict[str, Step]
Key = TypeVar("Key", bound=Hashable)


def with_order_of_places(procedure: Procedure, steps: Steps) -> Steps:
    """The steps with the prerequisites that `in-order`, `order` and `one-by-one` add."""
    for operation in procedure.operations:
        if operation.in_order:
            own = [step for step in steps.values() if step.operation.id == operation.id]
            for places in _grouped(own, lambda step: parts(step.place)[:-1]).values():
                _add_chain(steps, [[step] for step in places])
    for section in procedure.sections:
        if section.each is None:
            continue
        members = [step for step in steps.values() if step.operation.section == section.id]
        at_place = _grouped(members, lambda step: parts(step.place)[0])
        order = section.order or procedure.places.get(section.each, ())
        if section.order:
            for name in section.operations:
                chain = [[step for step in at_place.get(place, ()) if step.operation.id == name] for place in order]
                _add_chain(steps, chain)
        if section.one_by_one:
            _add_chain(steps, [at_place.get(place, []) for place in order])
    return steps


def with_called_steps(steps: Steps, findings: Findings) -> Steps:
    """The steps with the order of those that remedies called for.

    The step whose remedy called waits for the called one.
    """
    for name, callers in findings.called.items():
        for caller in callers:
            if name in steps and caller in steps and caller != name:
                steps[caller] = replace(steps[caller], after=tuple(dict.fromkeys((*steps[caller].after, name))))
    return steps


def _grouped(steps: Iterable[Step], key: Callable[[Step], Key]) -> dict[Key, list[Step]]:
    found: dict[Key, list[Step]] = {}
    for step in steps:
        found.setdefault(key(step), []).append(step)
    return found


def _add_chain(steps: Steps, groups: Iterable[Sequence[Step]]) -> None:
    """Add that each group of steps comes after the group before it. Empty groups are passed over.

    Only the first steps of a group need the last ones of the group before: the rest follows.
    """
    before: Sequence[Step] = ()
    for group in groups:
        if not group:
            continue
        names = {step.id for step in group}
        needed = {name for step in before for name in steps[step.id].after}
        last = [step.id for step in before if step.id not in needed]
        for step in group if last else ():
            present = steps[step.id]
            if names.isdisjoint(present.after):
                steps[step.id] = replace(present, after=tuple(dict.fromkeys((*present.after, *last))))
        before = group
