"""Families of sets of done steps, stored in one of two ways.

A family belongs to the order of one group. ``gate`` holds, for each step, all steps that must be done before it,
directly or indirectly. :class:`ExplicitSets` stores the sets one by one. :class:`LatticeSets` stores a family as one
integer with a bit for every set that the order allows. To do so, it splits the order into chains. A set is
then given by the number of steps done on each chain. These numbers, read in mixed radix, are the position of its bit.
Doing the next step of a chain for all sets of the family is one shift.
"""

from abc import ABC, abstractmethod
from collections.abc import Iterator, Sequence
from math import prod
from typing import Generic, TypeVar

from benchflow.ordering.state_machine import bits

F = TypeVar("F")
_SETS_PER_UNIT = 16
_BITS_PER_UNIT = 3_000
"""The number of sets, or of bits of a lattice, that are tested for one action in one unit of work (about 1 µs)."""


class SetFamilies(ABC, Generic[F]):
    """Operations on families. ``F`` is the type of a family; an empty family is false. Sets of steps are bit masks."""

    @abstractmethod
    def empty(self) -> F:
        """The family that contains no set."""

    @abstractmethod
    def single(self, done: int) -> F:
        """The family of one set."""

    @abstractmethod
    def union(self, one: F, other: F) -> F:
        """The sets that are in either family. ``one`` may be changed and must not be used again."""

    @abstractmethod
    def difference(self, one: F, other: F) -> F:
        """The sets of ``one`` that are not in ``other``."""

    @abstractmethod
    def intersection(self, one: F, other: F) -> F:
        """The sets that are in both families."""

    @abstractmethod
    def ready(self, family: F, step: int) -> F:
        """The sets in which the step can be done next: it is not done, and all steps before it are done."""

    @abstractmethod
    def after_step(self, family: F, step: int) -> F:
        """Every set of the family, with the step added. All sets must be ready for the step."""

    @abstractmethod
    def before_step(self, family: F, step: int) -> F:
        """The sets from which doing the step gives a set of the family."""

    @abstractmethod
    def with_steps_done(self, family: F, steps: int) -> F:
        """The sets of the family in which all ``steps`` are done."""

    @abstractmethod
    def contains(self, family: F, done: int) -> bool:
        """True if the set is in the family."""

    @abstractmethod
    def count(self, family: F) -> int:
        """The number of sets in the family."""

    @abstractmethod
    def work_for(self, family: F, actions: int) -> int:
        """The units of work to find what each of this number of actions makes of the family."""

    @abstractmethod
    def members(self, family: F) -> Iterator[int]:
        """The sets of the family, one by one."""


class ExplicitSets(SetFamilies[set[int]]):
    """Stores sets one by one: about 100 bytes for each set in the family."""

    def __init__(self, gate: Sequence[int]) -> None:
        self._gate = [(mask | 1 << step, mask) for step, mask in enumerate(gate)]
        self._later = [0] * len(gate)
        for step, mask in enumerate(gate):
            for earlier in bits(mask):
                self._later[earlier] |= 1 << step

    def empty(self) -> set[int]:
        return set()

    def single(self, done: int) -> set[int]:
        return {done}

    def union(self, one: set[int], other: set[int]) -> set[int]:
        one |= other
        return one

    def difference(self, one: set[int], other: set[int]) -> set[int]:
        return one - other

    def intersection(self, one: set[int], other: set[int]) -> set[int]:
        return one & other

    def ready(self, family: set[int], step: int) -> set[int]:
        mask, wanted = self._gate[step]
        return {done for done in family if done & mask == wanted}

    def after_step(self, family: set[int], step: int) -> set[int]:
        bit = 1 << step
        return {done | bit for done in family}

    def before_step(self, family: set[int], step: int) -> set[int]:
        bit = 1 << step
        mask = bit | self._later[step]
        return {done ^ bit for done in family if done & mask == bit}

    def with_steps_done(self, family: set[int], steps: int) -> set[int]:
        return {done for done in family if done & steps == steps}

    def contains(self, family: set[int], done: int) -> bool:
        return done in family

    def count(self, family: set[int]) -> int:
        return len(family)

    def work_for(self, family: set[int], actions: int) -> int:
        return actions * len(family) // _SETS_PER_UNIT

    def members(self, family: set[int]) -> Iterator[int]:
        return iter(family)


