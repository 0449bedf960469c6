"""The shortest safe route: the operations and moves up to and including a goal operation.

The search is A* over (steps done, valuation). It is exact. These reductions do not change its answer:

* Only relevant steps, moves and variables are searched (:mod:`.route_relevance`).
* A required step is done as soon as it is allowed if its result cannot block another step (*early* steps below).
* Steps with equal effect and equal place in the order are done in the author's order.
* Of the actions that are allowed, only a stubborn set is tried, so that independent work is not interleaved in every
  possible way (:mod:`.stubborn_sets`).
"""

from collections.abc import Iterable, Iterator
from heapq import heappop, heappush

from msgspec import Struct
from msgspec.structs import replace

from benchflow.ordering.actions import DoOperation, MakeMove, RouteStep
from benchflow.ordering.configuration import Configuration
from benchflow.ordering.interlock import AlreadyDone, Blocked, NotInThisBuild, moves_of, step_reasons
from benchflow.ordering.route_relevance import RelevantActions
from benchflow.ordering.state_machine import BLOCKED, Effect, StateMachine, bits, closure
from benchflow.ordering.stubborn_sets import StubbornSets
from benchflow.ordering.work_meter import WorkMeter, unlimited
from benchflow.procedure.plan import Plan

DEFAULT_LIMIT = 4_000
"""Number of configurations after which the search stops looking for the shortest route."""
_GREEDY = 5
"""Weight of the estimated rest of the route in a search for any safe route."""
_WORK_TO_BEGIN = 10
"""Units of work for each step of the plan, to find what is relevant to the goal."""
_WORK_PER_NODE = 50
_WORK_PER_SUCCESSOR = 10
_LIMIT_OUT_OF_REACH = 300
"""Number of configurations searched for the reasons that block a goal known to be out of reach."""


class SafeRoute(Struct, frozen=True, tag="route"):
    """A safe route; its last step is the goal.

    ``shortest`` is false if the search reached its limit; the route is then safe but may be longer than necessary.
    """

    steps: tuple[RouteStep, ...]
    shortest: bool = True


class NoRoute(Struct, frozen=True, tag="no-route"):
    """No route to the goal was found.

    ``at`` is the configuration closest to the goal, ``reasons`` are the reasons that block it there. ``certain`` is
    false if the search reached its limit, so that there may be a route.
    """

    reasons: tuple[Blocked, ...]
    at: Configuration
    certain: bool = True


def route(
    plan: Plan, configuration: Configuration, goal: str, *, limit: int = DEFAULT_LIMIT, work: WorkMeter | None = None
) -> SafeRoute | NoRoute:
    """The shortest safe route from ``configuration`` up to and including ``goal`` (a step id).

    The search ends after ``limit`` configurations, or when ``work`` is spent.
    """
    if goal not in plan.steps:
        return NoRoute((NotInThisBuild(goal),), configuration)
    if goal in configuration.done:
        return NoRoute((AlreadyDone(goal),), configuration)
    work = unlimited() if work is None else work
    if not work.spend(_WORK_TO_BEGIN * len(plan.steps)):
        return NoRoute((), configuration, certain=False)
    relevant = RelevantActions(plan, configuration, goal)
    search = _RouteSearch(plan, configuration, goal, relevant, work)
    if relevant.out_of_reach():
        found = search.run(limit=min(limit, _LIMIT_OUT_OF_REACH), weight=_GREEDY)
        return replace(found, certain=True) if isinstance(found, NoRoute) else found
    found = search.run(limit=limit, weight=1)
    if isinstance(found, NoRoute) and not found.certain:
        # The limit was reached before a shortest route was found, so search for any safe route.
        found = search.run(limit=limit, weight=_GREEDY)
    return found


# --- the search -------------------------------------------------------------------------------------


def _conflicts_with(effect: Effect, variable: int, value: int, against: dict[int, int]) -> bool:
    """True if the effect conflicts with ``variable == value`` or overwrites it.

    ``against`` holds, for each other variable, the mask of values that a rule forbids together with it.
    """
    return (
        any(name == variable and not mask >> value & 1 for name, mask in effect.needs)
        or any(name == variable and other != value for name, other in effect.sets)
        or any(name != variable and against.get(name, 0) >> other & 1 for name, other in (*effect.during, *effect.sets))
    )


_Node = tuple[int, int]
"""Steps done (bit mask) and number of the valuation."""


