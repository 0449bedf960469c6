"""The state space of one group: the configurations that can be reached, and those that can be finished."""

from collections.abc import Iterator, Sequence
from functools import cached_property
from typing import Any, Generic

from benchflow.ordering.proof.set_families import F, SetFamilies
from benchflow.ordering.proof.variable_group import VariableGroup
from benchflow.ordering.state_machine import BLOCKED, bits
from benchflow.ordering.work_meter import WorkMeter


class StateSpace(Generic[F]):
    """All configurations of one group.

    ``reached`` holds, for each valuation, the family of sets of done steps that can be reached. ``live`` holds those
    from which the group can be finished. ``gate`` is the order within the group, with an order added between twins.
    """

    def __init__(
        self, group: VariableGroup, families: SetFamilies[F], gate: Sequence[int], twins: list[list[int]]
    ) -> None:
        self.group = group
        self.families = families
        self.gate = gate
        self.twins = twins
        self.steps_from: dict[int, list[tuple[int, int]]] = {}
        self.moves_from: dict[int, list[int]] = {}
        self.reached: dict[int, F] = {}
        self.live: dict[int, F] = {}
        self.configurations = 0
        self._within_moves: dict[int, frozenset[int]] = {}
        self._steps = list(bits(group.all))
        self._step_effects = sorted({group.machine.effect_of[step] for step in self._steps})

    # --- exploring --------------------------------------------------------------------------------

    def explore(self, limit: int | None, work: WorkMeter) -> bool:
        """Explore breadth first. False if there are more than ``limit`` configurations; then no result is valid.

        It is false too if ``work`` reaches its limit.
        """
        families = self.families
        frontier: dict[int, F] = {}
        for start in self.group.starts:
            frontier[start] = families.single(0)
            self.reached[start] = families.single(0)
        self.configurations = len(frontier)
        if limit is not None and self.configurations > limit:
            return False
        cost_of_valuation = len(self._step_effects) + len(self._steps) // 8 + len(self.group.machine.moves)
        while frontier:
            coming: dict[int, F] = {}
            for valuation, family in frontier.items():
                cost = 0 if valuation in self.steps_from else cost_of_valuation
                if not work.spend(cost + self._cost_of_successors(valuation, family)):
                    return False
                for then, new in self._successors(valuation, family):
                    seen = self.reached.get(then)
                    if seen is None:
                        seen = families.empty()
                    new = families.difference(new, seen)
                    if not new:
                        continue
                    self.configurations += families.count(new)
                    coming[then] = families.union(coming.get(then) or families.empty(), new)
                    self.reached[then] = families.union(seen, new)
                    if limit is not None and self.configurations > limit:
                        return False
            frontier = coming
        self._find_live()
        return True

    def _cost_of_successors(self, valuation: int, family: F) -> int:
        """The work for the successors: each set and each action is tested, many of them at once."""
        actions = len(self._steps_at(valuation)) + len(self._moves_at(valuation))
        return 1 + self.families.work_for(family, actions)

    def _successors(self, valuation: int, family: F) -> Iterator[tuple[int, F]]:
        families = self.families
        for step, then in self._steps_at(valuation):
            ready = families.ready(family, step)
            if ready:
                yield then, families.after_step(ready, step)
        for then in self._moves_at(valuation):
            yield then, family

    def _find_live(self) -> None:
        """Find the configurations that can be finished, searching backwards from all steps done."""
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
            if families.contains(family, self.group.all):
                frontier[valuation] = families.single(self.group.all)
                self.live[valuation] = families.single(self.group.all)
        while frontier:
            coming: dict[int, F] = {}
            for valuation, family in frontier.items():
                before = [(earlier, families.before_step(family, step)) for step, earlier in into.get(valuation, ())]
                before += [(earlier, family) for earlier in moved_into.get(valuation, ())]
                for earlier, could in before:
                    live = self.live.get(earlier)
                    if live is None:
                        live = families.empty()
                    new = families.difference(families.intersection(could, self.reached[earlier]), live)
                    if new:
                        coming[earlier] = families.union(coming.get(earlier) or families.empty(), new)
                        self.live[earlier] = families.union(live, new)
            frontier = coming

    def _steps_at(self, valuation: int) -> list[tuple[int, int]]:
        known = self.steps_from.get(valuation)
        if known is None:
            machine = self.group.machine
            after = {effect: machine.step(valuation, effect) for effect in self._step_effects}
            known = [(step, then) for step in self._steps if (then := after[machine.effect_of[step]]) != BLOCKED]
            self.steps_from[valuation] = known
        return known

    def _moves_at(self, valuation: int) -> list[int]:
        known = self.moves_from.get(valuation)
        if known is None:
            machine = self.group.machine
            found = {machine.move(valuation, number) for number in range(len(machine.moves))}
            known = sorted(found - {BLOCKED, valuation})
            self.moves_from[valuation] = known
        return known

    # --- results ----------------------------------------------------------------------------------

    def dead_ends(self) -> Iterator[tuple[int, F]]:
        """The configurations that can be reached but not finished, as (valuation, family of sets of done steps)."""
        for valuation, family in self.reached.items():
            live = self.live.get(valuation)
            lost = family if live is None else self.families.difference(family, live)
            if lost:
                yield valuation, lost

    def is_live(self, done: int, valuation: int) -> bool:
        live = self.live.get(valuation)
        return live is not None and self.families.contains(live, self.canonical(done))

    def path_to(self, done: int, valuation: int) -> tuple[int, tuple[int, ...]]:
        """A start, and a path from it to a configuration that was reached. A move is ``~number``.

        It is found backwards: each step undoes one, after as few moves as possible.
        """
        machine, families = self.group.machine, self.families
        into: dict[int, list[tuple[int, int]]] = {}
        moved_into: dict[int, list[tuple[int, int]]] = {}
        for before in self.reached:
            for step, then in self._steps_at(before):
                into.setdefault(then, []).append((step, before))
            for number in range(len(machine.moves)):
                then = machine.move(before, number)
                if then not in (BLOCKED, before):
                    moved_into.setdefault(then, []).append((~number, before))
        path: list[int] = []
        while True:
            next_action: dict[int, tuple[int, int]] = {}  # by valuation: the move to take there, and where it leads
            waiting = [valuation]
            for here in waiting:  # the list grows during the loop
                first = self._last_step_before(done, here, into.get(here, ()))
                if first is not None or (not done and here in self.group.starts):
                    break
                for move, before in moved_into.get(here, ()):
                    if (
                        before not in next_action
                        and before != valuation
                        and families.contains(self.reached[before], done)
                    ):
                        next_action[before] = move, here
                        waiting.append(before)
            assert first is not None or (not done and here in self.group.starts), "the configuration was not reached"
            moves = []
            at = here
            while at != valuation:
                move, at = next_action[at]
                moves.append(move)
            path[:0] = moves
            if first is None:
                return here, tuple(path)
            step, valuation = first
            path.insert(0, step)
            done ^= 1 << step

    def _last_step_before(self, done: int, valuation: int, into: Sequence[tuple[int, int]]) -> tuple[int, int] | None:
        """The (step, valuation before it) by which a configuration was reached; ``None`` if no step leads to it."""
        families = self.families
        needed = 0
        for step in bits(done):
            needed |= self.gate[step]
        for step, before in into:
            if (
                done >> step & 1
                and not needed >> step & 1
                and families.contains(self.reached[before], done ^ 1 << step)
            ):
                return step, before
        return None

    def live_starts(self) -> list[int]:
        return [start for start in self.group.starts if self.is_live(0, start)]

    def never_done(self) -> int:
        """The mask of the steps that are not done in any order."""
        left = 0 if self.live else self.group.all  # if anything can be finished, every step can be done
        for family in self.reached.values():
            left = sum(1 << step for step in bits(left) if not self.families.with_steps_done(family, 1 << step))
        for twins in self.twins:
            if not left >> twins[0] & 1:  # if the first can be done, any other can be done instead
                left &= ~sum(1 << twin for twin in twins)
        return left

    @cached_property
    def breaches(self) -> list[tuple[int, int]]:
        """Each (valuation, step or ``~move``) that breaks a rule although prerequisites and needs allow it."""
        machine = self.group.machine
        found = []
        for valuation, family in self.reached.items():
            for step, effect in enumerate(machine.effect_of):
                if (
                    machine.meets(valuation, effect)
                    and machine.breach(valuation, effect)
                    and self._may_come_next(family, step)
                ):
                    found.append((valuation, step))
            for number, effect in enumerate(machine.move_effects):
                if machine.meets(valuation, effect) and machine.breach(valuation, effect, is_move=True):
                    found.append((valuation, ~number))
        return found

    def canonical(self, done: int) -> int:
        """The equivalent set of done steps in which, of each list of twins, the first ones are done."""
        for twins in self.twins:
            count = sum(done >> step & 1 for step in twins)
            for place, step in enumerate(twins):
                done = done | 1 << step if place < count else done & ~(1 << step)
        return done

    def within_moves(self, valuation: int) -> frozenset[int]:
        """The valuations that moves alone reach, including this one."""
        known = self._within_moves.get(valuation)
        if known is None:
            order, seen = [valuation], {valuation}
            for here in order:  # the list grows during the loop
                for then in self._moves_at(here):
                    if then not in seen:
                        seen.add(then)
                        order.append(then)
            known = frozenset(seen)
            self._within_moves[valuation] = known
        return known

    def _may_come_next(self, family: F, step: int) -> bool:
        """True if the family has a set after which the author's order allows the step, without regard to states."""
        if self.group.waiting >> step & 1:
            return False
        here = self.families.with_steps_done(family, self.group.on_paper[step])
        if self.group.excluded >> step & 1:
            return bool(here)
        return bool(self.families.difference(here, self.families.with_steps_done(here, 1 << step)))

    @cached_property
    def useful_moves(self) -> frozenset[str]:
        """The moves that can be made in some reachable valuation and change it."""
        machine = self.group.machine
        return frozenset(
            name
            for number, name in enumerate(machine.moves)
            if any(machine.move(valuation, number) not in (BLOCKED, valuation) for valuation in self.reached)
        )

    @cached_property
    def free(self) -> bool:
        """True if every step that the order allows next can be done, in all configurations that can be finished."""
        return not any(
            self.cannot_continue(valuation, self.families.ready(family, step), step)
            for step in bits(self.group.all)
            for valuation, family in self.live.items()
        )

    def cannot_continue(self, valuation: int, ready: F, step: int) -> F:
        """The sets in ``ready`` from which doing the step never leads to a live configuration, even after moves.

        The step is added to the sets that are returned.
        """
        families = self.families
        if not ready:
            return families.empty()
        stuck = families.after_step(ready, step)
        for there in self.within_moves(valuation):
            for other, then in self.steps_from[there]:
                if other == step and then in self.live:
                    stuck = families.difference(stuck, self.live[then])
        return stuck

    @cached_property
    def always_before(self) -> list[int]:
        """For each step, the steps always done before it, because of the order or because states imply it."""
        families = self.families
        found = [self.group.all & ~(1 << step) for step in range(len(self.group.steps))]
        for valuation, family in self.reached.items():
            for step, _ in self.steps_from[valuation]:
                ready = families.ready(family, step)
                if ready:
                    found[step] = sum(
                        1 << other
                        for other in bits(found[step])
                        if not families.difference(ready, families.with_steps_done(ready, 1 << other))
                    )
        for twins in self.twins:
            mask = sum(1 << twin for twin in twins)
            for step, forced in enumerate(found):
                # Some twins may replace others, so only all of them together are certain.
                if forced & mask != mask:
                    found[step] = forced & ~mask
            for twin in twins:
                found[twin] = found[twins[0]]
        return found


AnyStateSpace = StateSpace[Any]
"""A state space, whichever of the two kinds of family it uses."""


def gated(group: VariableGroup, twins: list[list[int]]) -> list[int]:
    """The order of the group, with an order added between twins, so that only one order of them is explored."""
    gate = list(group.before)
    for alike in twins:
        for place, step in enumerate(alike):
            gate[step] |= sum(1 << other for other in alike[:place])
    return gate