class LatticeSets(SetFamilies[int]):
    """Stores a family of sets as an integer, with one bit for each set that the order allows."""

    def __init__(self, gate: Sequence[int], steps: int) -> None:
        self.chains = split_into_chains(gate, steps)
        self._gate = list(gate)
        self._strides: list[int] = []
        size = 1
        for chain in self.chains:
            self._strides.append(size)
            size *= len(chain) + 1
        self.size = size
        self._masks = [sum(1 << step for step in chain) for chain in self.chains]
        self._place = {step: (c, i) for c, chain in enumerate(self.chains) for i, step in enumerate(chain)}
        self._ready: dict[int, int] = {}

    def single(self, done: int) -> int:
        return 1 << self._position(done)

    def empty(self) -> int:
        return 0

    def union(self, one: int, other: int) -> int:
        return one | other

    def intersection(self, one: int, other: int) -> int:
        return one & other

    def difference(self, one: int, other: int) -> int:
        return one & ~other

    def ready(self, family: int, step: int) -> int:
        return family & self._ready_sets(step)

    def after_step(self, family: int, step: int) -> int:
        return family << self._strides[self._place[step][0]]

    def before_step(self, family: int, step: int) -> int:
        return family >> self._strides[self._place[step][0]] & self._ready_sets(step)

    def with_steps_done(self, family: int, steps: int) -> int:
        for chain, wanted in self._chain_targets(steps):
            family &= self._sets_with_chain_at(chain, wanted, len(self.chains[chain]))
        return family

    def contains(self, family: int, done: int) -> bool:
        return bool(family >> self._position(done) & 1)

    def count(self, family: int) -> int:
        return family.bit_count()

    def work_for(self, family: int, actions: int) -> int:
        return actions * family.bit_length() // _BITS_PER_UNIT

    def members(self, family: int) -> Iterator[int]:
        raw = family.to_bytes((family.bit_length() + 7) // 8, "little")
        for number, byte in enumerate(raw):
            for bit in bits(byte):
                yield self._set_at(8 * number + bit)

    def _position(self, done: int) -> int:
        return sum((done & mask).bit_count() * stride for mask, stride in zip(self._masks, self._strides, strict=True))

    def _set_at(self, position: int) -> int:
        done = 0
        for chain, stride in zip(self.chains, self._strides, strict=True):
            for step in chain[: position // stride % (len(chain) + 1)]:
                done |= 1 << step
        return done

    def _chain_targets(self, steps: int) -> Iterator[tuple[int, int]]:
        """The number of steps to do on each chain until all ``steps`` are done, as (chain, number)."""
        for chain, mask in enumerate(self._masks):
            if steps & mask:
                yield chain, 1 + max(self._place[step][1] for step in bits(steps & mask))

    def _ready_sets(self, step: int) -> int:
        field = self._ready.get(step)
        if field is None:
            chain, place = self._place[step]
            field = self._sets_with_chain_at(chain, place, place)
            for other, wanted in self._chain_targets(self._gate[step] & ~self._masks[chain]):
                field &= self._sets_with_chain_at(other, wanted, len(self.chains[other]))
            self._ready[step] = field
        return field

    def _sets_with_chain_at(self, chain: int, least: int, most: int) -> int:
        """The family of all sets with ``least`` to ``most`` steps done on the chain."""
        stride = self._strides[chain]
        period = stride * (len(self.chains[chain]) + 1)
        run = ((1 << (most - least + 1) * stride) - 1) << least * stride
        copies, copied = self.size // period, 1
        while copied * 2 <= copies:
            run |= run << copied * period
            copied *= 2
        if copied < copies:
            run |= (run & (1 << (copies - copied) * period) - 1) << copied * period
        return run


def split_into_chains(gate: Sequence[int], steps: int) -> list[list[int]]:
    """Split the steps into a few chains, each in order. The method is greedy, so fewer chains may be possible."""
    found: list[list[int]] = []
    for step in sorted(bits(steps), key=lambda step: (gate[step].bit_count(), step)):
        fitting = [chain for chain in found if gate[step] >> chain[-1] & 1]
        if fitting:
            # Continue the chain whose last step has the most prerequisites, so that the other chains stay usable.
            max(fitting, key=lambda chain: gate[chain[-1]].bit_count()).append(step)
        else:
            found.append([step])
    return found


def lattice_size(gate: Sequence[int], steps: int) -> int:
    """The number of bits that :class:`LatticeSets` needs to store one family."""
    return prod(len(chain) + 1 for chain in split_into_chains(gate, steps))
