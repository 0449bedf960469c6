"""Decides which groups have to be explored together.

Exploring each group alone does not show if groups wait for each other. Two groups that can each be finished may still
block each other: each waits for a step that the other can only do later. Groups can be explored separately if the
following is true. In every configuration from which a group can be finished, it can continue

* *in turn*: with its next step in one order that all groups share, or
* with a step that does not have to wait for a group which waits for this one. The other groups need not follow the
  shared order for this: each may keep its *own order*.

A group that can continue with every step that the order allows is *free*. No other group has to wait for it. A group
for which neither is true is explored together with the groups that it may have to wait for.
"""

from collections.abc import Sequence
from typing import Literal

from benchflow.ordering.proof.partial_order import PartialOrder
from benchflow.ordering.proof.set_families import F
from benchflow.ordering.proof.state_space import AnyStateSpace, StateSpace
from benchflow.ordering.proof.variable_group import VariableGroup
from benchflow.ordering.state_machine import bits

Progress = Literal["free", "in turn", "own order"]
"""The condition by which a group can continue, as explained at the top of this module."""
_MOST_EXCEPTIONS = 4_000

Pair = tuple[VariableGroup, AnyStateSpace]
"""A group with its state space."""


def groups_to_join(order: PartialOrder, pairs: Sequence[Pair]) -> set[int] | None:
    """Indices of groups to explore together; ``None`` if the groups can be finished separately."""
    exceptions = [[] if space.free else _out_of_turn(group, space) for group, space in pairs]
    if not any(exceptions):
        return None
    progress: list[Progress] = [
        "free" if space.free else "own order" if exceptional else "in turn"
        for (_, space), exceptional in zip(pairs, exceptions, strict=True)
    ]
    waiting = _Waiting(order, [group for group, _ in pairs], progress)
    for number, ((group, space), exceptional) in enumerate(zip(pairs, exceptions, strict=True)):
        if progress[number] != "own order":
            continue
        for valuation, done in exceptional:
            together = waiting.groups_waited_for(number, group, space, valuation, done)
            if together:
                return together | {number}
    return None


def _out_of_turn(group: VariableGroup, space: StateSpace[F]) -> list[tuple[int, int]]:
    """The configurations that can be finished, but not with the shared order's next step, as (valuation, done)."""
    rank = [group.order.rank[number] for number in group.steps]
    alike = {step: twins for twins in space.twins for step in twins}
    found: list[tuple[int, int]] = []
    for step in bits(group.all):
        twins = alike.get(step, [step])
        # Any of the twins may be the last one, so take the earliest rank.
        turn = min(rank[twin] for twin in twins)
        earlier = sum(1 << other for other in bits(group.all) if rank[other] < turn and other not in twins)
        for valuation, family in space.live.items():
            stuck = space.cannot_continue(valuation, space.families.ready(family, step), step)
            if stuck:
                stuck = space.families.with_steps_done(stuck, earlier)
            for done in space.families.members(stuck):
                found.append((valuation, done & ~(1 << step)))
                if len(found) > _MOST_EXCEPTIONS:
                    return found
    return found


def follows_shared_order(group: VariableGroup, space: AnyStateSpace) -> bool:
    """True if the group can always continue with its next step in the order that all groups share."""
    return space.free or not _out_of_turn(group, space)


class _Waiting:
    """The steps and groups that a step may have to wait for. ``progress`` has one entry for each group."""

    def __init__(self, order: PartialOrder, groups: Sequence[VariableGroup], progress: Sequence[Progress]) -> None:
        self._order = order
        self._groups = groups
        self._progress = progress
        self._group_of = {number: place for place, group in enumerate(groups) for number in group.steps}

    def groups_waited_for(
        self, number: int, group: VariableGroup, space: AnyStateSpace, valuation: int, done: int
    ) -> set[int]:
        """The groups that may wait for this group while it waits for them.

        Empty if this group has a possible next step that does not have to wait for any of them.
        """
        certain, uncertain = _certainly_done(group, space, done)
        left = group.in_plan((1 << len(group.steps)) - 1 & ~certain)
        settled = 0
        for step in bits(group.in_plan(certain)):
            settled |= self._order.before[step] | 1 << step
        blocking: set[int] = set()
        for step in _continuations(space, valuation, done):
            wanted = 0
            for member in uncertain.get(step, [step]):
                wanted |= self._order.before[group.steps[member]] & ~group.mask & ~settled
            wanted, groups = self._follow(wanted, number)
            if not wanted & left:
                return set()
            blocking |= groups
        return blocking - {number} or set(range(len(self._groups))) - {number}

    def _follow(self, wanted: int, but: int) -> tuple[int, set[int]]:
        order = self._order
        seen, groups = 0, set[int]()
        while wanted & ~seen:
            fresh = wanted & ~seen
            seen |= fresh
            for step in bits(fresh):
                wanted |= order.before[step]
                place = self._group_of.get(step)
                if place is None or place == but:
                    continue
                groups.add(place)
                group = self._groups[place]
                if self._progress[place] == "in turn":
                    wanted |= sum(1 << other for other in group.steps if order.rank[other] < order.rank[step])
                elif self._progress[place] == "own order":
                    wanted |= group.mask
        return wanted, groups


def _certainly_done(group: VariableGroup, space: AnyStateSpace, done: int) -> tuple[int, dict[int, list[int]]]:
    """Return the mask of the steps that are certainly done, and the twins of each step that may not be done.

    The state space has the number of twins that are done, but not which ones.
    """
    uncertain: dict[int, list[int]] = {}
    for twins in space.twins:
        mask = sum(1 << twin for twin in twins)
        if done & mask != mask:
            done &= ~mask
            uncertain.update(dict.fromkeys(twins, twins))
    return done, uncertain


def _continuations(space: AnyStateSpace, valuation: int, done: int) -> list[int]:
    """The steps that may be done from here, after moves if necessary, without reaching a dead end."""
    found = []
    for there in space.within_moves(valuation):
        for step, then in space.steps_from[there]:
            if done >> step & 1 == 0 and not space.gate[step] & ~done and space.is_live(done | 1 << step, then):
                found.append(step)
    return list(dict.fromkeys(found))
