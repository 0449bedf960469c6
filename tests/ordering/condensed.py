"""Brute force for plans of real size. Operations that use no state are left out of the search, but counted.

An operation without `needs`, `during` and `sets` can be done as soon as its prerequisites are done, and changes no
state. Leaving it out therefore does not change the verdicts. A shortest order contains such an operation only if it is
a prerequisite of another step in that order. networkx computes the closure of the order.
"""

import networkx
from msgspec.structs import replace

from benchflow.procedure.plan import Plan
from tests.ordering import brute_force


class Condensed:
    """The verdicts on a whole plan, computed on the operations that use a state. The plan must have no cycle.

    ``dead_end`` and ``breach`` are the length of a shortest witness of the whole plan, or ``None``. ``reached`` are the
    reachable configurations of the operations that use a state.
    """

    def __init__(self, plan: Plan) -> None:
        order: networkx.DiGraph[str] = networkx.DiGraph()
        order.add_nodes_from(plan.steps)
        order.add_edges_from((earlier, step.id) for step in plan.steps.values() for earlier in step.after)
        touching = {s.id for s in plan.steps.values() if s.needs or s.during or s.sets}
        before = {name: networkx.ancestors(order, name) for name in plan.steps}
        self._stateless_before = {name: before[name] - touching for name in touching}
        self._needed_by_stateless = {name: before[name] & touching for name in plan.steps if name not in touching}
        self.plan = replace(
            plan,
            steps={
                name: replace(step, after=tuple(sorted(before[name] & touching)))
                for name, step in plan.steps.items()
                if name in touching
            },
        )
        truth = brute_force.Verdicts(self.plan)
        self.reached, self._edges = truth.reached, truth.edges
        self.finishable = truth.finishable
        dead = [
            distance + self._stateless_steps_before(done)
            for (done, _), distance in self.reached.items()
            if (done, _) not in self.finishable
        ]
        self.dead_end = min(dead, default=None)
        self.breach = min(self._breaches(), default=None)
        lost = truth.unreachable
        self.unreachable = lost | {name for name, needed in self._needed_by_stateless.items() if needed & lost}

    def _breaches(self) -> list[int]:
        found = []
        for (done, values), distance in self.reached.items():
            for (kind, name), _, breaks in self._edges[done, values]:
                if breaks:
                    found.append(
                        distance + 1 + self._stateless_steps_before(done | {name} if kind == "operation" else done)
                    )
        return found

    def _stateless_steps_before(self, done: frozenset[str]) -> int:
        """The number of operations that use no state and must come before these operations."""
        return len({stateless for name in done for stateless in self._stateless_before[name]})
