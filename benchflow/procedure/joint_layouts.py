"""Layouts of the fasteners of a joint: drawn by the author, or made from a pattern.

A layout is rows of cells; a cell is the number of a fastener, or ``None`` if it is empty. The numbers are 1..n in
tightening order.
"""

import re
from math import atan2, cos, pi, sin

Layout = tuple[tuple[int | None, ...], ...]

MOST_FASTENERS = 200
EMPTY = frozenset({".", "-", "–", "_"})
"""The signs for an empty cell of a drawn layout."""

# --- the cross pattern of a round flange ------------------------------------------------------------

_PUBLISHED: dict[int, tuple[int, ...]] = {
    4: (1, 3, 2, 4),
    8: (1, 5, 3, 7, 2, 6, 4, 8),
    12: (1, 7, 4, 10, 2, 8, 5, 11, 3, 9, 6, 12),
    16: (1, 9, 5, 13, 3, 11, 7, 15, 2, 10, 6, 14, 4, 12, 8, 16),
    20: (1, 11, 6, 16, 3, 13, 8, 18, 5, 15, 10, 20, 2, 12, 7, 17, 4, 14, 9, 19),
    24: (1, 13, 7, 19, 4, 16, 10, 22, 2, 14, 8, 20, 5, 17, 11, 23, 3, 15, 9, 21, 6, 18, 12, 24),
}
"""Cross pattern for round flanges, by the number of bolts. Source: ASME PCC-1, legacy table, from memory. The row for
12 bolts was compared with a printed table."""


