"""The analysis of one plan: steps never done, dead ends, and rule breaches that only the interlock prevents.

The analysis is exact if it is ``conclusive``. It lists the groups that were too large to explore.
"""

from collections.abc import Iterator, Sequence, Set
from itertools import islice, product
from typing import NamedTuple

from msgspec import Struct
from msgspec.structs import replace

from benchflow.ordering.configuration import Configuration
from benchflow.ordering.proof.group_explorer import Explorer, UnexploredGroup
from benchflow.ordering.proof.group_independence import Pair, groups_to_join
from benchflow.ordering.proof.partial_order import PartialOrder
from benchflow.ordering.proof.state_space import AnyStateSpace
from benchflow.ordering.proof.variable_group import VariableGroup, group_members, start_values
from benchflow.ordering.route import SafeRoute, route
from benchflow.ordering.state_machine import bits
from benchflow.ordering.work_meter import WorkMeter
from benchflow.procedure.plan import Plan

_MOST_STARTS = 256
_MOST_STARTS_TRIED = 10_000


class PlanAnalysis(Struct, frozen=True):
    """The result of exploring one plan.

    ``paper`` is the author's partial order. ``order`` adds the prerequisites that states imply. ``never`` is the mask
    of the steps that are not done in any order. ``pairs`` are the groups explored in full, with their state spaces;
    ``unexplored`` are the others. ``separable`` is true if the groups can be finished independently of each other.
    ``no_start`` is true if every start is forbidden, so that nothing was explored. ``undecided`` is the mask of the
    steps of which it is not known if any order does them.
    """

    plan: Plan
    paper: PartialOrder
    order: PartialOrder
    never: int
    pairs: tuple[Pair, ...]
    unexplored: tuple[UnexploredGroup, ...]
    separable: bool
    no_start: bool
    undecided: int = 0

    @property
    def conclusive(self) -> bool:
        """True if the steps never done and the dead ends are known for certain."""
        explored = self.separable and all(each.proven.free for each in self.unexplored)
        return explored and not self.no_start and not self.undecided

    def groups(self) -> list[VariableGroup]:
        return [group for group, _ in self.pairs] + [each.group for each in self.unexplored]


def analyse(plan: Plan, explorer: Explorer) -> PlanAnalysis:
    """Analyse a plan: explore its groups, and join groups that may have to wait for each other."""
    exploration = _PlanExploration(plan, explorer)
    partition = group_members(plan)
    if not explorer.reductions.by_groups:
        partition = [_merged(partition, range(len(partition)))] if partition else []
    separable = True
    while True:
        exploration.explore(partition)
        if exploration.no_start:
            break
        joining = groups_to_join(exploration.order, exploration.pairs)
        if joining is None:
            break
        # Each of these groups may have to wait for another one, so explore them together.
        places = [_place_of(partition, exploration.pairs[number][0]) for number in joining]
        together = _merged(partition, places)
        if exploration.is_too_wide(together):
            separable = False
            break
        partition = [*(members for place, members in enumerate(partition) if place not in places), together]
    never, undecided = exploration.never, 0
    if not exploration.no_start and not (separable and all(space.live_starts() for _, space in exploration.pairs)):
        lost, undecided = _never_reached(plan, exploration, explorer.searches)
        never |= lost
    return PlanAnalysis(
        plan,
        exploration.paper,
        exploration.order,
        never,
        tuple(exploration.pairs),
        tuple(exploration.unexplored),
        separable,
        exploration.no_start,
        undecided,
    )


Members = tuple[list[str], list[int]]
"""The variables and step numbers of a group."""


