"""The way there: the shortest safe list of operations and moves up to and including an operation.

The search is A* over (steps done, valuation), exact, with reductions that cannot change its answer:

* only what can matter is looked at: the operations that come before the goal, the variables that they need
  or that a rule holds against what they write, and whatever writes those variables;
* an operation that has to be done anyway is done as soon as it may be, when nothing that might come before
  it could be hindered by its having been done (*forwarded* below);
* operations that are alike in effect and in their place in the order are done in the author's order;
* of what may be done next, only a stubborn set is tried: work that has nothing to do with each other is not
  interleaved in every way (:mod:`.stubborn`).
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
from benchflow.procedure.plan import Plan

DEFAULT_LIMIT = 4_000
"""Configurations looked at before the search stops asking for the shortest."""
_STRAIGHT_ON = 5
"""How much more what is left counts than what is done, when any way will do."""
_TO_SEE_WHY = 300
"""Configurations looked at to tell what stands against a goal that is out of reach."""


class SafeRoute(Struct, frozen=True, tag="route"):
    """``steps`` end with the goal. ``shortest`` is false only where the search was cut off by its limit:
    the way is safe all the same."""

    steps: tuple[RouteStep, ...]
    shortest: bool = True


class NoRoute(Struct, frozen=True, tag="no-route"):
    """No order of operations and moves leads there safely. ``reasons`` are those met where the most of what
    comes first could be done; ``at`` is that configuration. ``certain`` is false only where the search was
    cut off by its limit: there may be a way that was not found."""

    reasons: tuple[Blocked, ...]
    at: Configuration
    certain: bool = True


def route(plan: Plan, configuration: Configuration, goal: str, *, limit: int = DEFAULT_LIMIT) -> SafeRoute | NoRoute:
    """The shortest safe way from ``configuration`` up to and including ``goal`` (a step id)."""
    if goal not in plan.steps:
        return NoRoute((NotInThisBuild(goal),), configuration)
    if goal in configuration.done:
        return NoRoute((AlreadyDone(goal),), configuration)
    part = RelevantActions(plan, configuration, goal)
    search = _RouteSearch(plan, configuration, goal, part)
    if part.out_of_reach():
        found = search.run(limit=min(limit, _TO_SEE_WHY), weight=_STRAIGHT_ON)
        return replace(found, certain=True) if isinstance(found, NoRoute) else found
    found = search.run(limit=limit, weight=1)
    if isinstance(found, NoRoute) and not found.certain:
        # Too many ways to be sure of the shortest: any safe one serves the builder better than none.
        found = search.run(limit=limit, weight=_STRAIGHT_ON)
    return found


# --- the search -------------------------------------------------------------------------------------


def _hinders(effect: Effect, variable: int, value: int, against: dict[int, int]) -> bool:
    """Whether an effect minds the variable standing at the value, or writes another. ``against`` holds the
    values of other variables that a rule forbids together with it."""
    return (
        any(name == variable and not mask >> value & 1 for name, mask in effect.needs)
        or any(name == variable and other != value for name, other in effect.sets)
        or any(name != variable and against.get(name, 0) >> other & 1 for name, other in (*effect.during, *effect.sets))
    )


_Node = tuple[int, int]
"""Steps done (mask) and valuation."""


class _RouteSearch:
    def __init__(self, plan: Plan, configuration: Configuration, goal: str, part: RelevantActions) -> None:
        self._plan = plan
        self._configuration = configuration
        self.machine = machine = StateMachine(
            plan,
            variables=part.variables,
            steps=[name for name in plan.steps if name in part.steps],
            moves=[name for name in moves_of(plan) if name in part.moves],
        )
        followers = [0] * len(machine.after)
        for index, mask in enumerate(machine.after):
            for earlier in bits(mask):
                followers[earlier] |= 1 << index
        self._later = closure(followers)
        self._required = sum(1 << machine.index[name] for name in part.required)
        self._goal = 1 << machine.index[goal]
        self._hindered_by: dict[tuple[int, int], tuple[int, bool]] = {}
        self._effects_on: list[list[int]] = [[] for _ in machine.variables]
        for number, effect in enumerate(machine.effects):
            for variable in effect.touches:
                self._effects_on[variable].append(number)
        self._steps_of = [0] * len(machine.effects)
        for step, number in enumerate(machine.effect_of):
            self._steps_of[number] |= 1 << step
        self._forwarded = [i for i in bits(self._required) if self._may_be_forwarded(i)]
        self._forwarded_mask = sum(1 << i for i in self._forwarded)
        self._gate = self._with_twins_in_order()
        self._stubborn = StubbornSets(machine, self._gate)
        self._written_with = self._components()
        self._need_groups = self._group_needs()
        self._shortfalls: dict[int, list[tuple[int, int, int, int]]] = {}
        self._start = machine.number(configuration.valuation)

    def run(self, *, limit: int, weight: int) -> SafeRoute | NoRoute:
        start, path = self._hurry(0, self._start)
        cost = {start: len(path)}
        came: dict[_Node, tuple[_Node | None, tuple[int, ...]]] = {start: (None, path)}
        count = 0
        left = self._left(start)
        heap = [(len(path) + weight * left, left, 0, start)]
        closest, closest_left = start, left
        closed: set[_Node] = set()
        while heap:
            _, left, _, node = heappop(heap)
            if node in closed:
                continue
            if node[0] & self._goal:
                return SafeRoute(tuple(self._told(came, node)), shortest=weight == 1)
            closed.add(node)
            if len(closed) > limit:
                return self._stuck(closest, certain=False)
            if left < closest_left:
                closest, closest_left = node, left
            for action, done, valuation in self._next(node):
                after, hurried = self._hurry(done, valuation)
                so_far = cost[node] + 1 + len(hurried)
                if so_far >= cost.get(after, so_far + 1):
                    continue
                cost[after] = so_far
                closed.discard(after)
                came[after] = (node, (action, *hurried))
                count -= 1  # the latest first among equals: straight on, before looking sideways
                still = self._left(after)
                heappush(heap, (so_far + weight * still, still, count, after))
        return self._stuck(closest, certain=True)

    def _next(self, node: _Node) -> Iterator[tuple[int, int, int]]:
        """(action, done, valuation); an action is a step's number, or ``~number`` of a move."""
        done, valuation = node
        machine = self.machine
        steps, moves = self._stubborn.of(done, valuation, self._required & ~done)
        for index in bits(steps):
            then = machine.step(valuation, machine.effect_of[index])
            yield index, done | 1 << index, then
        for number in bits(moves):
            then = machine.move(valuation, number)
            if then != valuation:
                yield ~number, done, then

    def _hurry(self, done: int, valuation: int) -> tuple[_Node, tuple[int, ...]]:
        """Everything done that may be forwarded from here."""
        machine = self.machine
        path: list[int] = []
        again = self._forwarded_mask & ~done != 0
        while again:
            again = False
            for index in self._forwarded:
                if done >> index & 1 or machine.after[index] & ~done:
                    continue
                then = machine.step(valuation, machine.effect_of[index])
                if then != BLOCKED:
                    done |= 1 << index
                    valuation = then
                    path.append(index)
                    again = True
        return (done, valuation), tuple(path)

    # --- a lower bound on what is left ------------------------------------------------------------

    def _left(self, node: _Node) -> int:
        """Never more than the steps still to go: what is required, and for each variable one more write
        for each of the disjoint sets of values that are needed, do not stand, and that no required step
        brings about. Variables that one action may write together are counted once."""
        done, valuation = node
        left = self._required & ~done
        shortfalls = self._shortfalls.get(valuation)
        if shortfalls is None:
            values = self.machine.values(valuation)
            shortfalls = [group for group in self._need_groups if not group[1] >> values[group[0]] & 1]
            self._shortfalls[valuation] = shortfalls
        wanted: dict[int, list[int]] = {}
        for variable, mask, needing, providing in shortfalls:
            if needing & left and not providing & left:
                apart = wanted.setdefault(variable, [])
                if not any(mask & other for other in apart):
                    apart.append(mask)
        most: dict[int, int] = {}
        for variable, apart in wanted.items():
            together = self._written_with[variable]
            most[together] = max(most.get(together, 0), len(apart))
        return left.bit_count() + sum(most.values())

    def _group_needs(self) -> list[tuple[int, int, int, int]]:
        """(variable, mask of values, required steps that need them, required steps that bring one about)."""
        machine = self.machine
        needing: dict[tuple[int, int], int] = {}
        for index in bits(self._required):
            for need in machine.effects[machine.effect_of[index]].needs:
                needing[need] = needing.get(need, 0) | 1 << index
        return [
            (variable, mask, steps, self._stubborn.bringing(variable, mask) & self._required)
            for (variable, mask), steps in needing.items()
        ]

    def _components(self) -> list[int]:
        """By variable, the lowest of those that some effect writes together, however indirectly."""
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

    def _may_be_forwarded(self, index: int) -> bool:
        """Whether nothing that is not after this step anyway could be hindered by its being done already:
        nobody else writes what it writes otherwise, needs it otherwise, or would then break a rule."""
        machine = self.machine
        apart = ~(self._later[index] | 1 << index)
        for variable, value in machine.effects[machine.effect_of[index]].sets:
            steps, moves = self._hindered(variable, value)
            if moves or steps & apart:
                return False
        return True

    def _hindered(self, variable: int, value: int) -> tuple[int, bool]:
        """The steps, and whether any move, that this value standing could hinder or that write another."""
        known = self._hindered_by.get((variable, value))
        if known is None:
            machine = self.machine
            against = machine.values_against(variable, value)
            concerned = {effect for name in (variable, *against) for effect in self._effects_on[name]}
            steps, moves = 0, False
            for effect in concerned:
                if _hinders(machine.effects[effect], variable, value, against):
                    steps |= self._steps_of[effect]
                    moves = moves or effect in machine.move_effects
            known = steps, moves
            self._hindered_by[variable, value] = known
        return known

    def _with_twins_in_order(self) -> list[int]:
        """``after``, and of steps that are alike in every respect each after the one before."""
        machine = self.machine
        gate = list(machine.after)
        last: dict[tuple[int, int, int, int], int] = {}
        for index, effect in enumerate(machine.effect_of):
            alike = (effect, machine.after[index], self._later[index], self._required >> index & 1)
            if alike in last:
                gate[index] |= 1 << last[alike]
            last[alike] = index
        return gate

    # --- telling ----------------------------------------------------------------------------------

    def _told(self, came: dict[_Node, tuple[_Node | None, tuple[int, ...]]], node: _Node | None) -> Iterator[RouteStep]:
        actions: list[int] = []
        while node is not None:
            node, taken = came[node]
            actions[:0] = taken
        for action in actions:
            yield DoOperation(self.machine.steps[action]) if action >= 0 else MakeMove(self.machine.moves[~action])

    def _stuck(self, node: _Node, *, certain: bool) -> NoRoute:
        done, valuation = self._as_far_as_it_goes(node)
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

    def _as_far_as_it_goes(self, node: _Node) -> _Node:
        """The search turns away where it sees that there is no way; the builder sees it only further on."""
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
