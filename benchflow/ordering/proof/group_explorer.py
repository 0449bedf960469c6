"""Explores groups of variables within a bound: by approximation, over a lattice of sets, or set by set."""

from collections.abc import Callable

from msgspec import Struct

from benchflow.ordering.proof.over_approximation import Approximation, approximate
from benchflow.ordering.proof.set_families import ExplicitSets, LatticeSets, lattice_size
from benchflow.ordering.proof.state_space import AnyStateSpace, StateSpace, gated
from benchflow.ordering.proof.variable_group import VariableGroup
from benchflow.ordering.work_meter import WORK_PER_CONFIGURATION, WorkMeter

_MANY_SETS = 60_000
"""The most configurations explored set by set at first. A larger group is explored over the lattice if that fits."""
_BITS_STORED = 1024
_BITS_PROCESSED = 30_000
"""Bits of a lattice in memory, and bits processed, that cost as much as one configuration stored by itself.

Such a configuration takes about 100 bytes and 10 microseconds. The bound therefore limits both methods to about the
same memory and time."""
_APPROXIMATION_SHARE = 2
"""The approximation of one group may use this part of the work: one unit in 2."""
_SEARCH_SHARE = 2
_LEAST_WORK = 200_000
"""The searches for orders may take half of the work for the exploration. Each may take at least so many units."""


class Reductions(Struct, frozen=True):
    """Switches for the reductions of the proof.

    The verdicts are the same with any of them off; a test checks this. A lattice of at most ``small_lattice`` sets is
    explored without an approximation. Exploring so few sets is as fast, and the result is exact.
    """

    by_groups: bool = True  # explore independent variables separately
    forced_order: bool = True  # use the order that the needed states imply
    twins: bool = True  # explore only one order of interchangeable steps
    lattice: bool = True  # store sets as bits of an integer
    set_by_set: bool = True  # store few sets one by one
    approximation: bool = True  # try an over-approximation first
    small_lattice: int = 1 << 12


ALL_REDUCTIONS = Reductions()


class UnexploredGroup(Struct, frozen=True):
    """A group that was not explored in full, because the approximation proves it or it is too large.

    ``configurations`` is the number explored before the exploration stopped.
    """

    group: VariableGroup
    configurations: int
    proven: Approximation


class Explorer:
    """Explores each group once, within ``bound`` configurations in total.

    Lattices are counted by the time and memory that they take, converted to configurations. ``work`` counts what the
    exploration takes. ``searches`` counts the searches for orders. They have a limit of their own, so that there is
    work left for them when the exploration has reached the bound. So has ``builds``, for the work
    on a build without its groups.
    """

    def __init__(
        self, bound: int, reductions: Reductions = ALL_REDUCTIONS, tell: Callable[[], None] | None = None
    ) -> None:
        self.reductions = reductions
        self.configurations = 0
        self.work = WorkMeter(max(bound * WORK_PER_CONFIGURATION, _LEAST_WORK), tell=tell)
        self.builds = WorkMeter(self.work.limit, tell=tell)
        self.searches = WorkMeter(max(self.work.limit // _SEARCH_SHARE, _LEAST_WORK), tell=tell)
        self._left = bound
        self._exploring: AnyStateSpace | None = None
        self._tell = tell
        self._known: dict[tuple[object, ...], AnyStateSpace | UnexploredGroup] = {}
        self._in_full: dict[tuple[object, ...], AnyStateSpace | None] = {}

    def lend_rest_to_searches(self) -> None:
        """Let the searches for orders use half of the work that the exploration has left."""
        self.searches.limit += self.work.left // 2

    @property
    def configurations_so_far(self) -> int:
        """The number of configurations explored, with those of the group that is being explored now."""
        return self.configurations + (0 if self._exploring is None else self._exploring.configurations)

    def for_trials(self) -> "Explorer":
        """An explorer with a limit of its own, for plans with other lines. It knows the groups explored so far."""
        found = Explorer(max(self.work.limit // 2, _LEAST_WORK) // WORK_PER_CONFIGURATION, self.reductions, self._tell)
        found._known, found._in_full = self._known, self._in_full
        return found

    def explore(self, group: VariableGroup) -> AnyStateSpace | UnexploredGroup:
        """The state space of the group, or the approximation if it is not explored.

        If an equal group of another build was explored before, its result is used. The group then takes over the
        numbers that the other group gave to its valuations.
        """
        key = group.key
        found = self._known.get(key)
        if found is None:
            found = self._known[key] = self._explore(group)
        group.adopt(found.group)
        return found

    def explore_fully(self, unexplored_group: UnexploredGroup) -> AnyStateSpace | None:
        """The state space of a group that was not explored before; ``None`` if it is too large for the bound."""
        key = unexplored_group.group.key
        if key not in self._in_full:
            self._in_full[key] = self._state_space_of(unexplored_group.group)
        return self._in_full[key]

    def _explore(self, group: VariableGroup) -> AnyStateSpace | UnexploredGroup:
        if group.too_many_starts:
            return UnexploredGroup(group, 0, Approximation(no_breach=not group.rules, free=False))
        before = self.configurations
        known = Approximation(no_breach=not group.rules, free=False)
        twins = group.twins(also_outside=False) if self.reductions.twins else []
        if (
            self.reductions.approximation
            and lattice_size(gated(group, twins), group.all) > self.reductions.small_lattice
        ):
            known = approximate(group, self.work.part(self.work.limit // _APPROXIMATION_SHARE))
            if known.free:
                self.configurations += known.searched
                return UnexploredGroup(group, known.searched, known)
        found = self._state_space_of(group)
        return UnexploredGroup(group, self.configurations - before, known) if found is None else found

    def _state_space_of(self, group: VariableGroup) -> AnyStateSpace | None:
        twins = group.twins(also_outside=False) if self.reductions.twins else []
        gate = gated(group, twins)
        size = lattice_size(gate, group.all)
        small = size <= min(self.reductions.small_lattice, self._left)
        if self.reductions.lattice and (small or not self.reductions.set_by_set):
            return self._lattice_space(group, gate, twins, self._left if small else None)
        limit = min(_MANY_SETS, self._left) if self.reductions.lattice else self._left
        is_all = limit == self._left
        space: AnyStateSpace = StateSpace(group, ExplicitSets(gate), gate, twins)
        done = self._explore_counted(space, limit)
        if done or is_all:
            return space if done else None
        width = len(group.steps) + 4 * len(space.reached)
        steps = group.all.bit_count()
        moved = size * len(space.reached) * steps * steps
        if size * width <= self._left * _BITS_STORED and moved <= self._left * _BITS_PROCESSED:
            del space
            self._left = max(self._left - size * width // _BITS_STORED, 0)
            return self._lattice_space(group, gate, twins, None)
        space = StateSpace(group, ExplicitSets(gate), gate, twins)
        return space if self._explore_counted(space, self._left) else None

    def _explore_counted(self, space: AnyStateSpace, limit: int) -> bool:
        self._exploring = space
        done = space.explore(limit, self.work)
        self._exploring = None
        self.configurations += space.configurations
        self._left = max(self._left - space.configurations, 0)
        return done

    def _lattice_space(
        self, group: VariableGroup, gate: list[int], twins: list[list[int]], limit: int | None
    ) -> StateSpace[int] | None:
        space = StateSpace(group, LatticeSets(gate, group.all), gate, twins)
        if limit is not None:
            return space if self._explore_counted(space, limit) else None
        self._exploring = space
        done = space.explore(None, self.work)
        self._exploring = None
        self.configurations += space.configurations
        return space if done else None
