"""Every configuration of one part: which can be reached with the interlock on, and which can be finished."""

from collections.abc import Iterator, Sequence
from functools import cached_property
from typing import Any, Generic

from benchflow.ordering.proof.set_families import F, SetFamilies
from benchflow.ordering.proof.variable_group import VariableGroup
from benchflow.ordering.state_machine import BLOCKED, bits


class StateSpace(Generic[F]):
    """``reached`` and ``live`` hold, by valuation, the sets of done steps; ``gate`` is the order within the
    part, with twins one after the other."""

    def __init__(
        self, part: VariableGroup, families: SetFamilies[F], gate: Sequence[int], twins: list[list[int]]
    ) -> None:
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

    @cached_property
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
            order, seen = [valuation], {valuation}
            for here in order:  # grows while it is walked
                for then in self._moves_at(here):
                    if then not in seen:
                        seen.add(then)
                        order.append(then)
            known = frozenset(seen)
            self._within_moves[valuation] = known
        return known

    def _comes_next(self, family: F, step: int) -> bool:
        """Whether the author's order alone lets the step come next in any of these."""
        if self.part.waiting >> step & 1:
            return False
        here = self.families.having(family, self.part.on_paper[step])
        if self.part.excluded >> step & 1:
            return bool(here)
        return bool(self.families.minus(here, self.families.having(here, 1 << step)))

    @cached_property
    def useful_moves(self) -> frozenset[str]:
        """The moves that can be made somewhere and change something there."""
        machine = self.part.machine
        return frozenset(
            name
            for number, name in enumerate(machine.moves)
            if any(machine.move(valuation, number) not in (BLOCKED, valuation) for valuation in self.reached)
        )

    @cached_property
    def free(self) -> bool:
        """Whether from everything that can be finished it can go on with whatever the order allows."""
        return not any(
            self.cannot_go_on(valuation, self.families.ready(family, step), step)
            for step in bits(self.part.all)
            for valuation, family in self.live.items()
        )

    def cannot_go_on(self, valuation: int, ready: F, step: int) -> F:
        """Of what is ready for the step, what moves and the step cannot turn into something live (step added)."""
        families = self.families
        if not ready:
            return families.nothing()
        stuck = families.done(ready, step)
        for there in self.within_moves(valuation):
            for other, then in self.steps_from[there]:
                if other == step and then in self.live:
                    stuck = families.minus(stuck, self.live[then])
        return stuck

    @cached_property
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


AnyStateSpace = StateSpace[Any]
"""Whichever way its families are held: only its own ``families`` look inside them."""


def gated(part: VariableGroup, twins: list[list[int]]) -> list[int]:
    """The part's order, with twins one after the other."""
    gate = list(part.before)
    for alike in twins:
        for place, step in enumerate(alike):
            gate[step] |= sum(1 << other for other in alike[:place])
    return gate
