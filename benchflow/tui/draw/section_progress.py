"""Draws how far the job is: all sections with their operations done, and the operations of the current section."""

from collections.abc import Sequence
from itertools import groupby
from typing import TypeVar

from benchflow.session.view.bench_view import OperationRow
from benchflow.tui.draw.styled_lines import (
    STATUS_MARKS,
    Line,
    Role,
    counted,
    cut,
    justified,
    rule,
    styled,
)

T = TypeVar("T")

LEAST_ROWS = 6
"""With fewer rows, neither the sections nor the operations of a section are drawn."""


def draw_sections(rows: Sequence[OperationRow], here: str, width: int, height: int) -> list[Line]:
    """Draw a line for each section, ``► Cams  3 of 9``, those around the section of the operation ``here``."""
    lines: list[Line] = []
    at = 0
    for title, members in groupby(rows, key=lambda row: row.section):
        group = list(members)
        done = sum(row.status == "done" for row in group)
        current = any(row.operation == here for row in group)
        at = len(lines) if current else at
        status = "in-progress" if current else "done" if done == len(group) else "ready"
        shape, role, _ = STATUS_MARKS[status]
        count = f" {done} of {len(group)}"
        name = cut(title, max(width - 2 - len(count), 0))
        lines.append(
            justified(((f"{shape} ", role), (name, "strong" if current else "text")), ((count, "text"),), width)
        )
    if len(lines) < 2 or height < min(LEAST_ROWS, len(lines) + 1):
        return []
    shown, more = _around(lines, at, height - 1, "section")
    return [rule(width, "SECTIONS"), *shown, *more]


def draw_section(rows: Sequence[OperationRow], here: str, width: int, height: int) -> list[Line]:
    """Draw the operations of the section of ``here``, each with its mark. Empty if there are too few rows."""
    section = next((row.section for row in rows if row.operation == here), "")
    inside = [row for row in rows if row.section == section] if height >= LEAST_ROWS else []
    if len(inside) < 2:
        return []
    at = next((index for index, row in enumerate(inside) if row.operation == here), 0)
    shown, more = _around(inside, at, height - 1, "operation")
    return [rule(width, section.upper()), *(_operation_line(row, here, width) for row in shown), *more]


def _operation_line(row: OperationRow, here: str, width: int) -> Line:
    shape, role, word = STATUS_MARKS[row.status]
    text_role: Role = "done" if row.status == "done" else "text"
    if row.operation == here:
        shape, role, text_role = "►", "now", "strong"
    tail = f"  {word}" if row.status in ("paused", "reopened") else ""
    return ((f"{shape} ", role), (cut(f"{row.number:>2} {row.title}", width - 2 - len(tail)), text_role), (tail, role))


def _around(items: Sequence[T], at: int, available: int, what: str) -> tuple[Sequence[T], list[Line]]:
    """Return the items around index ``at``, and a line that says how many are hidden, in ``available`` rows."""
    if len(items) <= available:
        return items, []
    start = max(0, min(at - (available - 1) // 2, len(items) - available + 1))
    hidden = len(items) - available + 1
    return items[start : start + available - 1], [styled(f"and {counted(hidden, f'more {what}')} (o)", "faint")]
