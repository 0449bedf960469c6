"""Every configuration of one part: which can be reached with the interlock on, and which can be finished."""

from collections.abc import Iterator, Sequence
from typing import Any, Generic

from msgspec import Struct

from benchflow.ordering.machine import BLOCKED, bits
from benchflow.ordering.proof.families import F, Families, Lattice, SetBySet, lattice_size
from benchflow.ordering.proof.part import Part

_SMALL_LATTICE = 1 << 14
_MANY_SETS = 60_000
"""From here on a lattice is tried, since it is faster where it fits."""
_MOST_VALUATIONS = 20_000
_BITS_A_CONFIGURATION = 1024
"""A bound of so many configurations allows a lattice as many bits as it allows sets of bytes."""


class Reductions(Struct, frozen=True):
    """Each can be switched off; the answers must stay the same (a test holds them together)."""

    by_groups: bool = True
    forced_order: bool = True
    twins: bool = True
    lattice: bool = True
    set_by_set: bool = True


ALL_REDUCTIONS = Reductions()


class TooWide(Struct, frozen=True):
    """A part that was not explored in full. ``no_breach`` says that all the same no order of it, nor any other way
    to do its steps, passes a forbidden configuration; ``free`` that from however it may stand every step left can be
    done after some moves, in any order that ``after`` allows."""

    part: Part
    configurations: int
    no_breach: bool
    free: bool


