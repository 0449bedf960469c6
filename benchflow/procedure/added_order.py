"""The order that an author does not write line by line: places in their order, sections place by place, called work."""

from collections.abc import Callable, Hashable, Iterable, Sequence
from typing import TypeVar

from msgspec.structs import replace

from benchflow.procedure.identity import StepId, parts
from benchflow.procedure.model import Operation, Procedure, Section
from benchflow.procedure.plan import Findings, Step

Steps = dict[str, Step]
Key = TypeVar("Key", bound=Hashable)
Item = TypeVar("Item")
Located = tuple[Operation, str | None]
"""An operation, at one place if it is repeated."""
PassedThrough = Callable[[Operation, str | None], tuple[str, ...]]
"""The ids of the steps that the order passes to from an operation that is left out at a place."""


def with_order_of_places(procedure: Procedure, steps: Steps, passed: PassedThrough) -> Steps:
    """The steps with the prerequisites that `in-order`, `order` and `one-by-one` add.

    ``passed`` gives what an operation that is left out at a place comes after: the order passes through it.
    """
    chains = _Chains(steps, passed)
    for operation in procedure.operations:
        if operation.in_order:
            places = procedure.places.get(operation.each or "", ())
            for own in _grouped(places, lambda place: parts(place)[:-1]).values():
                chains.add([[(operation, place)] for place in own])
    for section in procedure.sections:
        if section.each is not None:
            _add_order_of_section(chains, procedure, section)
    return steps


def _add_order_of_section(chains: "_Chains", procedure: Procedure, section: Section) -> None:
    order = section.order or procedure.places.get(section.each or "", ())
    members = [procedure.operations_by_id[name] for name in section.operations if name in procedure.operations_by_id]
    located = {
        place: [
            (operation, at)
            for operation in members
            for at in procedure.places.get(operation.each or "", ())
            if parts(at)[0] == place
        ]
        for place in order
    }
    for operation in members if section.order else ():
        chains.add([[one for one in located[place] if one[0] is operation] for place in order])
    if section.one_by_one:
        chains.add([located[place] for place in order])


class _Chains:
    """Adds that groups of operations at places come one after another."""

    def __init__(self, steps: Steps, passed: PassedThrough) -> None:
        self._steps, self._passed = steps, passed

    def add(self, groups: Iterable[Sequence[Located]]) -> None:
        """Add that each group comes after the group before it.

        Only the first steps of a group need the last ones of the group before: the rest follows.
        """
        before: list[str] = []
        for group in groups:
            ids = [str(StepId(operation.id, place)) for operation, place in group]
            present = [name for name in ids if name in self._steps]
            left_out = [one for one, name in zip(group, ids, strict=True) if name not in present]
            through = [name for one in left_out for name in self._passed(*one)]
            for name in present if before else ():
                step = self._steps[name]
                if set(present).isdisjoint(step.after):
                    after = (*step.after, *(each for each in before if each != name))
                    self._steps[name] = replace(step, after=tuple(dict.fromkeys(after)))
            needed = {name for one in present for name in self._steps[one].after}
            last = [name for name in present if name not in needed]
            before = list(dict.fromkeys([*(last or before), *through]))


def with_called_steps(steps: Steps, findings: Findings) -> Steps:
    """The steps with the order of those that remedies called for.

    The step whose remedy called waits for the called one.
    """
    for name, callers in findings.called.items():
        for caller in callers:
            if name in steps and caller in steps and caller != name:
                steps[caller] = replace(steps[caller], after=tuple(dict.fromkeys((*steps[caller].after, name))))
    return steps


def _grouped(items: Iterable[Item], key: Callable[[Item], Key]) -> dict[Key, list[Item]]:
    found: dict[Key, list[Item]] = {}
    for item in items:
        found.setdefault(key(item), []).append(item)
    return found
