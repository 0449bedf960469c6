"""Time bounds between events: a simple temporal network.

A network has points in time and, between pairs of them, a least and a most number of seconds. It contradicts itself
exactly if its distance graph has a negative cycle. Source: R. Dechter, I. Meiri, J. Pearl, Temporal constraint
networks, Artificial Intelligence 49, 1991.
"""

from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from math import inf

from msgspec import Struct
from msgspec.structs import replace

from benchflow.procedure.plan import TimeWindow

Point = Hashable

_SLACK = 1e-6
"""Seconds. A smaller contradiction is a rounding error of sums of windows."""


class Between(Struct, frozen=True):
    """A bound: ``least`` to ``most`` seconds pass from ``first`` to ``then``.

    The bounds are negative if ``then`` may come before ``first``.
    """

    first: Point
    then: Point
    least: float = -inf
    most: float = inf


def times(points: Sequence[Point], network: Iterable[Between]) -> dict[Point, float] | None:
    """A time in seconds for every point that keeps all bounds; ``None`` if the network contradicts itself.

    Bellman-Ford from a virtual source at time 0.

    Raises:
        KeyError: the network names a point that is not in ``points``.
    """
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
    """True if no times keep all bounds of the network."""
    return times(points, network) is None


def from_entry(window: TimeWindow) -> str:
    """The event from which a window counts, in its earlier step: the finish (f), or the last entry of ``from``."""
    return f"from {window.from_}" if window.from_ else "f"


def until_entry(window: TimeWindow) -> str:
    """The event that ends a window, in its own step: the finish (f), or the entry of ``until``."""
    return f"until {window.until}" if window.until else "f"


def bounds_of_window(earlier: Hashable, step: Hashable, window: TimeWindow) -> Iterator[Between]:
    """The bounds that a window of ``step`` sets. Points are (step, event); the events are the start (b) and finish (f).

    An entry that the window counts from or ends with is a point between the start and the finish of its step.
    """
    since, end = (earlier, from_entry(window)), (step, until_entry(window))
    for point in (since, end):
        if point[1] != "f":
            yield Between((point[0], "b"), point, least=0.0)
            yield Between(point, (point[0], "f"), least=0.0)
    if window.low is not None:
        yield Between(since, (step, "b"), least=window.low)
    if window.high is not None:
        yield Between(since, end, most=window.high)


def bounds_in_order(
    earlier: Hashable, step: Hashable, window: TimeWindow, place: Mapping[Point, int], restarts: Sequence[Hashable]
) -> Iterator[Between]:
    """Like :func:`bounds_of_window`, in an order in which the events have the places ``place``.

    ``restarts`` are the steps that start the clock of ``earlier`` again. It counts from the last one before the start,
    and for the upper end from the last one before the end. An entry that ends the window can be made right after it.
    """
    started, finished = (step, "b"), (step, "f")
    before = _last_restart(restarts, place, started)
    inside = _last_restart(restarts, place, finished)
    if inside is None:
        yield from bounds_of_window(earlier, step, window)
        return
    yield from bounds_of_window(earlier, step, replace(window, low=None, high=None))
    since = before or (earlier, from_entry(window))
    if window.low is not None:
        yield Between(since, started, least=window.low)
    if window.high is not None:
        yield Between(since, started, most=window.high)
        if before == inside:
            yield Between(inside, (step, until_entry(window)), most=window.high)
        elif not window.until:
            yield Between(inside, finished, most=window.high)


def _last_restart(restarts: Sequence[Hashable], place: Mapping[Point, int], event: Point) -> Point | None:
    """The finish of the step in ``restarts`` that comes last before ``event``; ``None`` if none does."""
    limit = place.get(event)
    found = [(place[one, "f"], (one, "f")) for one in restarts if (one, "f") in place]
    earlier = [each for each in found if limit is None or each[0] < limit]
    return max(earlier, key=lambda each: each[0])[1] if earlier else None


def with_points_of(points: Iterable[Point], network: Iterable[Between]) -> list[Point]:
    """``points`` and the other points that the network names."""
    named = (point for bound in network for point in (bound.first, bound.then))
    return list(dict.fromkeys((*points, *named)))


def _edges(network: Iterable[Between]) -> Iterable[tuple[Point, Point, float]]:
    """The edges of the distance graph: (from, to, most seconds)."""
    for bound in network:
        if bound.most < inf:
            yield bound.first, bound.then, bound.most
        if bound.least > -inf:
            yield bound.then, bound.first, -bound.least