class _RouteSearch:
    def __init__(
        self, plan: Plan, configuration: Configuration, goal: str, relevant: RelevantActions, work: WorkMeter
    ) -> None:
        self._plan = plan
        self._work = work
        self._configuration = configuration
        self.machine = machine = StateMachine(
            plan,
            variables=relevant.variables,
            steps=[name for name in plan.steps if name in relevant.steps],
            moves=[name for name in moves_of(plan) if name in relevant.moves],
        )
        followers = [0] * len(machine.after)
        for index, mask in enumerate(machine.after):
            for earlier in bits(mask):
                followers[earlier] |= 1 << index
        self._later = closure(followers)
        self._required = sum(1 << machine.index[name] for name in relevant.required)
        self._goal = 1 << machine.index[goal]
        self._blocked_by: dict[tuple[int, int], tuple[int, bool]] = {}
        self._effects_on: list[list[int]] = [[] for _ in machine.variables]
        for number, effect in enumerate(machine.effects):
            for variable in effect.touches:
                self._effects_on[variable].append(number)
        self._steps_of = [0] * len(machine.effects)
        for step, number in enumerate(machine.effect_of):
            self._steps_of[number] |= 1 << step
        self._early = [i for i in bits(self._required) if self._may_be_early(i)]
        self._early_mask = sum(1 << i for i in self._early)
        self._gate = self._with_twins_in_order()
        self._stubborn = StubbornSets(machine, self._gate)
        self._written_with = self._variables_written_together()
        self._need_groups = self._group_needs()
        self._shortfalls: dict[int, list[tuple[int, int, int, int]]] = {}
        self._start = machine.number(configuration.valuation)

    def run(self, *, limit: int, weight: int) -> SafeRoute | NoRoute:
        start, path = self._do_early(0, self._start)
        cost = {start: len(path)}
        came_from: dict[_Node, tuple[_Node | None, tuple[int, ...]]] = {start: (None, path)}
        count = 0
        left = self._estimate(start)
        heap = [(len(path) + weight * left, left, 0, start)]
        closest, closest_left = start, left
        closed: set[_Node] = set()
        while heap:
            _, left, _, node = heappop(heap)
            if node in closed:
                continue
            if node[0] & self._goal:
                return SafeRoute(tuple(self._path(came_from, node)), shortest=weight == 1)
            closed.add(node)
            if len(closed) > limit or not self._work.spend(_WORK_PER_NODE):
                return self._no_route(closest, certain=False)
            if left < closest_left:
                closest, closest_left = node, left
            for action, done, valuation in self._next_nodes(node):
                after, early = self._do_early(done, valuation)
                so_far = cost[node] + 1 + len(early)
                self._work.spend(_WORK_PER_SUCCESSOR)
                if so_far >= cost.get(after, so_far + 1):
                    continue
                cost[after] = so_far
                closed.discard(after)
                came_from[after] = (node, (action, *early))
                count -= 1  # of equal entries, the latest comes first: depth before breadth
                rest = self._estimate(after)
                heappush(heap, (so_far + weight * rest, rest, count, after))
        return self._no_route(closest, certain=True)

    def _next_nodes(self, node: _Node) -> Iterator[tuple[int, int, int]]:
        """The next (action, done, valuation). An action is the number of a step, or ``~number`` of a move."""
        done, valuation = node
        machine = self.machine
        steps, moves = self._stubborn.stubborn_set(done, valuation, self._required & ~done)
        for index in bits(steps):
            then = machine.step(valuation, machine.effect_of[index])
            yield index, done | 1 << index, then
        for number in bits(moves):
            then = machine.move(valuation, number)
            if then != valuation:
                yield ~number, done, then

    def _do_early(self, done: int, valuation: int) -> tuple[_Node, tuple[int, ...]]:
        """The node after every early step that is allowed, and the steps done."""
        machine = self.machine
        path: list[int] = []
        again = self._early_mask & ~done != 0
        while again:
            again = False
            for index in self._early:
                if done >> index & 1 or machine.after[index] & ~done:
                    continue
                then = machine.step(valuation, machine.effect_of[index])
                if then != BLOCKED:
                    done |= 1 << index
                    valuation = then
                    path.append(index)
                    again = True
        return (done, valuation), tuple(path)

    # --- lower bound on the rest of the route -----------------------------------------------------

    def _estimate(self, node: _Node) -> int:
        """A lower bound on the number of actions left.

        The bound is the number of required steps left, plus the writes that they need but do not make themselves. For
        each variable, needs with no value in common take one write each. Variables that one action can write together
        count once.
        """
        done, valuation = node
        left = self._required & ~done
        shortfalls = self._shortfalls.get(valuation)
        if shortfalls is None:
            values = self.machine.values(valuation)
            shortfalls = [group for group in self._need_groups if not group[1] >> values[group[0]] & 1]
            self._shortfalls[valuation] = shortfalls
        wanted: dict[int, list[int]] = {}
        for variable, mask, needing, setting in shortfalls:
            if needing & left and not setting & left:
                disjoint = wanted.setdefault(variable, [])
                if not any(mask & other for other in disjoint):
                    disjoint.append(mask)
        most: dict[int, int] = {}
        for variable, disjoint in wanted.items():
            together = self._written_with[variable]
            most[together] = max(most.get(together, 0), len(disjoint))
        return left.bit_count() + sum(most.values())

    def _group_needs(self) -> list[tuple[int, int, int, int]]:
        """(variable, mask of values, required steps that need one of them, required steps that set one of them)."""
        machine = self.machine
        needing: dict[tuple[int, int], int] = {}
        for index in bits(self._required):
            for need in machine.effects[machine.effect_of[index]].needs:
                needing[need] = needing.get(need, 0) | 1 << index
        return [
            (variable, mask, steps, self._stubborn.actions_setting(variable, mask) & self._required)
            for (variable, mask), steps in needing.items()
        ]

    def _variables_written_together(self) -> list[int]:
        """A group number for each variable. Variables that one action can write together have the same number."""
        root = list(range(len(self.machine.variables)))

        def find(variable: int) -> int:
            while root[variable] != variable:
                variable = root[variable]
            return variable

        for effect in self.machine.effects:
            written = [find(variable) for variable, _ in effect.sets]
            for variable in written:
                root[find(variable)] = find(written[0])
        return [find(variable) for variable in root]

    # --- reductions -------------------------------------------------------------------------------

    def _may_be_early(self, index: int) -> bool:
        """True if the step may be done early: its result cannot block a step that may be done before it.

        This is so if no other step or move overwrites what the step sets, needs another value, or breaks a rule with
        what it sets.
        """
        machine = self.machine
        unordered = ~(self._later[index] | 1 << index)
        for variable, value in machine.effects[machine.effect_of[index]].sets:
            steps, moves = self._steps_blocked_by(variable, value)
            if moves or steps & unordered:
                return False
        return True

    def _steps_blocked_by(self, variable: int, value: int) -> tuple[int, bool]:
        """The mask of the steps that conflict with ``variable == value`` or overwrite it; true if a move does so."""
        known = self._blocked_by.get((variable, value))
        if known is None:
            machine = self.machine
            against = machine.values_against(variable, value)
            concerned = {effect for name in (variable, *against) for effect in self._effects_on[name]}
            steps, moves = 0, False
            for effect in concerned:
                if _conflicts_with(machine.effects[effect], variable, value, against):
                    steps |= self._steps_of[effect]
                    moves = moves or effect in machine.move_effects
            known = steps, moves
            self._blocked_by[variable, value] = known
        return known

    def _with_twins_in_order(self) -> list[int]:
        """``after`` with an order added between twins (interchangeable steps): only one order of them is searched."""
        machine = self.machine
        gate = list(machine.after)
        last: dict[tuple[int, int, int, int], int] = {}
        for index, effect in enumerate(machine.effect_of):
            alike = (effect, machine.after[index], self._later[index], self._required >> index & 1)
            if alike in last:
                gate[index] |= 1 << last[alike]
            last[alike] = index
        return gate

    # --- results ----------------------------------------------------------------------------------

    def _path(
        self, came_from: dict[_Node, tuple[_Node | None, tuple[int, ...]]], node: _Node | None
    ) -> Iterator[RouteStep]:
        actions: list[int] = []
        while node is not None:
            node, taken = came_from[node]
            actions[:0] = taken
        for action in actions:
            yield DoOperation(self.machine.steps[action]) if action >= 0 else MakeMove(self.machine.moves[~action])

    def _no_route(self, node: _Node, *, certain: bool) -> NoRoute:
        done, valuation = self._after_all_allowed_steps(node)
        machine = self.machine
        names = frozenset(machine.steps[index] for index in bits(done))
        at = Configuration(
            self._configuration.done | names,
            {**self._configuration.valuation, **machine.valuation(valuation)},
        )
        left = self._required & ~done
        ready = [index for index in bits(left) if not machine.after[index] & ~done]
        reasons = self._reasons(at, ready) or self._reasons(at, bits(left))
        return NoRoute(tuple(reasons), at, certain)

    def _after_all_allowed_steps(self, node: _Node) -> _Node:
        """The node after every required step that is still allowed. Only the obstacles left there are reported."""
        done, valuation = node
        machine = self.machine
        again = True
        while again:
            again = False
            for index in bits(self._required & ~done):
                then = machine.step(valuation, machine.effect_of[index])
                if not machine.after[index] & ~done and then != BLOCKED:
                    done, valuation, again = done | 1 << index, then, True
        return done, valuation

    def _reasons(self, at: Configuration, steps: Iterable[int]) -> list[Blocked]:
        found: list[Blocked] = []
        for index in steps:
            for reason in step_reasons(self._plan, at, self.machine.steps[index]):
                if reason not in found:
                    found.append(reason)
        return found
