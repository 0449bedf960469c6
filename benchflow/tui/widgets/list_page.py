"""A screen with a list to choose from. Only visible rows are drawn, so a long list is as fast as a short one."""

from collections.abc import Sequence
from typing import ClassVar, TypeVar

from textual.binding import Binding, BindingType

from benchflow.tui.draw.styled_lines import EMPTY, Line
from benchflow.tui.widgets.page import APP_KEYS, BACK, DrawnPage, Page, letter

Result = TypeVar("Result")


def list_keys(choose: str) -> list[BindingType]:
    """Return the keys of a list. ``choose`` is the label of Enter."""
    return [
        Binding("enter,space", "choose", choose, id="list.choose"),
        Binding("down,tab", "move(1)", "select", id="list.down", key_display="↑↓"),
        Binding("up,shift+tab", "move(-1)", "", id="list.up", show=False),
        Binding("pagedown", "move(10)", "ten rows", id="list.page-down", show=False, key_display="PgUp PgDn"),
        Binding("pageup", "move(-10)", "", id="list.page-up", show=False),
        Binding("home", "move(-100000)", "", id="list.first", show=False),
        Binding("end", "move(100000)", "first, last", id="list.last", show=False, key_display="Home End"),
    ]


def leaving_keys(label: str = "back") -> list[BindingType]:
    """Return the keys for leaving a screen, and the keys of the app. ``label`` is the label of the key that leaves."""
    return [Binding(letter("q") + "," + BACK.key, "back", label, id="page.back"), *APP_KEYS]


class ListPage(Page[Result], inherit_bindings=False):
    """A list of rows; the row at index ``at`` is selected."""

    BINDINGS: ClassVar[list[BindingType]] = [*list_keys("choose"), *leaving_keys()]

    def __init__(self) -> None:
        super().__init__()
        self.at = 0
        self._first = 0  # index of the first visible row
        self._first_y = 0  # its row on the screen

    # --- implemented by each list ----------------------------------------------------------------------

    def count(self) -> int:
        """Return the number of rows."""
        raise NotImplementedError

    def row(self, index: int, width: int) -> Line:
        """Return one row, without the mark of the selected row."""
        raise NotImplementedError

    def intro(self, width: int) -> list[Line]:
        """Return the lines above the list."""
        return []

    def details(self, width: int) -> list[Line]:
        """Return details of the selected row, shown below the list."""
        return []

    def open_selected(self) -> None:
        """Open or use the selected row."""
        raise NotImplementedError

    # --- drawing and keys ---------------------------------------------------------------------------------

    def body(self, width: int, height: int) -> DrawnPage:
        intro, about = self.intro(width), self.details(width)
        about = about[: max(height // 2 - len(intro), 3)]
        available = max(height - len(intro) - len(about) - (1 if about else 0), 1)
        start = max(0, min(self.at - available // 2, self.count() - available))
        self._first, self._first_y = start, 1 + len(intro)
        rows: list[Line] = []
        for index in range(start, min(start + available, self.count())):
            selected = index == self.at
            rows.append((("► " if selected else "  ", "now"), *self.row(index, width - 2)))
        padded: Sequence[Line] = [*intro, *rows, *([EMPTY] * (available - len(rows)))]
        return DrawnPage((*padded, *([EMPTY, *about] if about else [])))

    def clicked(self, row: int) -> None:
        """Select the clicked row, or choose it if it is selected already."""
        index = self._first + row - self._first_y
        if not row - self._first_y >= 0 or index >= self.count():
            return
        if index == self.at and self.check_action("choose", ()):
            self.action_choose()
        self.at = index
        self.redraw()

    def action_move(self, by: int) -> None:
        self.at = min(max(self.at + by, 0), max(self.count() - 1, 0))
        self.redraw()

    def action_choose(self) -> None:
        if self.count():
            self.open_selected()
