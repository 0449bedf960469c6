"""Rows given columns, one each, at the least cost: found by scipy, certified in whole numbers.

scipy's solver (shortest augmenting paths, after Jonker and Volgenant) works in floating point. Its answer is then
held against a theorem (Klein, 1967; from memory): an assignment is of least cost exactly when no circle of
exchanges is cheaper. Whole numbers of any size are compared, so nothing is lost to rounding; should rounding have
cost something, the cheaper circle is exchanged and the certificate tried again.
"""

from typing import NamedTuple

Costs = list[list[int | None]]
"""By row and column; ``None`` where the two do not go together."""


class Taking(NamedTuple):
    """``row`` takes ``column`` instead of its own."""

    row: int
    column: int


class Assignment:
    """The column of each row, and the other ways of least cost."""

    def __init__(self, chosen: tuple[int, ...], free: dict[int, list["_Arc"]]) -> None:
        self.chosen, self._free = chosen, free

    def instead(self, row: int, differs: "list[bool]") -> tuple[Taking, ...] | None:
        """Another way of the same cost in which ``row`` takes a column that ``differs`` (by column); all the rows
        that then take another. ``None`` where there is none."""
        for arc in self._free.get(row, ()):
            if arc.column >= 0 and differs[arc.column]:
                rest = self._way(arc.end, row)
                if rest is not None:
                    return tuple(sorted((Taking(row, arc.column), *rest)))
        return None

    def _way(self, start: int, goal: int) -> list[Taking] | None:
        """The fewest exchanges that lead from ``start`` to ``goal`` at no cost."""
        before: dict[int, _Arc | None] = {start: None}
        queue = [start]
        for node in queue:
            if node == goal:
                break
            for arc in self._free.get(node, ()):
                if arc.end not in before:
                    before[arc.end] = arc
                    queue.append(arc.end)
        if goal not in before:
            return None
        found: list[Taking] = []
        arc_here = before[goal]
        while arc_here is not None:
            if arc_here.column >= 0:
                found.append(Taking(arc_here.start, arc_here.column))
            arc_here = before[arc_here.start]
        return found


def assign(costs: Costs) -> Assignment:
    """An assignment of least cost. There must be one: raises ``ValueError`` where rows cannot all be served."""
    chosen = _by_scipy(costs)
    while True:
        arcs = _arcs(costs, chosen)
        potential, circle = _relax(arcs, len(chosen) + 1)
        if circle is None:
            free: dict[int, list[_Arc]] = {}
            for arc in arcs:
                if potential[arc.start] + arc.cost == potential[arc.end]:
                    free.setdefault(arc.start, []).append(arc)
            return Assignment(tuple(chosen), free)
        for arc in circle:
            if arc.column >= 0:
                chosen[arc.start] = arc.column


def _by_scipy(costs: Costs) -> list[int]:
    import numpy as np  # late: the bench paints before anything is matched
    from scipy.optimize import linear_sum_assignment

    top = max((cost for line in costs for cost in line if cost is not None), default=0) or 1
    matrix = np.array([[np.inf if cost is None else cost / top for cost in line] for line in costs])
    _rows, columns = linear_sum_assignment(matrix)
    return [int(column) for column in columns]


class _Arc(NamedTuple):
    """``start`` takes ``column``, which ``end`` has now. The node after the last row is the heap of columns that
    nobody has: taking from it lets go of nobody's, and what it takes in (column -1) lies there."""

    start: int
    end: int
    column: int
    cost: int


def _arcs(costs: Costs, chosen: list[int]) -> list[_Arc]:
    heap = len(chosen)
    taken = set(chosen)
    lying = [column for column in range(len(costs[0])) if column not in taken]
    arcs: list[_Arc] = []
    for row, line in enumerate(costs):
        own = line[chosen[row]]
        assert own is not None  # the solver never chooses what does not go together
        for other, column in enumerate(chosen):
            price = line[column]
            if other != row and price is not None:
                arcs.append(_Arc(row, other, column, price - own))
        free = [(price, column) for column in lying if (price := line[column]) is not None]
        least = min((price for price, _column in free), default=None)
        arcs += [_Arc(row, heap, column, price - own) for price, column in free if price == least]
        arcs.append(_Arc(heap, row, -1, 0))
    return arcs


def _relax(arcs: list[_Arc], count: int) -> tuple[list[int], list[_Arc] | None]:
    """Bellman and Ford's relaxation from every node at once. Either potentials that prove that no circle costs
    less than nothing, or such a circle."""
    potential = [0] * count
    before: dict[int, _Arc] = {}
    for _round in range(count + 1):
        last = -1
        for arc in arcs:
            reached = potential[arc.start] + arc.cost
            if reached < potential[arc.end]:
                potential[arc.end] = reached
                before[arc.end] = arc
                last = arc.end
        if last < 0:
            return potential, None
    for _step in range(count):  # back from the last node improved, for long enough to be on the circle itself
        last = before[last].start
    circle = [before[last]]
    while circle[-1].start != last:
        circle.append(before[circle[-1].start])
    return potential, circle
