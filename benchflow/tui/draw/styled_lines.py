"""Styled lines: text with a role for each piece. Every drawing function returns them. The canvas paints them.

A role is the kind of a piece (``caution``, ``next``), not its style. A theme maps roles to styles.
"""

from collections.abc import Sequence
from typing import Literal

from rich.cells import cell_len, set_cell_size

Role = Literal[
    "text", "strong", "faint", "title", "header", "header-strong", "label", "rule",
    "key", "key-off", "now", "ready", "blocked", "done", "paused",
    "danger", "warning", "caution", "notice",
    "ok", "out-of-limit", "attention", "field", "cursor", "next", "alarm", "chosen",
]  # fmt: skip

Span = tuple[str, Role]
Line = tuple[Span, ...]

EMPTY: Line = ()


STATUS_MARKS: dict[str, tuple[str, Role, str]] = {
    "ready": ("○", "ready", "ready"),
    "blocked": ("×", "blocked", "blocked"),
    "paused": ("◊", "paused", "paused"),
    "in-progress": ("►", "now", "in progress"),
    "reopened": ("◐", "attention", "reopened"),
    "done": ("●", "done", "done"),
}
"""Shape, role and word of each status of an operation."""


LEAST_TO_CUT_INSIDE = 8
"""In fewer cells, the end of a text is cut off instead of its middle."""


def styled(text: str, role: Role = "text") -> Line:
    """Return a line of one piece."""
    return ((text, role),)


def width_of(line: Line) -> int:
    """Return the width of a line in terminal cells."""
    return sum(cell_len(text) for text, _ in line)


def plain(line: Line) -> str:
    """Return the text of a line without roles."""
    return "".join(text for text, _ in line)


def cut(text: str, width: int) -> str:
    """Return the text in at most ``width`` cells, with an ellipsis if its end is cut off."""
    if cell_len(text) <= width:
        return text
    return set_cell_size(text, width - 1).rstrip() + "…" if width > 0 else ""


def cut_inside(text: str, width: int) -> str:
    """Return the text in at most ``width`` cells. An ellipsis stands for its middle: the ends tell names apart."""
    if cell_len(text) <= width or width < LEAST_TO_CUT_INSIDE:
        return cut(text, width)
    end = text[::-1]
    while cell_len(end) > width // 2:
        end = end[:-1]
    end = end[::-1].lstrip()
    words = end.partition(" ")[2]
    if cell_len(words) >= width // 4:  # the end begins with a whole word
        end = words
    return cut(text, width - cell_len(end)) + end


def wrap(text: str, width: int) -> list[str]:
    """Break a text at spaces into lines of at most ``width`` cells. A word longer than a line is broken too."""
    width = max(width, 1)
    out: list[str] = []
    for paragraph in text.splitlines() or [""]:
        line = ""
        for word in paragraph.split():
            if line and cell_len(line) + 1 + cell_len(word) <= width:
                line += " " + word
                continue
            if line:
                out.append(line)
            while cell_len(word) > width:
                head = _start_of(word, width)
                out.append(head)
                word = word[len(head) :]
            line = word
        out.append(line)
    return out


def _start_of(word: str, width: int) -> str:
    """Return the longest start of a word that fits into ``width`` cells, at least one character."""
    taken = 0
    for index, char in enumerate(word):
        taken += cell_len(char)
        if taken > width and index:
            return word[:index]
    return word


def hanging(mark: str, text: str, width: int, role: Role = "text", mark_role: Role | None = None) -> list[Line]:
    """Wrap a text with a hanging indent: a mark before the first line, the other lines indented by its width."""
    indent = cell_len(mark)
    marked: Span = (mark, mark_role or role)
    return [
        (marked if index == 0 else (" " * indent, role), (part, role))
        for index, part in enumerate(wrap(text, width - indent))
    ]


def fit(line: Line, width: int, fill: Role = "text") -> Line:
    """Return the line in exactly ``width`` cells: padded with ``fill``, or cut with an ellipsis."""
    available = width
    out: list[Span] = []
    for text, role in line:
        cells = cell_len(text)
        if cells > available:
            out.append((set_cell_size(cut(text, available), available), role))
            return tuple(out)
        out.append((text, role))
        available -= cells
    if available > 0:
        out.append((" " * available, fill))
    return tuple(out)


def justified(left: Line, right: Line, width: int, fill: Role = "text") -> Line:
    """Put ``left`` at the left edge and ``right`` at the right edge. ``left`` is cut if both do not fit."""
    available = max(width - width_of(right), 0)
    return fit(left, available, fill) + fit(right, width - available, fill)


def rule(width: int, label: str = "") -> Line:
    """Return a horizontal line across the screen, with a label at its left end."""
    if not label:
        return (("─" * width, "rule"),)
    return ((label + " ", "label"), ("─" * max(width - cell_len(label) - 1, 0), "rule"))


def side_by_side(
    left: Sequence[Line], right: Sequence[Line], left_width: int, gap: int, width: int, height: int
) -> list[Line]:
    """Put two columns next to each other, each cut and padded to its width."""
    right_width = width - left_width - gap
    between: Span = (" " * gap, "text")
    return [
        (
            *fit(left[y] if y < len(left) else EMPTY, left_width),
            between,
            *fit(right[y] if y < len(right) else EMPTY, right_width),
        )
        for y in range(height)
    ]


def counted(number: int, noun: str) -> str:
    """Return ``1 more line`` or ``3 more lines``."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def cell_count(text: str) -> int:
    """Return the width of a text in terminal cells."""
    return cell_len(text)
