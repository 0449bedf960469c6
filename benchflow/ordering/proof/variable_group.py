"""A group of variables, with the steps, moves and rules that use them and the order of those steps."""

from collections.abc import Iterator, Sequence
from functools import cached_property
from itertools import product
from math import prod

from benchflow.ordering.interlock import moves_of
from benchflow.ordering.proof.partial_order import PartialOrder
from benchflow.ordering.state_machine import StateMachine, bits
from benchflow.procedure.model import Procedure, Variable
from benchflow.procedure.plan import Plan

_MOST_STARTS = 100_000


class VariableGroup:
    """One group of variables, with the part of a plan that uses them.

    ``steps`` are the step numbers of the plan, ascending. ``mask`` holds the same numbers as a mask. All other masks
    use the numbers that the steps have within the group.

    ``before`` holds, for each step, the steps of the group that come before it. It includes those that come before it
    through steps outside the group, or because states imply it. ``on_paper`` is the same for the author's order alone.
    ``outside`` and ``outside_on_paper`` hold, for each step, the steps outside the group that come before it.

    ``excluded`` are the steps that are never done. They are kept because they may break a rule on paper. ``all`` are
    the other steps. ``waiting`` are the steps that come after a step which is never done, by the author's order.
    """

    def __init__(
        self,
        plan: Plan,
        paper: PartialOrder,
        order: PartialOrder,
        variables: Sequence[str],
        steps: Sequence[int],
        never: int,
    ) -> None:
        self.plan = plan
        self.order = order
        self.variables = tuple(variables)
        self.steps = tuple(steps)
        names = set(variables)
        moves = [m.id for m in moves_of(plan).values() if names & {*m.needs, *m.during, *m.sets}]
        self.rules = [i for i, rule in enumerate(plan.procedure.interference) if names.issuperset(rule.never)]
        self.machine = StateMachine(plan, variables=variables, steps=[order.steps[i] for i in steps], moves=moves)
        self.mask = sum(1 << i for i in self.steps)
        self._place = {number: i for i, number in enumerate(self.steps)}
        self.before = [self.in_group(order.before[number]) for number in self.steps]
        self.on_paper = [self.in_group(paper.before[number]) for number in self.steps]
        self.outside = [order.before[number] & ~self.mask for number in self.steps]
        self.outside_on_paper = [paper.before[number] & ~self.mask for number in self.steps]
        self.excluded = sum(1 << i for i, number in enumerate(self.steps) if never >> number & 1)
        self.waiting = sum(1 << i for i, number in enumerate(self.steps) if paper.before[number] & never)
        self.all = (1 << len(self.steps)) - 1 & ~self.excluded
        self.too_many_starts = prod(1 if v.start else len(v.values) for v in self.machine.variables) > _MOST_STARTS
        self.starts, self.forbidden_starts = ([], []) if self.too_many_starts else self._starts()

    @property
    def key(self) -> tuple[object, ...]:
        """A key that is equal for groups with equal state spaces."""
        machine = self.machine
        return (
            self.variables,
            machine.steps,
            machine.moves,
            tuple(self.before),
            tuple(self.on_paper),
            tuple(machine.effects),
            tuple(machine.effect_of),
            tuple(machine.move_effects),
            self.excluded,
            self.waiting,
        )

    @cached_property
    def steps_of_effect(self) -> dict[int, int]:
        """For each effect, the mask of the steps that have it, without the excluded ones."""
        found: dict[int, int] = {}
        for step in bits(self.all):
            effect = self.machine.effect_of[step]
            found[effect] = found.get(effect, 0) | 1 << step
        return found

    def adopt(self, other: "VariableGroup") -> None:
        """Use the numbering of valuations of ``other``, which has an equal key."""
        self.machine, self.starts, self.forbidden_starts = other.machine, other.starts, other.forbidden_starts

    def in_plan(self, mask: int) -> int:
        """Convert a mask of group step numbers to plan step numbers."""
        return sum(1 << self.steps[i] for i in bits(mask))

    def in_group(self, mask: int) -> int:
        """Convert a mask of plan step numbers to group step numbers, dropping steps outside the group."""
        return sum(1 << self._place[number] for number in bits(mask & self.mask))

    def twins(self, *, also_outside: bool) -> list[list[int]]:
        """Lists of twins: interchangeable steps, with equal effects and equal prerequisites and successors.

        With ``also_outside`` their prerequisites outside the group must be equal too.
        """
        later = [0] * len(self.steps)
        for step, mask in enumerate(self.before):
            for earlier in bits(mask):
                later[earlier] |= 1 << step
        alike: dict[tuple[int, ...], list[int]] = {}
        for step in bits(self.all):
            kind = (
                self.machine.effect_of[step],
                self.before[step],
                self.on_paper[step],
                later[step],
                *((self.outside[step], self.outside_on_paper[step]) if also_outside else ()),
            )
            alike.setdefault(kind, []).append(step)
        return [steps for steps in alike.values() if len(steps) > 1]

    def _starts(self) -> tuple[list[int], list[int]]:
        """The start valuations that are allowed, and those that a rule forbids."""
        allowed: list[int] = []
        forbidden: list[int] = []
        for values in start_values(self.machine.variables):
            number = self.machine.number(dict(values))
            (forbidden if self.machine.broken_rules(number) else allowed).append(number)
        return allowed, forbidden


def start_values(variables: Sequence[Variable]) -> Iterator[dict[str, str]]:
    """Every combination of start values of the variables."""
    domains = [v.values if v.start is None else (v.start,) for v in variables]
    for values in product(*domains):
        yield {v.name: value for v, value in zip(variables, values, strict=True)}


def group_members(plan: Plan) -> list[tuple[list[str], list[int]]]:
    """Split the variables into groups. Returns the (variables, step numbers) of each group.

    Variables used by the same step, move or rule are in the same group. Variables that no rule and no `needs` uses are
    left out.
    """
    procedure = plan.procedure
    moves = list(moves_of(plan).values())
    relevant = _relevant_variables(procedure, plan)
    root = {variable.name: variable.name for variable in procedure.state if variable.name in relevant}

    def find(name: str) -> str:
        while root[name] != name:
            root[name] = root[root[name]]
            name = root[name]
        return name

    mentions = [
        *([*step.needs, *step.during, *step.sets] for step in plan.steps.values()),
        *([*move.needs, *move.during, *move.sets] for move in moves),
        *(list(rule.never) for rule in procedure.interference),
    ]
    kept = [[name for name in together if name in root] for together in mentions]
    for together in kept:
        for name in together[1:]:
            root[find(name)] = find(together[0])
    found: dict[str, tuple[list[str], list[int]]] = {}
    for name in root:
        found.setdefault(find(name), ([], []))[0].append(name)
    for number, together in enumerate(kept[: len(plan.steps)]):
        if together:
            found[find(together[0])][1].append(number)
    return list(found.values())


def _relevant_variables(procedure: Procedure, plan: Plan) -> set[str]:
    relevant = {name for rule in procedure.interference for name in rule.never}
    for step in plan.steps.values():
        relevant.update(step.needs)
    for move in moves_of(plan).values():
        relevant.update(move.needs)
    return relevant
