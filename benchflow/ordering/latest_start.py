"""The latest time to start each step so that every open time window is kept."""

from collections.abc import Callable, Collection, Iterable
from heapq import heapify, heappop, heappush
from math import inf

from benchflow.procedure.plan import Plan, Step, TimeWindow


def latest_starts(
    plan: Plan, done: Collection[str], now: float, counted: Callable[[TimeWindow], float | None]
) -> dict[str, float]:
    """Seconds from ``now`` to the latest start of every step that an open window depends on.

    ``done`` holds the finished steps. ``counted`` returns when a window began to count, in seconds of the same clock as
    ``now``; ``None`` if it does not count yet. A window is open if it counts and its own step is not done. The result
    leaves time for all prerequisites and waits. It assumes one operation in progress at a time, minimum durations, and
    the author's order where the order is free. A builder who starts each step in time keeps every open window. A
    negative result means that it is too late to keep all windows.
    """
    finish: dict[str, float] = {}
    for step in plan.steps.values():
        if step.id not in done:
            limits = [
                since + window.high + (step.takes if window.until else 0.0)
                for window in step.time
                if window.high is not None and (since := counted(window)) is not None
                if not _restarted_before(plan, done, step, window)
            ]
            if limits:
                finish[step.id] = min(limits)
    if not finish:
        return {}
    place = {name: number for number, name in enumerate(_in_order(plan, done))}
    followers = _followers(plan, done, finish)
    # From the last step back to the first one: a step gets its place when the starts of all its followers are known.
    ready = [(-finish[name], -place[name], name) for name, after in followers.items() if not after]
    heapify(ready)
    starts: dict[str, float] = {}
    next_start = inf
    while ready:
        _, _, name = heappop(ready)
        step = plan.steps[name]
        next_start = min(finish[name], next_start) - step.takes
        starts[name] = next_start - now
        waits = {w.operation: w.low for w in step.time if w.low is not None}
        for earlier in step.after:
            if earlier in followers:
                finish[earlier] = min(finish.get(earlier, inf), next_start - (waits.get(earlier) or 0.0))
                followers[earlier].remove(name)
                if not followers[earlier]:
                    heappush(ready, (-finish[earlier], -place[earlier], earlier))
    return {name: starts[name] for name in plan.steps if name in starts}


def _followers(plan: Plan, done: Collection[str], last: Iterable[str]) -> dict[str, set[str]]:
    """The steps still to be done for ``last``, these included, each with those that have it as a prerequisite."""
    followers: dict[str, set[str]] = {name: set() for name in last}
    todo = list(followers)
    while todo:
        name = todo.pop()
        for earlier in plan.steps[name].after:
            if earlier in done:
                continue
            if earlier not in followers:
                followers[earlier] = set()
                todo.append(earlier)
            followers[earlier].add(name)
    return followers


def _restarted_before(plan: Plan, done: Collection[str], step: Step, window: TimeWindow) -> bool:
    """True if a step that has to be done before ``step`` starts the clock of ``window`` again."""
    restarters = {name for name in plan.restarters.get(window.operation, ()) if name not in done}
    seen, todo = set[str](), list(step.after) if restarters else []
    while todo:
        name = todo.pop()
        if name in restarters:
            return True
        if name not in seen and name not in done:
            seen.add(name)
            todo += plan.steps[name].after
    return False


def _in_order(plan: Plan, done: Collection[str]) -> list[str]:
    """The steps still to be done, each after its prerequisites, otherwise in the author's order."""
    found: list[str] = []
    state: dict[str, bool] = {}  # False while the prerequisites of a step are visited, True when it is in the result
    for root in plan.steps:
        todo = [root]
        while todo:
            name = todo[-1]
            if name in done or state.get(name):
                todo.pop()
                continue
            if name in state:
                state[name] = True
                found.append(todo.pop())
                continue
            state[name] = False
            todo.extend(a for a in reversed(plan.steps[name].after) if a not in done and a not in state)
    return found
