"""A list whose entries have several lines; the selected entry is always visible."""

from collections.abc import Callable, Sequence
from typing import TypeVar

from benchflow.tui.draw.styled_lines import Line, counted, styled
from benchflow.tui.widgets.list_page import ListPage
from benchflow.tui.widgets.page import DrawnPage

Result = TypeVar("Result")


class MultiLineListPage(ListPage[Result], inherit_bindings=False):
    """A list whose subclasses implement ``block`` instead of ``row``. Only visible blocks are drawn."""

    def block(self, index: int, width: int) -> Sequence[Line]:
        """Return the lines of an entry."""
        raise NotImplementedError

    def body(self, width: int, height: int) -> DrawnPage:
        intro = self.intro(width)[: max(height // 2, 3)]
        available = height - len(intro)
        return DrawnPage((*intro, *self.list_lines(width, available)))

    def list_lines(self, width: int, available: int) -> list[Line]:
        """Return at most ``available`` lines: the selected block with a mark, and what fits above and below it."""
        if not self.count():
            return []

        def marked(index: int) -> list[Line]:
            selected = index == self.at
            lines = self.block(index, width - 2)
            return [(("► " if selected and y == 0 else "  ", "now"), *line) for y, line in enumerate(lines)]

        return blocks_around(marked, self.at, self.count(), available)


def blocks_around(block: Callable[[int], list[Line]], at: int, count: int, available: int) -> list[Line]:
    """Return ``available`` lines around block ``at``: half of the other rows above it, the rest below."""
    selected = shortened(block(at), available)
    spare = available - len(selected)
    above: list[Line] = []
    first, after = at, at + 1
    while first > 0 and len(above) < spare // 2:
        first -= 1
        above = block(first) + above
    below: list[Line] = []
    while after < count and len(below) < spare - min(len(above), spare // 2):
        below += block(after)
        after += 1
    while first > 0 and len(above) + len(below) < spare:
        first -= 1
        above = block(first) + above
    for_below = min(len(below), max(spare - len(above), spare - spare // 2))
    for_above = min(len(above), spare - for_below)
    return [*above[len(above) - for_above :], *selected, *below[:for_below]]


def shortened(lines: list[Line], available: int) -> list[Line]:
    """Return the lines. If there are too many, the last row shows how many are left out."""
    if len(lines) <= available:
        return lines
    kept = lines[: max(available - 1, 0)]
    return [*kept, styled(f"  ▼ {counted(len(lines) - len(kept), 'more line')}", "attention")][:available]