class Space(Generic[F]):
    """``reached`` and ``live`` hold, by valuation, the sets of done steps; ``gate`` is the order within the
    part, with twins one after the other."""

    def __init__(self, part: Part, families: Families[F], gate: Sequence[int], twins: list[list[int]]) -> None:
        self.part = part
        self.families = families
        self.gate = gate
        self.twins = twins
        self.steps_from: dict[int, list[tuple[int, int]]] = {}
        self.moves_from: dict[int, list[int]] = {}
        self.reached: dict[int, F] = {}
        self.live: dict[int, F] = {}
        self.configurations = 0
        self._within_moves: dict[int, frozenset[int]] = {}

    # --- exploring --------------------------------------------------------------------------------

    def explore(self, limit: int | None) -> bool:
        """Whether everything was found within ``limit`` configurations; if not, nothing else may be asked."""
        families = self.families
        frontier: dict[int, F] = {}
        for start in self.part.starts:
            frontier[start] = families.only(0)
            self.reached[start] = families.only(0)
        self.configurations = len(frontier)
        while frontier:
            coming: dict[int, F] = {}
            for valuation, family in frontier.items():
                for then, new in self._from(valuation, family):
                    seen = self.reached.get(then)
                    if seen is None:
                        seen = families.nothing()
                    new = families.minus(new, seen)
                    if not new:
                        continue
                    self.configurations += families.count(new)
                    coming[then] = families.absorb(coming.get(then) or families.nothing(), new)
                    self.reached[then] = families.absorb(seen, new)
                    if limit is not None and self.configurations > limit:
                        return False
            frontier = coming
        self._look_back()
        return True

    def _from(self, valuation: int, family: F) -> Iterator[tuple[int, F]]:
        families = self.families
        for step, then in self._steps_at(valuation):
            ready = families.ready(family, step)
            if ready:
                yield then, families.done(ready, step)
        for then in self._moves_at(valuation):
            yield then, family

    def _look_back(self) -> None:
        """What can be finished: backwards from everything done."""
        families = self.families
        into: dict[int, list[tuple[int, int]]] = {}
        moved_into: dict[int, list[int]] = {}
        for valuation in self.reached:
            for step, then in self._steps_at(valuation):
                into.setdefault(then, []).append((step, valuation))
            for then in self._moves_at(valuation):
                moved_into.setdefault(then, []).append(valuation)
        frontier: dict[int, F] = {}
        for valuation, family in self.reached.items():
            if families.holds(family, self.part.all):
                frontier[valuation] = families.only(self.part.all)
                self.live[valuation] = families.only(self.part.all)
        while frontier:
            coming: dict[int, F] = {}
            for valuation, family in frontier.items():
                before = [(earlier, families.undone(family, step)) for step, earlier in into.get(valuation, ())]
                before += [(earlier, family) for earlier in moved_into.get(valuation, ())]
                for earlier, could in before:
                    live = self.live.get(earlier)
                    if live is None:
                        live = families.nothing()
                    new = families.minus(families.both(could, self.reached[earlier]), live)
                    if new:
                        coming[earlier] = families.absorb(coming.get(earlier) or families.nothing(), new)
                        self.live[earlier] = families.absorb(live, new)
            frontier = coming

    def _steps_at(self, valuation: int) -> list[tuple[int, int]]:
        known = self.steps_from.get(valuation)
        if known is None:
            machine = self.part.machine
            known = [
                (step, then)
                for step in bits(self.part.all)
                if (then := machine.step(valuation, machine.effect_of[step])) != BLOCKED
            ]
            self.steps_from[valuation] = known
        return known

    def _moves_at(self, valuation: int) -> list[int]:
        known = self.moves_from.get(valuation)
        if known is None:
            machine = self.part.machine
            found = {machine.move(valuation, number) for number in range(len(machine.moves))}
            known = sorted(found - {BLOCKED, valuation})
            self.moves_from[valuation] = known
        return known

    # --- what is asked of it ----------------------------------------------------------------------

    def dead(self) -> Iterator[tuple[int, F]]:
        """By valuation, what can be reached and no longer be finished."""
        for valuation, family in self.reached.items():
            live = self.live.get(valuation)
            lost = family if live is None else self.families.minus(family, live)
            if lost:
                yield valuation, lost

    def is_live(self, done: int, valuation: int) -> bool:
        live = self.live.get(valuation)
        return live is not None and self.families.holds(live, self.canonical(done))

    def live_starts(self) -> list[int]:
        return [start for start in self.part.starts if self.is_live(0, start)]

    def never_done(self) -> int:
        """The steps that no order ever does, by part number."""
        left = 0 if self.live else self.part.all  # with something live everything is done once
        for family in self.reached.values():
            left = sum(1 << step for step in bits(left) if not self.families.having(family, 1 << step))
        for twins in self.twins:
            if not left >> twins[0] & 1:  # where the first can be done, so could any other in its place
                left &= ~sum(1 << twin for twin in twins)
        return left

    def breaches(self) -> list[tuple[int, int]]:
        """(valuation, step or ``~move``) where prerequisites and needs allow what a rule forbids."""
        machine = self.part.machine
        found = []
        for valuation, family in self.reached.items():
            for step, effect in enumerate(machine.effect_of):
                if (
                    machine.meets(valuation, effect)
                    and machine.breach(valuation, effect)
                    and self._comes_next(family, step)
                ):
                    found.append((valuation, step))
            for number, effect in enumerate(machine.move_effects):
                if machine.meets(valuation, effect) and machine.breach(valuation, effect, is_move=True):
                    found.append((valuation, ~number))
        return found

    def canonical(self, done: int) -> int:
        """The same set with its twins done in their order."""
        for twins in self.twins:
            count = sum(done >> step & 1 for step in twins)
            for place, step in enumerate(twins):
                done = done | 1 << step if place < count else done & ~(1 << step)
        return done

    def within_moves(self, valuation: int) -> frozenset[int]:
        """The valuations that moves alone lead to, this one with them."""
        known = self._within_moves.get(valuation)
        if known is None:
            seen = [valuation]
            for here in seen:  # grows while it is walked
                seen.extend(then for then in self._moves_at(here) if then not in seen)
            known = frozenset(seen)
            self._within_moves[valuation] = known
        return known

    def _comes_next(self, family: F, step: int) -> bool:
        """Whether the author's order alone lets the step come next in any of these."""
        before = self.part.on_paper[step]
        if before & self.part.excluded:
            return False
        here = self.families.having(family, before)
        if self.part.excluded >> step & 1:
            return bool(here)
        return bool(self.families.minus(here, self.families.having(here, 1 << step)))

    def always_before(self) -> list[int]:
        """By step, the steps that are done whenever it is done: what the states force, with the order."""
        families = self.families
        found = [self.part.all & ~(1 << step) for step in range(len(self.part.steps))]
        for valuation, family in self.reached.items():
            for step, _ in self.steps_from[valuation]:
                ready = families.ready(family, step)
                if ready:
                    found[step] = sum(
                        1 << other
                        for other in bits(found[step])
                        if not families.minus(ready, families.having(ready, 1 << other))
                    )
        for twins in self.twins:
            mask = sum(1 << twin for twin in twins)
            for step, forced in enumerate(found):
                # Some of them may stand for any others of them; all of them stand for themselves.
                if forced & mask != mask:
                    found[step] = forced & ~mask
            for twin in twins:
                found[twin] = found[twins[0]]
        return found


