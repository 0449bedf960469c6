"""Assignment of rows to columns at the least total cost, in exact whole numbers.

The Hungarian method by shortest augmenting paths. Rows are added one at a time. Each new row gets a column by the
cheapest chain of exchanges, found by Dijkstra's search on reduced costs.

The search keeps a price for each row and column (a dual solution). No pair costs less than its two prices, and every
chosen pair costs exactly that. Therefore the total cost is the least possible. The other assignments of the same cost
are those that use only pairs without slack (complementary slackness).

Source: Kuhn 1955, Edmonds and Karp 1972 (from memory). The tests compare the cost with scipy's solver.
"""

from heapq import heappop, heappush
from typing import NamedTuple

Costs = list[list[int | None]]
"""Costs by row and column. ``None`` means that the row cannot have this column."""


class Swap(NamedTuple):
    """A change of an assignment: ``row`` takes ``column`` instead of its chosen column."""

    row: int
    column: int


class Assignment:
    """The chosen column of each row, and the other assignments of the same cost."""

    def __init__(self, chosen: tuple[int, ...], steps: dict[int, list["_Step"]]) -> None:
        self.chosen, self._steps = chosen, steps

    def alternative(self, row: int, acceptable: list[bool]) -> tuple[Swap, ...] | None:
        """Return the swaps that give another assignment of the same cost, in which ``row`` has an acceptable column.

        ``acceptable`` has an entry for each column. ``None`` means that there is no such assignment.
        """
        for step in self._steps.get(row, ()):
            if step.column >= 0 and acceptable[step.column]:
                rest = self._path(step.end, row)
                if rest is not None:
                    return tuple(sorted((Swap(row, step.column), *rest)))
        return None

    def _path(self, start: int, goal: int) -> list[Swap] | None:
        """Return the shortest chain of swaps from ``start`` to ``goal``, ``None`` if there is none."""
        reached: dict[int, _Step | None] = {start: None}
        queue = [start]
        for node in queue:
            if node == goal:
                break
            for step in self._steps.get(node, ()):
                if step.end not in reached:
                    reached[step.end] = step
                    queue.append(step.end)
        if goal not in reached:
            return None
        swaps: list[Swap] = []
        last = reached[goal]
        while last is not None:
            if last.column >= 0:
                swaps.append(Swap(last.start, last.column))
            last = reached[last.start]
        return swaps


class _Step(NamedTuple):
    """An exchange that does not change the cost: the row ``start`` takes ``column`` from the row ``end``.

    The node after the last row represents the columns that no row has. A step from it has column -1 and means that
    the row ``end`` gives up its column.
    """

    start: int
    end: int
    column: int


def assign(costs: Costs) -> Assignment:
    """Return an assignment of least cost. The costs are whole numbers of any size and sign.

    Source: Kuhn 1955, Edmonds and Karp 1972 (from memory).

    Raises:
        ValueError: the rows cannot all be given a column.
    """
    solver = _Solver(costs)
    for row in range(len(costs)):
        solver.place(row)
    return Assignment(tuple(solver.column_of), solver.free_steps())


class _Solver:
    """The rows that have a column so far, and the prices.

    ``cost - row price - column price`` is never below zero, and it is zero for each chosen pair. The price of a column
    that no row has is zero.
    """

    def __init__(self, costs: Costs) -> None:
        self.pairs = [[(column, cost) for column, cost in enumerate(line) if cost is not None] for line in costs]
        columns = len(costs[0]) if costs else 0
        self.column_of = [-1] * len(costs)
        self.row_of = [-1] * columns
        self.row_price = [0] * len(costs)
        self.column_price = [0] * columns

    def place(self, new: int) -> None:
        """Assign a column to the row ``new``. Other rows may get another column."""
        column_price = self.column_price
        self.row_price[new] = min((cost - column_price[column] for column, cost in self.pairs[new]), default=0)
        distance: dict[int, int] = {}
        reached_from: dict[int, int] = {}
        settled: dict[int, int] = {}
        queue: list[tuple[int, int]] = []
        row, so_far = new, 0
        while True:
            offset = so_far - self.row_price[row]
            for column, cost in self.pairs[row]:
                if column not in settled:
                    length = offset + cost - column_price[column]
                    known = distance.get(column)
                    if known is None or length < known:
                        distance[column], reached_from[column] = length, row
                        heappush(queue, (length, column))
            while queue and queue[0][1] in settled:
                heappop(queue)
            if not queue:
                raise ValueError("the rows cannot all be given a column")
            so_far, column = heappop(queue)
            if self.row_of[column] < 0:
                break
            settled[column] = so_far
            row = self.row_of[column]
        self._change_prices(new, settled, so_far)
        self._exchange(new, column, reached_from)

    def _change_prices(self, new: int, settled: dict[int, int], length: int) -> None:
        self.row_price[new] += length
        for column, distance in settled.items():
            self.row_price[self.row_of[column]] += length - distance
            self.column_price[column] -= length - distance

    def _exchange(self, new: int, column: int, reached_from: dict[int, int]) -> None:
        row = -1
        while row != new:
            row = reached_from[column]
            self.row_of[column] = row
            self.column_of[row], column = column, self.column_of[row]

    def free_steps(self) -> dict[int, list[_Step]]:
        """Return the exchanges that do not change the cost, by the row that starts them."""
        unused = len(self.pairs)
        steps: dict[int, list[_Step]] = {unused: []}
        for row, pairs in enumerate(self.pairs):
            own = self.column_of[row]
            steps[row] = [
                _Step(row, unused if self.row_of[column] < 0 else self.row_of[column], column)
                for column, cost in pairs
                if column != own and cost == self.row_price[row] + self.column_price[column]
            ]
            if self.column_price[own] == 0:
                steps[unused].append(_Step(unused, row, -1))
        return steps
