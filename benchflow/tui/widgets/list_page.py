"""A page with a list to choose from. Only visible rows are drawn, so a long list is as fast as a short one."""

from collections.abc import Sequence
from typing import ClassVar, TypeVar

from textual.binding import Binding, BindingType

from benchflow.tui.draw.styled_lines import EMPTY, Line
from benchflow.tui.widgets.page import APP_KEYS, BACK, DrawnPage, Page, letter

Result = TypeVar("Result")


def list_keys(choose: str) -> list[BindingType]:
    return [
        Binding("enter,space", "choose", choose, id="list.choose"),
        Binding("down,tab", "move(1)", "select", id="list.down", key_display="↑↓"),
        Binding("up,shift+tab", "move(-1)", "", id="list.up", show=False),
        Binding("pagedown", "move(10)", "ten rows", id="list.page-down", show=False, key_display="PgUp PgDn"),
        Binding("pageup", "move(-10)", "", id="list.page-up", show=False),
        Binding("home", "move(-100000)", "", id="list.first", show=False),
        Binding("end", "move(100000)", "first, last", id="list.last", show=False, key_display="Home End"),
    ]


def leaving_keys(words: str = "back") -> list[BindingType]:
    return [Binding(letter("q") + "," + BACK.key, "back", words, id="page.back"), *APP_KEYS]


class ListPage(Page[Result], inherit_bindings=False):
    BINDINGS: ClassVar[list[BindingType]] = [*list_keys("choose"), *leaving_keys()]

    def __init__(self) -> None:
        super().__init__()
        self.at = 0
        self._first = 0  # index of the first visible row,
        self._from = 0  # and its row on the screen

    # --- for the list itself ----------------------------------------------------------------------

    def count(self) -> int:
        raise NotImplementedError

    def row(self, index: int, width: int) -> Line:
        """One row; the mark of the selected row is added by the list."""
        raise NotImplementedError

    def intro(self, width: int) -> list[Line]:
        return []

    def details(self, width: int) -> list[Line]:
        """Details of the selected row, shown below the list."""
        return []

    def chosen(self) -> None:
        raise NotImplementedError

    # --- the rest ---------------------------------------------------------------------------------

    def body(self, width: int, height: int) -> DrawnPage:
        intro, about = self.intro(width), self.details(width)
        about = about[: max(height // 2 - len(intro), 3)]
        available = max(height - len(intro) - len(about) - (1 if about else 0), 1)
        start = max(0, min(self.at - available // 2, self.count() - available))
        self._first, self._from = start, 1 + len(intro)
        rows: list[Line] = []
        for index in range(start, min(start + available, self.count())):
            here = index == self.at
            rows.append((("► " if here else "  ", "now"), *self.row(index, width - 2)))
        padded: Sequence[Line] = [*intro, *rows, *([EMPTY] * (available - len(rows)))]
        return DrawnPage((*padded, *([EMPTY, *about] if about else [])))

    def clicked(self, row: int) -> None:
        """The first click selects a row, the second chooses it."""
        index = self._first + row - self._from
        if not row - self._from >= 0 or index >= self.count():
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
            self.chosen()
