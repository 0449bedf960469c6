"""A shortest order that shows a finding. It is found in one group, then completed for the whole procedure.

In the search, a step of the group costs one. Each of its prerequisites outside the group costs one more, but is counted
only once. The cost of a path is therefore a lower bound on the length of the whole order. The path is then completed
and replayed on the whole procedure. The result may be longer, for example because other groups need moves. In that case
these groups are searched together as one group, where the cost is exact.
"""

from collections.abc import Iterator, Sequence
from heapq import heappop, heappush
from itertools import islice

from msgspec import Struct
from msgspec.structs import replace

from benchflow.ordering.proof.order_completion import FoundPath, Witness, completed_order
from benchflow.ordering.proof.over_approximation import surely_stuck
from benchflow.ordering.proof.plan_analysis import PlanAnalysis
from benchflow.ordering.proof.state_space import AnyStateSpace, gated
from benchflow.ordering.proof.variable_group import VariableGroup
from benchflow.ordering.state_machine import BLOCKED, bits
from benchflow.ordering.work_meter import WorkMeter

_MOST_NODES = 200_000
_MOST_NODES_UNEXPLORED = 20_000
_MOST_NODES_UNEXPLORED_DEAD_END = 2_000
"""Lower limits for a group that was not explored, for breaches and for dead ends."""
_WORK_PER_SUCCESSOR = 5
_CERTAIN, _BREACH, _GUESS = 0.75, 0.5, 0.125
"""The part of the work left for all searches that one search may take: for a dead end or breach that the group has, for
a breach that it may have, and for a dead end that it may have."""
_MOST_SAMPLES = 10_000


class Undecided(Struct, frozen=True):
    """The result if the search reached its limit. The whole procedure may or may not have such an order."""


def show_dead_end(
    analysis: PlanAnalysis, group: VariableGroup, space: AnyStateSpace | None, work: WorkMeter
) -> Witness | Undecided | None:
    """A shortest order after which the group cannot be finished; ``None`` if the whole procedure has none.

    Without a ``space`` the search is incomplete, so ``None`` proves nothing.
    """
    return _WitnessSearch(analysis, group, space, work, dead=True).run()


def show_breach(
    analysis: PlanAnalysis,
    group: VariableGroup,
    space: AnyStateSpace | None,
    work: WorkMeter,
    *,
    any_length: bool = False,
) -> Witness | Undecided | None:
    """A shortest order that prerequisites and needs allow and whose last action breaks a rule.

    With ``any_length`` the order may be longer than necessary. Without a ``space`` the search has a lower limit.
    """
    return _WitnessSearch(analysis, group, space, work, dead=False).run(any_length=any_length)


