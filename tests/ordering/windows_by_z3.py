"""Decides by the solver z3 if times exist that keep all windows of a plan whose operations cannot be paused.

It is an encoding of its own: real times, any order, clocks that are started again, and states that ops enter and leave.
"""

from collections.abc import Iterator
from itertools import combinations

import z3  # type: ignore[import-untyped]  # z3-solver ships no types

from benchflow.procedure.plan import Plan, Step, TimeWindow

Times = dict[str, z3.ArithRef]

SLACK = z3.RealVal("0.000001")
"""The slack of the time network under test."""


def windows_can_be_kept(plan: Plan, start: dict[str, str]) -> bool:
    """True if there are times at which every operation is done once and every window is kept."""
    begin = {name: z3.Real(f"begin {name}") for name in plan.steps}
    end = {name: z3.Real(f"end {name}") for name in plan.steps}
    solver = z3.Solver()
    for name, step in plan.steps.items():
        solver.add(begin[name] >= 0, end[name] >= begin[name] + step.takes)
        solver.add(*(begin[name] >= end[earlier] for earlier in step.after))
    # Two events at one time are still one after the other, so the order is a permutation of its own.
    rank = {name: z3.Int(f"rank {name}") for name in plan.steps}
    for one, other in combinations(plan.steps, 2):
        first = z3.And(rank[one] < rank[other], end[one] <= begin[other])
        solver.add(z3.Or(first, z3.And(rank[other] < rank[one], end[other] <= begin[one])))
    for name, step in plan.steps.items():
        solver.add(*(rank[earlier] < rank[name] for earlier in step.after))
        for window in step.time:
            solver.add(*_kept(plan, start, step, window, begin, end, rank))
    found = solver.check()
    assert found in (z3.sat, z3.unsat)
    return bool(found == z3.sat)


def _kept(
    plan: Plan, start: dict[str, str], step: Step, window: TimeWindow, begin: Times, end: Times, rank: Times
) -> Iterator[z3.BoolRef]:
    """The conditions that one window is kept."""
    name = step.id
    restarters = [other for other, each in plan.steps.items() if window.operation in each.restarts]
    clocks = [window.operation, *restarters]
    before = {clock: rank[clock] < rank[name] for clock in clocks}
    last = {
        clock: z3.And(
            before[clock],
            *(z3.Or(z3.Not(before[o]), rank[o] <= rank[clock]) for o in clocks if o != clock),
        )
        for clock in clocks
    }
    for clock in clocks:
        if window.low is not None:
            yield z3.Implies(last[clock], begin[name] - end[clock] >= window.low - SLACK)
        if window.high is not None:
            yield z3.Implies(last[clock], end[name] - end[clock] <= window.high + SLACK)
    for variable, values in window.while_.items():
        yield from _state_kept(plan, start, name, window, variable, values, begin, end, rank)


def _state_kept(
    plan: Plan,
    start: dict[str, str],
    name: str,
    window: TimeWindow,
    variable: str,
    values: tuple[str, ...],
    begin: Times,
    end: Times,
    rank: Times,
) -> Iterator[z3.BoolRef]:
    """The conditions that the state of `while` is so at the start, and was entered early enough. There are no moves."""
    setters = [each for each, other in plan.steps.items() if variable in other.sets]

    def is_last_before(setter: str, at: z3.ArithRef) -> z3.BoolRef:
        others = (z3.Or(rank[o] >= at, rank[o] < rank[setter]) for o in setters if o != setter)
        return z3.And(rank[setter] < at, *others)

    def so_before(at: z3.ArithRef) -> z3.BoolRef:
        untouched = z3.And(*(rank[each] >= at for each in setters))
        by_start = z3.And(untouched, z3.BoolVal(start[variable] in values))
        return z3.Or(by_start, *(is_last_before(s, at) for s in setters if plan.steps[s].sets[variable] in values))

    yield so_before(rank[name])
    for setter in setters:
        if plan.steps[setter].sets[variable] in values and window.low is not None:
            entered = z3.And(rank[setter] < rank[name], z3.Not(so_before(rank[setter])))
            yield z3.Implies(entered, begin[name] - end[setter] >= window.low - SLACK)
