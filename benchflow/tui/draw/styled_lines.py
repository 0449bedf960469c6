"""Lines of text with a role for each piece: what every drawing function makes and the board paints.

A role says what a piece is (``caution``, ``next``), never how it looks; a look gives it a style.
"""

from collections.abc import Iterable, Sequence
from typing import Literal

from rich.cells import cell_len, set_cell_size

Role = Literal[
    "text", "strong", "faint", "title", "head", "head-strong", "label", "rule",
    "key", "key-off", "now", "ready", "blocked", "done", "aside",
    "danger", "warning", "caution", "notice",
    "in", "out", "weak", "field", "cursor", "next", "alarm", "chosen",
]  # fmt: skip

Span = tuple[str, Role]
Line = tuple[Span, ...]

EMPTY: Line = ()


def styled(text: str, role: Role = "text") -> Line:
    return ((text, role),)


def width_of(line: Line) -> int:
    return sum(cell_len(text) for text, _ in line)


def plain(line: Line) -> str:
    return "".join(text for text, _ in line)


def cut(text: str, width: int) -> str:
    """The text in at most ``width`` cells, with an ellipsis where it lost its end."""
    if cell_len(text) <= width:
        return text
    return set_cell_size(text, width - 1).rstrip() + "…" if width > 0 else ""


def wrap(text: str, width: int) -> list[str]:
    """Lines of at most ``width`` cells, broken at spaces; a word wider than that is broken where it must."""
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
                head = _head(word, width)
                out.append(head)
                word = word[len(head) :]
            line = word
        out.append(line)
    return out


def _head(word: str, width: int) -> str:
    taken = 0
    for index, char in enumerate(word):
        taken += cell_len(char)
        if taken > width and index:
            return word[:index]
    return word


def hanging(mark: str, text: str, width: int, role: Role = "text", mark_role: Role | None = None) -> list[Line]:
    """The text wrapped behind a mark, further lines indented by as much."""
    indent = cell_len(mark)
    marked: Span = (mark, mark_role or role)
    return [
        (marked if index == 0 else (" " * indent, role), (part, role))
        for index, part in enumerate(wrap(text, width - indent))
    ]


def fit(line: Line, width: int, fill: Role = "text") -> Line:
    """Exactly ``width`` cells: padded with ``fill``, or cut with an ellipsis."""
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
    """``left`` at the left edge and ``right`` at the right one; ``left`` is cut where both do not fit."""
    available = max(width - width_of(right), 0)
    return fit(left, available, fill) + fit(right, width - available, fill)


def rule(width: int, label: str = "") -> Line:
    if not label:
        return (("─" * width, "rule"),)
    return ((label + " ", "label"), ("─" * max(width - cell_len(label) - 1, 0), "rule"))


def side_by_side(
    left: Sequence[Line], right: Sequence[Line], left_width: int, gap: int, width: int, height: int
) -> list[Line]:
    """Two columns, each cut and padded to its place."""
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


def centred(lines: Iterable[Line], width: int) -> list[Line]:
    return [((" " * max((width - width_of(line)) // 2, 0), "text"), *line) for line in lines]


def cell_count(text: str) -> int:
    """How many cells of a terminal the text takes."""
    return cell_len(text)