class _PlanExploration:
    """The groups of one plan explored so far. ``order`` also contains the prerequisites that states imply."""

    def __init__(self, plan: Plan, explorer: Explorer) -> None:
        self.plan = plan
        self.paper = self.order = PartialOrder(plan)
        self.never = self.order.blocked
        self.pairs: list[Pair] = []
        self.unexplored: list[UnexploredGroup] = []
        self._explorer = explorer

    def groups(self) -> list[VariableGroup]:
        return [group for group, _ in self.pairs] + [each.group for each in self.unexplored]

    @property
    def no_start(self) -> bool:
        return any(not group.starts and not group.too_many_starts for group in self.groups())

    def explore(self, partition: Sequence[Members]) -> None:
        """Explore all groups, again and again until nothing new is learned.

        A step after a step that is never done is never done either. An order that the states of one group imply is used
        for all groups.
        """
        while True:
            self.pairs, self.unexplored = [], []
            # Explore small groups first, so that one group that is too large does not leave the others unexplored.
            by_size = sorted(range(len(partition)), key=lambda place: (len(partition[place][1]), place))
            explored = {place: self._explored(partition[place]) for place in by_size}
            for place in range(len(partition)):
                group, found = explored[place]
                if isinstance(found, UnexploredGroup):
                    self.unexplored.append(replace(found, group=group))
                else:
                    self.pairs.append((group, found))
            if self.no_start or not self._add_discoveries():
                return

    def is_too_wide(self, members: Members) -> bool:
        _, found = self._explored(members)
        return isinstance(found, UnexploredGroup) and not found.proven.free

    def _explored(self, members: Members) -> tuple[VariableGroup, AnyStateSpace | UnexploredGroup]:
        group = VariableGroup(self.plan, self.paper, self.order, *members, self.never)
        return group, self._explorer.explore(group)

    def _add_discoveries(self) -> bool:
        """Add the steps found to be never done, and the prerequisites that states imply. True if any of them is new."""
        lost = self.never
        for group, space in self.pairs:
            lost |= group.in_plan(space.never_done())
        lost |= sum(1 << i for i, before in enumerate(self.order.before) if before & lost)
        if lost != self.never:
            self.never = lost
            return True
        if len(self.pairs) < 2 or not self._explorer.reductions.forced_order:
            return False
        forced = [mask & ~self.order.before[i] for i, mask in enumerate(self._forced_before())]
        if not any(forced):
            return False
        self.order = PartialOrder(self.plan, [old | new for old, new in zip(self.order.after, forced, strict=True)])
        self.never |= self.order.blocked
        return True

    def _forced_before(self) -> list[int]:
        """For each step of the plan, the mask of the prerequisites that states imply."""
        forced = [0] * len(self.order.steps)
        for group, space in self.pairs:
            if not space.free:
                for step, mask in enumerate(space.always_before):
                    if not group.excluded >> step & 1:
                        forced[group.steps[step]] |= group.in_plan(mask)
        return forced


def _merged(partition: Sequence[Members], places: Sequence[int] | range) -> Members:
    variables = [name for place in places for name in partition[place][0]]
    return variables, sorted(number for place in places for number in partition[place][1])


def _place_of(partition: Sequence[Members], group: VariableGroup) -> int:
    return next(place for place, (variables, _) in enumerate(partition) if tuple(variables) == group.variables)


def _never_reached(plan: Plan, exploration: _PlanExploration, work: WorkMeter) -> tuple[int, int]:
    """The mask of the steps that cannot be reached in the whole plan, and of those that are not decided.

    A route is searched to each uncertain step.
    """
    order = exploration.order
    left = order.everything & ~exploration.never
    undecided = 0
    starts, complete = allowed_starts(plan, exploration.groups())
    for values in starts:
        for step in bits(left):
            if not left >> step & 1:
                continue
            found = route(plan, Configuration(frozenset(), dict(values)), order.steps[step], work=work)
            if isinstance(found, SafeRoute):
                done = {order.index[action.id] for action in found.steps if action.id in order.index}
                left &= ~sum(1 << number for number in done)
            elif not found.certain:
                undecided |= 1 << step
    undecided = left & undecided if complete else left
    return left & ~undecided, undecided


class AllowedStarts(NamedTuple):
    """Start valuations of the whole plan that no rule forbids. There are others if ``complete`` is false."""

    starts: list[dict[str, str]]
    complete: bool


def allowed_starts(plan: Plan, groups: Sequence[VariableGroup], relevant: Set[str] | None = None) -> AllowedStarts:
    """The start valuations of the whole plan that no rule forbids, at most :data:`_MOST_STARTS`.

    Of those that differ only in variables outside ``relevant``, one is enough; ``None``: all are relevant.
    """
    variables = plan.procedure.state
    values = {v.name: str(v.start) for v in variables if v.start is not None}
    in_groups = {name for group in groups for name in group.variables}
    choices: list[list[dict[str, str]]] = []
    complete = True
    for group in groups:
        mine = [name for name in group.variables if relevant is None or name in relevant]
        starts = group.starts
        if group.too_many_starts:
            starts = [*islice(_some_allowed(group), 1 if not mine else _MOST_STARTS)]
            complete = complete and not mine
        distinct: dict[tuple[str | None, ...], dict[str, str]] = {}
        for number in starts:
            known = group.machine.known_values(number)
            distinct.setdefault(tuple(known.get(name) for name in mine), known)
        choices.append(list(distinct.values()))
    choices.append(list(islice(start_values([v for v in variables if v.name not in in_groups]), 1)))
    found = [
        {**values, **{name: value for one in chosen for name, value in one.items()}}
        for chosen in islice(product(*choices), _MOST_STARTS + 1)
    ]
    return AllowedStarts(found[:_MOST_STARTS], complete and len(found) <= _MOST_STARTS)


def _some_allowed(group: VariableGroup) -> Iterator[int]:
    """Start valuations of a group that has too many to list all."""
    for values in islice(start_values(group.machine.variables), _MOST_STARTS_TRIED):
        number = group.machine.number(dict(values))
        if not group.machine.broken_rules(number):
            yield number