def star_order(count: int) -> tuple[int, ...]:
    """The tightening order of ``count`` bolts that are numbered clockwise.

    For 4, 8, 12, 16, 20 and 24 bolts the order is that of the published table. For other counts from 3 to 24 it is
    common practice without a source: opposite bolts in turn for an even count n, every (n-1)/2-th bolt for an odd one.

    Raises:
        ValueError: ``count`` is not 3 to 24.
    """
    if not 3 <= count <= 24:
        raise ValueError(f"A star has 3 to 24 bolts, not {count}")
    if count in _PUBLISHED:
        return _PUBLISHED[count]
    if count % 2:
        return tuple(step * (count // 2) % count + 1 for step in range(count))
    half = count // 2
    firsts = [*range(1, half + 1, 2), *range(2, half + 1, 2)]
    return tuple(bolt for first in firsts for bolt in (first, first + half))


def star_labels(count: int) -> tuple[int, ...]:
    """The position of each bolt in the tightening order, clockwise: the inverse of :func:`star_order`."""
    order = star_order(count)
    return tuple(order.index(bolt) + 1 for bolt in range(1, count + 1))


def star_layout(count: int) -> Layout:
    """The layout of a star pattern, with the bolts placed clockwise from the top.

    Up to 12 bolts are placed on a circle. More are placed on a square, because it needs fewer rows on a screen.
    """
    labels = star_labels(count)
    return _circle_layout(labels) if count <= 12 else _square_layout(labels)


def _circle_layout(labels: tuple[int, ...]) -> Layout:
    count = len(labels)
    spots = [(round(sin(2 * pi * k / count), 6) + 0.0, round(-cos(2 * pi * k / count), 6) + 0.0) for k in range(count)]
    columns = sorted({x for x, _ in spots})
    rows = sorted({y for _, y in spots})
    grid: list[list[int | None]] = [[None] * len(columns) for _ in rows]
    for (x, y), label in zip(spots, labels, strict=True):
        grid[rows.index(y)][columns.index(x)] = label
    return tuple(tuple(row) for row in grid)


def _square_layout(labels: tuple[int, ...]) -> Layout:
    count = len(labels) + len(labels) % 2  # an odd count leaves one cell empty
    width = (count // 2 + 3) // 2
    height = count // 2 + 2 - width
    border = (
        [(0, column) for column in range(width)]
        + [(row, width - 1) for row in range(1, height)]
        + [(height - 1, column) for column in range(width - 2, -1, -1)]
        + [(row, 0) for row in range(height - 2, 0, -1)]
    )
    grid: list[list[int | None]] = [[None] * width for _ in range(height)]
    for (row, column), label in zip(border, labels, strict=False):
        grid[row][column] = label
    return tuple(tuple(line) for line in grid)


def middle_out_layout(rows: int, columns: int) -> Layout:
    """Rows of fasteners, numbered from the middle outwards (common practice, no source).

    The fasteners nearest to the middle come first. Those at equal distance are numbered counter-clockwise, beginning at
    the lower right.

    Raises:
        ValueError: the layout has no fastener, or more than :data:`MOST_FASTENERS`.
    """
    if rows < 1 or columns < 1 or rows * columns > MOST_FASTENERS:
        raise ValueError(
            f"A layout of {rows} by {columns} is not possible, because a joint has 1 to {MOST_FASTENERS} fasteners"
        )

    def rank(cell: tuple[int, int]) -> tuple[int, float]:
        down, right = 2 * cell[0] - (rows - 1), 2 * cell[1] - (columns - 1)
        turned = atan2(right, down)  # 0 is straight down, growing counter-clockwise as seen on the screen
        return down * down + right * right, turned if turned > 0 else turned + 2 * pi

    cells = sorted(((row, column) for row in range(rows) for column in range(columns)), key=rank)
    number = {cell: index for index, cell in enumerate(cells, start=1)}
    return tuple(tuple(number[row, column] for column in range(columns)) for row in range(rows))


# --- drawn layouts -----------------------------------------------------------------------------------


class DrawnCell:
    """A cell of a drawn layout: its text, and its columns from ``start`` up to but not including ``end``."""

    def __init__(self, text: str, start: int) -> None:
        self.text, self.start, self.end = text, start, start + len(text)


def drawn_cells(line: str) -> list[DrawnCell]:
    """The cells of one line."""
    found: list[DrawnCell] = []
    start = 0
    for part in line.split(" "):
        if part:
            found.append(DrawnCell(part, start))
        start += len(part) + 1
    return found


def grid(rows: list[list[DrawnCell]]) -> Layout:
    """The layout of drawn rows; every cell is a number or empty.

    If all rows have the same number of cells, these are the columns. Otherwise each cell keeps its drawn position.
    """
    numbers = [[None if cell.text in EMPTY else int(cell.text) for cell in row] for row in rows]
    if len({len(row) for row in rows}) == 1:
        return tuple(tuple(row) for row in numbers)
    columns_of = _grid_columns(rows)
    width = max(max(row) for row in columns_of) + 1
    drawn: list[tuple[int | None, ...]] = []
    for row, places in zip(numbers, columns_of, strict=True):
        cells: list[int | None] = [None] * width
        for number, place in zip(row, places, strict=True):
            cells[place] = number
        drawn.append(tuple(cells))
    return tuple(drawn)


def _grid_columns(rows: list[list[DrawnCell]]) -> list[list[int]]:
    """The grid column of each cell. Cells of different rows whose columns overlap share a grid column."""
    spans = sorted((cell.start, cell.end) for row in rows for cell in row)
    joined: list[list[int]] = []
    for start, end in spans:
        if joined and start < joined[-1][1]:
            joined[-1][1] = max(joined[-1][1], end)
        else:
            joined.append([start, end])
    starts = [start for start, _ in joined]
    columns_of = [[sum(1 for start in starts if start <= cell.start) - 1 for cell in row] for row in rows]
    if all(len(set(row)) == len(row) for row in columns_of):
        return columns_of
    # Two cells of one row overlap the same cell of another row. Then each position where a cell starts is a column.
    edges = sorted({cell.start for row in rows for cell in row})
    return [[edges.index(cell.start) for cell in row] for row in rows]


def rows_of_layout(layout: Layout) -> str:
    """The text of a layout in one line, rows separated by ``/``, an empty cell as ``.``: ``1 3 / . 2``."""
    return " / ".join(" ".join("." if number is None else str(number) for number in row) for row in layout)


def layout_of_rows(text: str) -> Layout:
    """The layout in a text whose rows are separated by ``/``: ``9 5 1 4 8 / 10 6 2 3 7``.

    Raises:
        ValueError: the numbers are not 1..n, each once. The message says which.
    """
    rows = [row for row in (drawn_cells(line) for line in text.replace("\n", "/").split("/")) if row]
    numbers: list[int] = []
    for cell in (cell.text for row in rows for cell in row if cell.text not in EMPTY):
        if not re.fullmatch(r"[0-9]{1,4}", cell):
            raise ValueError(f"“{cell[:20]}” is not the number of a fastener")
        numbers.append(int(cell))
    if not numbers or sorted(numbers) != list(range(1, len(numbers) + 1)) or len(numbers) > MOST_FASTENERS:
        raise ValueError("Number the fasteners from 1 in tightening order, each number once: 9 5 1 4 8 / 10 6 2 3 7")
    return grid(rows)
