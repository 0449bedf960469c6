"""Time bounds between events: a simple temporal network.

A network has points in time and, between pairs of them, a least and a most number of seconds. It contradicts itself
exactly if its distance graph has a negative cycle. Source: R. Dechter, I. Meiri, J. Pearl, Temporal constraint
networks, Artificial Intelligence 49, 1991.
"""

from collections.abc import Hashable, Iterable, Sequence
from math import inf

from msgspec import Struct

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


def _edges(network: Iterable[Between]) -> Iterable[tuple[Point, Point, float]]:
    """The edges of the distance graph: (from, to, most seconds)."""
    for bound in network:
        if bound.most < inf:
            yield bound.first, bound.then, bound.most
        if bound.least > -inf:
            yield bound.then, bound.first, -bound.least
