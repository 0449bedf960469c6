"""Brute force for plans of real size: operations without a state are removed and counted, their order is kept.

An operation without `needs`, `during` and `sets` can be done as soon as its prerequisites are done, and changes
nothing. So whether a configuration can be finished, and what may come next, does not depend on it. A shortest order
contains exactly those that come before something in it. The closure of the order is computed by networkx.
"""

import networkx
from msgspec.structs import replace

from benchflow.procedure.plan import Plan
from tests.ordering import brute


class Condensed:
    """``dead_end`` and ``breach`` are the fewest steps of a witness of the whole plan, or ``None``; ``reached`` are the
    configurations of the operations that touch a state. The plan must run in no circle."""

    def __init__(self, plan: Plan) -> None:
        order: networkx.DiGraph[str] = networkx.DiGraph()
        order.add_nodes_from(plan.steps)
        order.add_edges_from((earlier, step.id) for step in plan.steps.values() for earlier in step.after)
        touching = {s.id for s in plan.steps.values() if s.needs or s.during or s.sets}
        before = {name: networkx.ancestors(order, name) for name in plan.steps}
        self._quiet_before = {name: before[name] - touching for name in touching}
        self._never_quiet = {name: before[name] & touching for name in plan.steps if name not in touching}
        self.plan = replace(
            plan,
            steps={
                name: replace(step, after=tuple(sorted(before[name] & touching)))
                for name, step in plan.steps.items()
                if name in touching
            },
        )
        truth = brute.Verdicts(self.plan)
        self.reached = truth.reached
        self.finishable = truth.finishable
        dead = [far + self._quiet(done) for (done, _), far in self.reached.items() if (done, _) not in self.finishable]
        self.dead_end = min(dead, default=None)
        self.breach = min(self._breaches(), default=None)
        lost = truth.unreachable
        self.unreachable = lost | {name for name, needed in self._never_quiet.items() if needed & lost}

    def _breaches(self) -> list[int]:
        found = []
        for (done, values), far in self.reached.items():
            for (kind, name), _, bad in brute.tries(self.plan, (done, values)):
                if bad:
                    found.append(far + 1 + self._quiet(done | {name} if kind == "operation" else done))
        return found

    def _quiet(self, done: frozenset[str]) -> int:
        """How many operations that touch nothing have to come before these."""
        return len({quiet for name in done for quiet in self._quiet_before[name]})
