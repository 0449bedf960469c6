"""Whether the parts, each explored by itself, can always be finished together.

A projection forgets what the other parts are waiting for. Two parts that can each be finished may still block
each other for good: one waits, by its states, for a step that comes after a step which the other, by its
states, can only do later. So that a part may be finished by itself proves nothing yet; it is enough, though,
if from every configuration that can be finished

* the part can go on with its remaining steps in one order that all parts share (*in turn*), or
* the part can go on with a step for which the other parts never have to wait for anything that this part has
  still to do, even if they insist on their own turns.

A part that can go on with whatever the order allows (*free*) never makes others wait. What passes neither way
has to be explored together with the parts that it may have to wait for.
"""

from collections.abc import Sequence
from typing import Literal

from benchflow.ordering.proof.partial_order import PartialOrder
from benchflow.ordering.proof.set_families import F
from benchflow.ordering.proof.state_space import AnyStateSpace, StateSpace
from benchflow.ordering.proof.variable_group import VariableGroup
from benchflow.ordering.state_machine import bits

Manner = Literal["free", "in turn", "its own"]
_MOST_EXCEPTIONS = 4_000

Pair = tuple[VariableGroup, AnyStateSpace]


def entangled(order: PartialOrder, pairs: Sequence[Pair]) -> set[int] | None:
    """The numbers of parts that have to be explored together, or ``None`` when all is well as it is."""
    exceptions = [[] if space.free else _out_of_turn(part, space) for part, space in pairs]
    if not any(exceptions):
        return None
    manners: list[Manner] = [
        "free" if space.free else "its own" if odd else "in turn"
        for (_, space), odd in zip(pairs, exceptions, strict=True)
    ]
    waiting = _Waiting(order, [part for part, _ in pairs], manners)
    for number, ((part, space), odd) in enumerate(zip(pairs, exceptions, strict=True)):
        if manners[number] != "its own":
            continue
        for valuation, done in odd:
            together = waiting.stands_in_the_way(number, part, space, valuation, done)
            if together:
                return together | {number}
    return None


def _out_of_turn(part: VariableGroup, space: StateSpace[F]) -> list[tuple[int, int]]:
    """The (valuation, done) that can be finished, but not by going on with the step whose turn it is."""
    rank = [part.order.rank[number] for number in part.steps]
    alike = {step: twins for twins in space.twins for step in twins}
    found: list[tuple[int, int]] = []
    for step in bits(part.all):
        twins = alike.get(step, [step])
        # With twins, any of them may be the one that is left: the first that could be.
        turn = min(rank[twin] for twin in twins)
        earlier = sum(1 << other for other in bits(part.all) if rank[other] < turn and other not in twins)
        for valuation, family in space.live.items():
            stuck = space.cannot_go_on(valuation, space.families.ready(family, step), step)
            if stuck:
                stuck = space.families.having(stuck, earlier)
            for done in space.families.each(stuck):
                found.append((valuation, done & ~(1 << step)))
                if len(found) > _MOST_EXCEPTIONS:
                    return found
    return found


class _Waiting:
    """What may have to be done first, if every part insists on its own manner."""

    def __init__(self, order: PartialOrder, parts: Sequence[VariableGroup], manners: Sequence[Manner]) -> None:
        self._order = order
        self._parts = parts
        self._manners = manners
        self._part_of = {number: place for place, part in enumerate(parts) for number in part.steps}

    def stands_in_the_way(
        self, number: int, part: VariableGroup, space: AnyStateSpace, valuation: int, done: int
    ) -> set[int]:
        """The other parts that any way on from here may have to wait for while they wait for this one; empty
        when there is a way on without that."""
        sure, unsure = _surely_done(part, space, done)
        left = part.in_plan((1 << len(part.steps)) - 1 & ~sure)
        settled = 0
        for step in bits(part.in_plan(sure)):
            settled |= self._order.before[step] | 1 << step
        tangled: set[int] = set()
        for step in _ways_on(space, valuation, done):
            wanted = 0
            for member in unsure.get(step, [step]):
                wanted |= self._order.before[part.steps[member]] & ~part.mask & ~settled
            wanted, parts = self._follow(wanted, number)
            if not wanted & left:
                return set()
            tangled |= parts
        return tangled - {number} or set(range(len(self._parts))) - {number}

    def _follow(self, wanted: int, but: int) -> tuple[int, set[int]]:
        order = self._order
        seen, parts = 0, set[int]()
        while wanted & ~seen:
            fresh = wanted & ~seen
            seen |= fresh
            for step in bits(fresh):
                wanted |= order.before[step]
                place = self._part_of.get(step)
                if place is None or place == but:
                    continue
                parts.add(place)
                part = self._parts[place]
                if self._manners[place] == "in turn":
                    wanted |= sum(1 << other for other in part.steps if order.rank[other] < order.rank[step])
                elif self._manners[place] == "its own":
                    wanted |= part.mask
        return wanted, parts


def _surely_done(part: VariableGroup, space: AnyStateSpace, done: int) -> tuple[int, dict[int, list[int]]]:
    """What is done however the twins are told apart; and by step, its twins while only some are done."""
    unsure: dict[int, list[int]] = {}
    for twins in space.twins:
        mask = sum(1 << twin for twin in twins)
        if done & mask != mask:
            done &= ~mask
            unsure.update(dict.fromkeys(twins, twins))
    return done, unsure


def _ways_on(space: AnyStateSpace, valuation: int, done: int) -> list[int]:
    """The steps that may be done from here, moves first where they help, without ending up dead."""
    found = []
    for there in space.within_moves(valuation):
        for step, then in space.steps_from[there]:
            if done >> step & 1 == 0 and not space.gate[step] & ~done and space.is_live(done | 1 << step, then):
                found.append(step)
    return list(dict.fromkeys(found))
