"""What can be said of one plan: which steps are never done, what can no longer be finished, what only the
interlock stops. Exact where ``complete``; every part that was too wide is named."""

from collections.abc import Sequence
from itertools import product

from msgspec import Struct
from msgspec.structs import replace

from benchflow.ordering.configuration import Configuration
from benchflow.ordering.proof.explorer import Explorer, UnexploredGroup
from benchflow.ordering.proof.group_independence import Pair, entangled
from benchflow.ordering.proof.partial_order import PartialOrder
from benchflow.ordering.proof.state_space import AnyStateSpace
from benchflow.ordering.proof.variable_group import VariableGroup, groups, start_values
from benchflow.ordering.route import SafeRoute, route
from benchflow.ordering.state_machine import bits
from benchflow.procedure.plan import Plan

_MOST_STARTS = 256


class PlanAnalysis(Struct, frozen=True):
    """``paper`` is the author's order, ``order`` the same with what the states force. ``never`` are the steps (plan
    numbers) that no order ever does. ``pairs`` are the parts that were explored in full, ``outlines`` the others.
    ``joined`` says that from every configuration in which each part by itself can be finished, the whole can be.
    Where ``no_start``, every start is forbidden and nothing was asked."""

    plan: Plan
    paper: PartialOrder
    order: PartialOrder
    never: int
    pairs: tuple[Pair, ...]
    outlines: tuple[UnexploredGroup, ...]
    joined: bool
    no_start: bool

    @property
    def settled(self) -> bool:
        """Whether what is never done, and what can no longer be finished, is known for certain."""
        return self.joined and all(outline.proven.free for outline in self.outlines) and not self.no_start

    def parts(self) -> list[VariableGroup]:
        return [part for part, _ in self.pairs] + [outline.part for outline in self.outlines]


def analyse(plan: Plan, explorer: Explorer) -> PlanAnalysis:
    look = _PlanExploration(plan, explorer)
    grouped = groups(plan)
    if not explorer.reductions.by_groups:
        grouped = [_merged(grouped, range(len(grouped)))] if grouped else []
    joined = True
    while True:
        look.explore(grouped)
        if look.no_start:
            break
        tangle = entangled(look.order, look.pairs)
        if tangle is None:
            break
        # The parts may have to wait for each other: only together do they tell the truth.
        places = [_place_of(grouped, look.pairs[number][0]) for number in tangle]
        together = _merged(grouped, places)
        if look.is_too_wide(together):
            joined = False
            break
        grouped = [*(group for place, group in enumerate(grouped) if place not in places), together]
    never = look.never
    if not look.no_start and not (joined and all(space.live_starts() for _, space in look.pairs)):
        never |= _never_reached(plan, look)
    return PlanAnalysis(
        plan, look.paper, look.order, never, tuple(look.pairs), tuple(look.outlines), joined, look.no_start
    )


Group = tuple[list[str], list[int]]


class _PlanExploration:
    """The parts of one plan as far as they are known. ``order`` grows by what the states are found to force."""

    def __init__(self, plan: Plan, explorer: Explorer) -> None:
        self.plan = plan
        self.paper = self.order = PartialOrder(plan)
        self.never = self.order.held
        self.pairs: list[Pair] = []
        self.outlines: list[UnexploredGroup] = []
        self._explorer = explorer

    def parts(self) -> list[VariableGroup]:
        return [part for part, _ in self.pairs] + [outline.part for outline in self.outlines]

    @property
    def no_start(self) -> bool:
        return any(not part.starts and not part.too_many_starts for part in self.parts())

    def explore(self, grouped: Sequence[Group]) -> None:
        """What is never done takes everything after it along, and what the states of one part force holds in
        all others: again, until nothing changes."""
        while True:
            self.pairs, self.outlines = [], []
            for group in grouped:
                part, found = self._looked_up(group)
                if isinstance(found, UnexploredGroup):
                    self.outlines.append(replace(found, part=part))
                else:
                    self.pairs.append((part, found))
            if self.no_start or not self._learned_more():
                return

    def is_too_wide(self, group: Group) -> bool:
        _, found = self._looked_up(group)
        return isinstance(found, UnexploredGroup) and not found.proven.free

    def _looked_up(self, group: Group) -> tuple[VariableGroup, AnyStateSpace | UnexploredGroup]:
        part = VariableGroup(self.plan, self.paper, self.order, *group, self.never)
        return part, self._explorer.look_at(part)

    def _learned_more(self) -> bool:
        lost = self.never
        for part, space in self.pairs:
            lost |= part.in_plan(space.never_done())
        lost |= sum(1 << i for i, before in enumerate(self.order.before) if before & lost)
        if lost != self.never:
            self.never = lost
            return True
        if len(self.pairs) < 2 or not self._explorer.reductions.forced_order:
            return False
        forced = [mask & ~self.order.before[i] for i, mask in enumerate(self._forced())]
        if not any(forced):
            return False
        self.order = PartialOrder(self.plan, [old | new for old, new in zip(self.order.after, forced, strict=True)])
        self.never |= self.order.held
        return True

    def _forced(self) -> list[int]:
        forced = [0] * len(self.order.steps)
        for part, space in self.pairs:
            if not space.free:
                for step, mask in enumerate(space.always_before):
                    if not part.excluded >> step & 1:
                        forced[part.steps[step]] |= part.in_plan(mask)
        return forced


def _merged(grouped: Sequence[Group], places: Sequence[int] | range) -> Group:
    variables = [name for place in places for name in grouped[place][0]]
    return variables, sorted(number for place in places for number in grouped[place][1])


def _place_of(grouped: Sequence[Group], part: VariableGroup) -> int:
    return next(place for place, (variables, _) in enumerate(grouped) if tuple(variables) == part.variables)


def _never_reached(plan: Plan, look: _PlanExploration) -> int:
    """The steps that cannot be reached, asked one by one: the sure way where parts cannot all be finished."""
    order = look.order
    left = order.everything & ~look.never
    for values in _whole_starts(plan, look):
        for step in bits(left):
            if not left >> step & 1:
                continue
            found = route(plan, Configuration(frozenset(), dict(values)), order.steps[step])
            if isinstance(found, SafeRoute):
                done = {order.index[go.id] for go in found.steps if go.id in order.index}
                left &= ~sum(1 << number for number in done)
    return left


def _whole_starts(plan: Plan, look: _PlanExploration) -> list[dict[str, str]]:
    """Every start that no rule forbids, of all variables together, as far as that can be told apart."""
    variables = plan.procedure.state
    fixed = [v for v in variables if v.start is not None]
    values = {v.name: str(v.start) for v in fixed}
    choices: list[list[dict[str, str]]] = []
    grouped = {name for part in look.parts() for name in part.variables}
    for part in look.parts():
        choices.append([_known(part, number) for number in part.starts])
    loose = [v for v in variables if v.name not in grouped]
    choices.append(list(start_values(loose))[:1])
    found = []
    for chosen in product(*choices):
        found.append({**values, **{name: value for one in chosen for name, value in one.items()}})
        if len(found) == _MOST_STARTS:
            break
    return found


def _known(part: VariableGroup, number: int) -> dict[str, str]:
    return {name: value for name, value in part.machine.valuation(number).items() if value is not None}