class _WitnessSearch:
    def __init__(
        self,
        analysis: PlanAnalysis,
        group: VariableGroup,
        space: AnyStateSpace | None,
        work: WorkMeter,
        *,
        dead: bool,
    ) -> None:
        self._analysis = analysis
        share = _CERTAIN if space is not None else _GUESS if dead else _BREACH
        self._work = work.part(int(work.left * share))
        self._group = group
        self._space = space
        self._dead = dead

    def run(self, *, any_length: bool = False) -> Witness | Undecided | None:
        found = self._run(any_length=any_length)
        if self._dead and self._space is None and isinstance(found, Witness):
            return replace(found, shortest=False)  # a shorter one may not be recognised
        return found

    def _run(self, *, any_length: bool) -> Witness | Undecided | None:
        members = [self._group]
        best: Witness | None = None
        while True:
            view = self._group if len(members) == 1 else self._joined_group(members)
            goal = _SearchGoal(view, self._group, self._space, dead=self._dead)
            most = _MOST_NODES_UNEXPLORED_DEAD_END if self._dead else _MOST_NODES_UNEXPLORED
            most = most if self._space is None else _MOST_NODES
            work = self._work.part(self._work.left * 3 // 4)
            found = _search(view, goal, view.all, most // len(members) ** 2, work)
            if isinstance(found, Undecided) and self._space is None and not self._dead:
                found = _search(view, goal, view.all, most, self._work, greedy=True)
            proven = found is None or (isinstance(found, FoundPath) and found.cheapest)
            if isinstance(found, Undecided) and self._space is None:
                return Undecided() if best is None else replace(best, shortest=False)
            if isinstance(found, Undecided):
                found = goal.certain_path() or _search(view, goal, view.all, most, self._work)
            if found is None:
                return None
            if isinstance(found, FoundPath):
                walked = completed_order(self._analysis, view, found, self._work, dead=self._dead)
                if walked is not None and (best is None or len(walked.order) < len(best.order)):
                    best = walked
                if best is not None and (any_length or (proven and len(best.order) == found.least)):
                    return best
            more = self._groups_waited_for(members)
            if not proven or not more:
                return Undecided() if best is None else replace(best, shortest=False)
            members += more

    def _joined_group(self, members: Sequence[VariableGroup]) -> VariableGroup:
        analysis = self._analysis
        return VariableGroup(
            analysis.plan,
            analysis.paper,
            analysis.order,
            [name for group in members for name in group.variables],
            sorted(number for group in members for number in group.steps),
            analysis.never,
        )

    def _groups_waited_for(self, members: Sequence[VariableGroup]) -> list[VariableGroup]:
        """The other groups with a step that comes before a step of the members."""
        waited = 0
        for group in members:
            for one, other in zip(group.outside, group.outside_on_paper, strict=True):
                waited |= one | other
        return [group for group in self._analysis.groups() if group.mask & waited and group not in members]


# --- search in a view ---------------------------------------------------------------------------------


class _SearchGoal:
    """The goal of a search: a dead end or a breach of ``group``. ``view`` is the group or a larger one with it."""

    def __init__(self, view: VariableGroup, group: VariableGroup, space: AnyStateSpace | None, *, dead: bool) -> None:
        self.dead = dead
        self._view = view
        self._group = group
        self._space = space
        self._valuations: dict[int, int] = {}
        self._breaking: dict[int, list[int]] = {}
        self._distances: dict[int, int] = {}
        self._steps = [(view.in_group(1 << number), place) for place, number in enumerate(group.steps)]

    @property
    def work_per_test(self) -> int:
        """The work of one :meth:`is_dead`."""
        return 0 if not self.dead else len(self._steps) if self._space is None else len(self._steps) // 4

    def is_dead(self, done: int, valuation: int) -> bool:
        here = sum(1 << place for bit, place in self._steps if done & bit)
        if self._space is None:
            return surely_stuck(self._group, here, self._projected(valuation))
        return not self._space.is_live(here, self._projected(valuation))

    def breaking(self, done: int, valuation: int) -> Iterator[int]:
        """The steps of the view, and ``~number`` of its moves, that would break a rule here."""
        known = self._breaking.get(valuation)
        if known is None:
            known = self._breaking[valuation] = list(self._find_breaking(valuation))
        view = self._view
        for action in known:
            is_move = action < 0
            if is_move or not ((done | view.waiting) >> action & 1 or view.on_paper[action] & ~done):
                yield action

    def distance(self, node: "_Node") -> int:
        """The least number of values that a rule of the group still lacks; 0 if a rule is broken."""
        _, valuation, broken = node
        if broken != _NONE:
            return 0
        known = self._distances.get(valuation)
        if known is None:
            machine = self._view.machine
            values = machine.values(valuation)
            rules = (machine.rule(index) for index in self._group.rules)
            known = min((sum(not mask >> values[v] & 1 for v, mask in rule) for rule in rules), default=0)
            self._distances[valuation] = known
        return known

    def certain_path(self) -> "FoundPath | None":
        """A path to a dead end with few steps, perhaps not the shortest; ``None`` if none is known without a search."""
        if self._view is not self._group or not self.dead or self._space is None:
            return None
        families = self._space.families
        ends = (
            (done.bit_count(), done, valuation)
            for valuation, family in self._space.dead_ends()
            for done in islice(families.members(family), _MOST_SAMPLES)
        )
        _, done, valuation = min(islice(ends, _MOST_NODES), default=(0, 0, -1))
        if valuation < 0:
            return None
        start, path = self._space.path_to(done, valuation)
        outside = 0
        for action in path:
            outside |= self._view.outside[action] if action >= 0 else 0
        return FoundPath(start, path, len(path) + outside.bit_count(), cheapest=False)

    def _find_breaking(self, valuation: int) -> Iterator[int]:
        machine = self._view.machine
        mine = {bit.bit_length() - 1 for bit, _ in self._steps}
        for step, effect in enumerate(machine.effect_of):
            if step in mine and machine.meets(valuation, effect) and machine.breach(valuation, effect):
                yield step
        for number, effect in enumerate(machine.move_effects):
            if (
                machine.moves[number] in self._group.machine.moves
                and machine.meets(valuation, effect)
                and machine.breach(valuation, effect, is_move=True)
            ):
                yield ~number

    def _projected(self, valuation: int) -> int:
        if self._view is self._group:
            return valuation
        known = self._valuations.get(valuation)
        if known is None:
            known = self._group.machine.number(self._view.machine.valuation(valuation))
            self._valuations[valuation] = known
        return known


_Node = tuple[int, int, int]
"""Steps done, valuation, and the action that breaks a rule (``_NONE`` while none has)."""
_NONE = 1 << 62


def _search(
    view: VariableGroup, goal: _SearchGoal, within: int, most: int, work: WorkMeter, *, greedy: bool = False
) -> FoundPath | Undecided | None:
    """The cheapest path to the goal, using only steps ``within`` and searching at most ``most`` configurations.

    With ``greedy``, configurations close to a rule are searched first. The path may then be longer than necessary.
    """
    work_per_node = 10 + (view.all & within).bit_count() // 4 + len(view.machine.moves) + goal.work_per_test
    gate = gated(view, view.twins(also_outside=True))
    cost: dict[_Node, int] = {(0, start, _NONE): 0 for start in view.starts}
    came_from: dict[_Node, tuple[_Node, int]] = {}
    heap = [(0, 0, node) for node in cost]
    closed: set[_Node] = set()
    cheapest_breach: _Node | None = None
    while heap:
        _, so_far, node = heappop(heap)
        if node in closed:
            continue
        closed.add(node)
        done, valuation, broken = node
        if broken != _NONE or (goal.dead and goal.is_dead(done, valuation)):
            return replace(_found_path(came_from, node, so_far), cheapest=not greedy)
        if len(closed) > most or not work.spend(work_per_node):
            if cheapest_breach is None:
                return Undecided()
            found = _found_path(came_from, cheapest_breach, cost[cheapest_breach])
            return replace(found, cheapest=False)
        counted = 0
        for step in bits(done):
            counted |= view.outside[step]
        for after, action, cost_of_step in _successors(view, goal, gate, node, counted, within):
            work.spend(_WORK_PER_SUCCESSOR)
            if so_far + cost_of_step < cost.get(after, so_far + cost_of_step + 1):
                cost[after] = so_far + cost_of_step
                came_from[after] = (node, action)
                if after[2] != _NONE and (cheapest_breach is None or cost[after] < cost[cheapest_breach]):
                    cheapest_breach = after
                first = goal.distance(after) if greedy else cost[after]
                heappush(heap, (first, cost[after], after))
    return None


def _successors(
    view: VariableGroup, goal: _SearchGoal, gate: Sequence[int], node: _Node, counted: int, within: int
) -> Iterator[tuple[_Node, int, int]]:
    """The successors of a search node, each as (node, action, cost).

    Only steps in ``within`` are tried. ``counted`` are the steps outside the group whose cost is already included.
    """
    done, valuation, _ = node
    machine = view.machine
    for step in bits(view.all & within & ~done):
        if not gate[step] & ~done:
            then = machine.step(valuation, machine.effect_of[step])
            if then != BLOCKED:
                cost_of_step = 1 + (view.outside[step] & ~counted).bit_count()
                yield (done | 1 << step, then, _NONE), step, cost_of_step
    for number in range(len(machine.moves)):
        then = machine.move(valuation, number)
        if then not in (BLOCKED, valuation):
            yield (done, then, _NONE), ~number, 1
    if not goal.dead:
        for action in goal.breaking(done, valuation):
            outside = view.outside_on_paper[action] if action >= 0 else 0
            yield (done, valuation, action), action, 1 + (outside & ~counted).bit_count()


def _found_path(came_from: dict[_Node, tuple[_Node, int]], node: _Node, cost: int) -> FoundPath:
    path: list[int] = []
    while node in came_from:
        node, action = came_from[node]
        path.append(action)
    return FoundPath(node[1], tuple(reversed(path)), cost)
