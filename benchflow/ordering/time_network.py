"""Time between events, as a simple temporal network; and how long a builder may wait.

A network has points in time and, between pairs of them, the least and the most time that may pass. It is
contradictory exactly when its distance graph has a negative cycle, and its tightest equivalent form are the
shortest distances (R. Dechter, I. Meiri, J. Pearl: Temporal constraint networks, Artificial Intelligence 49, 1991).
"""

from collections.abc import Hashable, Iterable, Mapping, Sequence
from math import inf

from msgspec import Struct

from benchflow.procedure.plan import Plan

Point = Hashable


class Between(Struct, frozen=True):
    """``least`` to ``most`` seconds pass from ``first`` to ``then``; ``why`` names what asks for it. ``then`` may come
    before ``first``: the bounds are then negative."""

    first: Point
    then: Point
    least: float = -inf
    most: float = inf
    why: Hashable = None


def distances(points: Sequence[Point], network: Iterable[Between]) -> dict[Point, dict[Point, float]] | None:
    """The longest that each point can be after each other one (``inf`` without a limit); ``None`` when the network
    contradicts itself. ``-distances[b][a]`` is the least from ``a`` to ``b``."""
    found = {a: {b: 0.0 if a == b else inf for b in points} for a in points}
    for each in network:
        found[each.first][each.then] = min(found[each.first][each.then], each.most)
        found[each.then][each.first] = min(found[each.then][each.first], -each.least)
    for via in points:
        onward = found[via]
        for row in found.values():
            so_far = row[via]
            if so_far < inf:
                for b, further in onward.items():
                    if so_far + further < row[b]:
                        row[b] = so_far + further
    return None if any(found[a][a] < 0 for a in points) else found


def times(points: Sequence[Point], network: Iterable[Between]) -> dict[Point, float] | None:
    """A time for every point that keeps the whole network; ``None`` when it contradicts itself."""
    edges = list(_edges(network))
    found = dict.fromkeys(points, 0.0)
    for _ in range(len(found)):
        changed = False
        for a, b, most in edges:
            if found[a] + most < found[b] - _SLACK:
                found[b] = found[a] + most
                changed = True
        if not changed:
            return found
    return None


def contradicts(points: Sequence[Point], network: Iterable[Between]) -> bool:
    return times(points, network) is None


_SLACK = 1e-6
"""Seconds: sums of windows in seconds come out exact to far less; a microsecond is no contradiction."""


def _edges(network: Iterable[Between]) -> Iterable[tuple[Point, Point, float]]:
    for each in network:
        if each.most < inf:
            yield each.first, each.then, each.most
        if each.least > -inf:
            yield each.then, each.first, -each.least


# --- in a session -----------------------------------------------------------------------------------


def latest_begin(plan: Plan, done: Mapping[str, float], now: float) -> dict[str, float]:
    """For every step that an open window waits for: seconds from ``now`` to the latest moment to begin it.

    ``done`` holds, by finished step, when it was last finished, in seconds of the same clock as ``now``. A window is
    open when what it counts from is done and its own step is not. The moments leave room for all that has to come
    before, waits included, one operation in hand at a time and each for the least that it takes; of steps that may
    be done in either order the author's comes first. Whoever begins each step by its moment misses no open window.
    Negative: it is too late to keep all windows, or was before anything of them was begun.
    """
    finish: dict[str, float] = {}
    for step in plan.steps.values():
        if step.id not in done:
            limits = [done[w.operation] + w.high for w in step.time if w.operation in done and w.high is not None]
            if limits:
                finish[step.id] = min(limits)
    if not finish:
        return {}
    order = _in_order(plan, done)
    for name in reversed(order):
        step = plan.steps[name]
        if name not in finish:
            continue
        begin = finish[name] - step.takes
        waits = {w.operation: w.low for w in step.time if w.low is not None}
        for earlier in step.after:
            if earlier not in done:
                latest = begin - (waits.get(earlier) or 0.0)
                finish[earlier] = min(finish.get(earlier, inf), latest)
    place = {name: number for number, name in enumerate(order)}
    moments: dict[str, float] = {}
    free = inf
    for name in sorted(finish, key=lambda name: (finish[name], place.get(name, 0)), reverse=True):
        free = min(finish[name], free) - plan.steps[name].takes
        moments[name] = free - now
    return {name: moments[name] for name in plan.steps if name in moments}


def _in_order(plan: Plan, done: Mapping[str, float]) -> list[str]:
    """The steps still to be done, each after what it comes after, otherwise as the author has them."""
    found: list[str] = []
    state: dict[str, bool] = {}
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
