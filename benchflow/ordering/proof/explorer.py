"""How a part is looked at: by what may stand at each step's turn, over its lattice, or set by set; and how far."""

from msgspec import Struct

from benchflow.ordering.proof.over_approximation import Approximation, approximate
from benchflow.ordering.proof.set_families import ExplicitSets, LatticeSets, lattice_size
from benchflow.ordering.proof.state_space import AnyStateSpace, StateSpace, gated
from benchflow.ordering.proof.variable_group import VariableGroup

_MANY_SETS = 60_000
"""From here on a lattice is tried, since it is faster where it fits."""
_BITS_HELD = 1024
_BITS_MOVED = 30_000
"""A configuration held on its own takes about 100 bytes and 10 microseconds. A bound of so many allows a lattice as
much memory and as much time: bits held at once, and bits gone through in all."""
_CONFIGURATIONS_A_STEP = 50
"""What it takes to try a plan with a line added, for each of its steps."""


class Reductions(Struct, frozen=True):
    """Each can be switched off; the answers must stay the same (a test holds them together). A lattice of up to
    ``small_lattice`` sets is gone through at once, without asking first whether it has to be."""

    by_groups: bool = True
    forced_order: bool = True
    twins: bool = True
    lattice: bool = True
    set_by_set: bool = True
    at_least: bool = True
    small_lattice: int = 1 << 12


ALL_REDUCTIONS = Reductions()


class UnexploredGroup(Struct, frozen=True):
    """A part that was not explored in full: it did not need to be, or was too wide. ``configurations`` were looked at
    all the same."""

    part: VariableGroup
    configurations: int
    proven: Approximation


class Explorer:
    """Explores parts, each once, within ``bound`` configurations in all (or as much time and memory)."""

    def __init__(self, bound: int, reductions: Reductions = ALL_REDUCTIONS) -> None:
        self.reductions = reductions
        self.configurations = 0
        self._left = bound
        self._trials_left = bound // _CONFIGURATIONS_A_STEP
        self._known: dict[tuple[object, ...], AnyStateSpace | UnexploredGroup] = {}
        self._in_full: dict[tuple[object, ...], AnyStateSpace | None] = {}

    def may_try(self, steps: int) -> bool:
        """Whether one more trial of a plan of so many steps is within the bound."""
        self._trials_left -= steps
        return self._trials_left > 0

    def look_at(self, part: VariableGroup) -> AnyStateSpace | UnexploredGroup:
        """The part's configurations, or what is proven of it without them. Sets the part's numbering of valuations to
        that of the answer, which may have been found for a part of another build that is the same."""
        key = part.key
        found = self._known.get(key)
        if found is None:
            found = self._known[key] = self._look_at(part)
        part.adopt(found.part)
        return found

    def look_closer(self, outline: UnexploredGroup) -> AnyStateSpace | None:
        """All configurations of a part that is only known in outline; ``None`` where it is too wide."""
        key = outline.part.key
        if key not in self._in_full:
            self._in_full[key] = self._explored(outline.part)
        return self._in_full[key]

    def _look_at(self, part: VariableGroup) -> AnyStateSpace | UnexploredGroup:
        if part.too_many_starts:
            return UnexploredGroup(part, 0, Approximation(no_breach=False, free=False))
        before = self.configurations
        known = Approximation(no_breach=False, free=False)
        twins = part.twins(also_outside=False) if self.reductions.twins else []
        if self.reductions.at_least and lattice_size(gated(part, twins), part.all) > self.reductions.small_lattice:
            known = approximate(part)
            if known.free:
                self.configurations += known.looked_at
                return UnexploredGroup(part, known.looked_at, known)
        found = self._explored(part)
        return UnexploredGroup(part, self.configurations - before, known) if found is None else found

    def _explored(self, part: VariableGroup) -> AnyStateSpace | None:
        twins = part.twins(also_outside=False) if self.reductions.twins else []
        gate = gated(part, twins)
        size = lattice_size(gate, part.all)
        small = size <= min(self.reductions.small_lattice, self._left)
        if self.reductions.lattice and (small or not self.reductions.set_by_set):
            return self._over_lattice(part, gate, twins)
        limit = min(_MANY_SETS, self._left) if self.reductions.lattice else self._left
        is_all = limit == self._left
        space: AnyStateSpace = StateSpace(part, ExplicitSets(gate), gate, twins)
        done = self._counted(space, limit)
        if done or is_all:
            return space if done else None
        width = len(part.steps) + 4 * len(space.reached)
        steps = part.all.bit_count()
        moved = size * len(space.reached) * steps * steps
        if size * width <= self._left * _BITS_HELD and moved <= self._left * _BITS_MOVED:
            del space
            return self._over_lattice(part, gate, twins, cost=moved // _BITS_MOVED)
        space = StateSpace(part, ExplicitSets(gate), gate, twins)
        return space if self._counted(space, self._left) else None

    def _counted(self, space: AnyStateSpace, limit: int) -> bool:
        done = space.explore(limit)
        self.configurations += space.configurations
        self._left = max(self._left - space.configurations, 0)
        return done

    def _over_lattice(
        self, part: VariableGroup, gate: list[int], twins: list[list[int]], cost: int = 0
    ) -> StateSpace[int]:
        space = StateSpace(part, LatticeSets(gate, part.all), gate, twins)
        space.explore(None)
        self.configurations += space.configurations
        self._left = max(self._left - cost, 0)
        return space
