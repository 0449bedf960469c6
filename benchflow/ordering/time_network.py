"""Time bounds between events: a simple temporal network.

A network has points in time and, between pairs of them, a least and a most number of seconds. It contradicts itself
exactly if its distance graph has a negative cycle. Source: R. Dechter, I. Meiri, J. Pearl, Temporal constraint
networks, Artificial Intelligence 49, 1991.
"""

from collections.abc import Hashable, Iterable, Iterator, Sequence
from math import inf

from msgspec import Struct

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
