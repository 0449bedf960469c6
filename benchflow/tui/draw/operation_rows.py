"""Draws operations as rows of a list: mark, number, title, and the status as a word."""

from collections.abc import Iterable

from benchflow.session.view.bench_view import OperationRow
from benchflow.tui.draw.styled_lines import STATUS_MARKS, Line, Role, cell_count, cut

_BESIDE_TITLE = 14
"""Cells for the mark before a title and the status after it."""


def title_column(rows: Iterable[OperationRow], width: int) -> int:
    """Return the width of the column with number and title: of the longest title, or what there is."""
    longest = max((cell_count(row.title) for row in rows), default=0)
    return max(min(longest + 5, width - _BESIDE_TITLE), 1)


def operation_row(row: OperationRow, column: int, width: int) -> Line:
    """Draw one operation. If it fits, the reason why it is blocked follows the status."""
    shape, role, word = STATUS_MARKS[row.status]
    title = cut(f"{row.number:>3}  {row.title}", column)
    padded = title + " " * max(column - cell_count(title), 0)
    title_role: Role = "faint" if row.status == "done" else "text"
    line: Line = ((f"{shape} ", role), (padded, title_role), (f" {word}", role))
    room = width - column - len(word) - 5
    return (*line, (f"  {row.reason}", "faint")) if row.reason and cell_count(row.reason) <= room else line