AnySpace = Space[Any]
"""Whichever way its families are held: only its own ``families`` look inside them."""


def explore(part: Part, bound: int, reductions: Reductions) -> AnySpace | TooWide:
    """All of the part's configurations, or how far it got within ``bound`` of them."""
    twins = part.twins(also_outside=False) if reductions.twins else []
    gate = gated(part, twins)
    size = lattice_size(gate, part.all)
    if part.too_many_starts:
        return TooWide(part, 0, False, False)
    if reductions.lattice and (size <= _SMALL_LATTICE or not reductions.set_by_set):
        return _in_lattice(part, gate, twins)
    space: AnySpace
    for limit in (min(_MANY_SETS, bound), bound) if reductions.lattice else (bound,):
        space = Space(part, SetBySet(gate), gate, twins)
        if space.explore(limit):
            return space
        width = len(part.steps) + 4 * len(space.reached)
        if reductions.lattice and size * width <= bound * _BITS_A_CONFIGURATION:
            del space
            return _in_lattice(part, gate, twins)
    return _at_least(part, space.configurations)


def _at_least(part: Part, configurations: int) -> TooWide:
    """What can be proven of a part without following its order: as if every step could be done at any time, and again
    and again. That can only be more than what the order allows."""
    machine = part.machine
    seen = list(part.starts)
    known = set(seen)
    moved: dict[int, list[int]] = {}
    able: dict[int, int] = {}
    no_breach = True
    for valuation in seen:  # grows while it is walked
        by_moves = [machine.move(valuation, number) for number in range(len(machine.moves))]
        by_steps = [machine.step(valuation, effect) for effect in machine.effect_of]
        moved[valuation] = [then for then in by_moves if then != BLOCKED]
        able[valuation] = sum(1 << step for step in bits(part.all) if by_steps[step] != BLOCKED)
        no_breach = no_breach and not _breaks_here(part, valuation)
        for then in (*by_moves, *by_steps):
            if then != BLOCKED and then not in known:
                known.add(then)
                seen.append(then)
        if len(seen) > _MOST_VALUATIONS:
            return TooWide(part, configurations, False, False)
    while True:
        grown = {v: able[v] | _any_of(able[then] for then in moved[v]) for v in seen}
        if grown == able:
            break
        able = grown
    free = all(mask == part.all for mask in able.values())
    return TooWide(part, configurations, no_breach, free)


def _breaks_here(part: Part, valuation: int) -> bool:
    machine = part.machine
    return any(machine.meets(valuation, e) and machine.breach(valuation, e) for e in set(machine.effect_of)) or any(
        machine.meets(valuation, e) and machine.breach(valuation, e, is_move=True) for e in machine.move_effects
    )


def _any_of(masks: Iterator[int]) -> int:
    found = 0
    for mask in masks:
        found |= mask
    return found


def _in_lattice(part: Part, gate: list[int], twins: list[list[int]]) -> Space[int]:
    space = Space(part, Lattice(gate, part.all), gate, twins)
    space.explore(None)
    return space


def gated(part: Part, twins: list[list[int]]) -> list[int]:
    """The part's order, with twins one after the other."""
    gate = list(part.before)
    for alike in twins:
        for place, step in enumerate(alike):
            gate[step] |= sum(1 << other for other in alike[:place])
    return gate
