"""The partial order of one plan's steps, its cycles, and a total order that keeps it."""

from collections.abc import Sequence
from heapq import heapify, heappop, heappush

from benchflow.ordering.state_machine import bits, closure
from benchflow.procedure.plan import Plan


class PartialOrder:
    """The order of a plan's steps. Steps are numbered as in the plan; sets of steps are bit masks.

    ``before`` is the transitive closure of ``after``. ``blocked`` are the steps in a cycle or after one. ``rank`` is
    the place of each step in a total order that keeps ``after``. It is the order closest to the author's, with blocked
    steps last. ``extra`` holds the prerequisites that states imply, as a mask for each step.
    """

    def __init__(self, plan: Plan, extra: Sequence[int] = ()) -> None:
        self.steps: tuple[str, ...] = tuple(plan.steps)
        self.index = {name: number for number, name in enumerate(self.steps)}
        self.after = [
            sum(1 << number for number in {self.index[name] for name in step.after if name in self.index})
            for step in plan.steps.values()
        ]
        for index, mask in enumerate(extra):
            self.after[index] |= mask
        self.before = closure(self.after)
        in_cycles = sum(1 << i for i, mask in enumerate(self.before) if mask >> i & 1)
        self.blocked = in_cycles | sum(1 << i for i, mask in enumerate(self.before) if mask & in_cycles)
        self.cycles = tuple(self._cycles(in_cycles))
        self.rank = self._ranks()

    @property
    def everything(self) -> int:
        return (1 << len(self.steps)) - 1

    def _cycles(self, in_cycles: int) -> list[tuple[int, ...]]:
        """A shortest cycle in each strongly connected set of steps. It begins with its lowest step number."""
        found: list[tuple[int, ...]] = []
        left = in_cycles
        while left:
            first = (left & -left).bit_length() - 1
            component = sum(1 << i for i in bits(in_cycles & self.before[first]) if self.before[i] >> first & 1)
            found.append(min((self._cycle_through(i, component) for i in bits(component)), key=lambda c: (len(c), c)))
            left &= ~component
        return found

    def _cycle_through(self, step: int, component: int) -> tuple[int, ...]:
        came_from: dict[int, int] = {}
        queue = [step]
        for here in queue:  # the list grows during the loop
            for earlier in bits(self.after[here] & component):
                if earlier == step:
                    path = [here]
                    while path[-1] != step:
                        path.append(came_from[path[-1]])
                    # Rotate the path so that it begins with its lowest step number.
                    start = path.index(min(path))
                    return tuple(path[start:] + path[:start])
                if earlier not in came_from:
                    came_from[earlier] = here
                    queue.append(earlier)
        return (step,)

    def _ranks(self) -> list[int]:
        missing = [mask.bit_count() for mask in self.after]
        followers: list[list[int]] = [[] for _ in self.after]
        for index, mask in enumerate(self.after):
            for earlier in bits(mask):
                followers[earlier].append(index)
        heap = [index for index, count in enumerate(missing) if count == 0]
        heapify(heap)
        rank = [0] * len(missing)
        turn = 0
        while heap:
            index = heappop(heap)
            rank[index] = turn
            turn += 1
            for follower in followers[index]:
                missing[follower] -= 1
                if missing[follower] == 0:
                    heappush(heap, follower)
        for index in bits(self.blocked):
            rank[index] = turn
            turn += 1
        return rank
