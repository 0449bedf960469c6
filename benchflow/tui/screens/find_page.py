"""Finds an operation by its number or by words of its title and section."""

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.widgets import Input

from benchflow.base.plaintext import folded
from benchflow.session.view.bench_view import OperationRow
from benchflow.tui.draw.block_parts import FieldPlace
from benchflow.tui.draw.operation_rows import operation_row, title_column
from benchflow.tui.draw.styled_lines import EMPTY, Line, styled
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.widgets.entry_field import EntryField
from benchflow.tui.widgets.page import APP_KEYS, BACK, DrawnPage, Page

FIELD_WIDTH = 30


def found_rows(rows: tuple[OperationRow, ...], text: str) -> list[OperationRow]:
    """Return the operations with this number, else those whose title and section have all the words."""
    words = folded(text).split()
    if len(words) == 1 and words[0].isdecimal():
        number = [row for row in rows if str(row.number) == words[0].lstrip("0")]
        if number:
            return number
    return [row for row in rows if all(word in folded(f"{row.title} {row.section}") for word in words)]


class FindPage(Page[str], inherit_bindings=False):
    """A field for the number or the words, and the operations found. The result is the operation to show."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "choose", "show on the bench", id="find.choose"),
        Binding("down,tab", "move(1)", "select", id="find.down", key_display="↑↓"),
        Binding("up,shift+tab", "move(-1)", "", id="find.up", show=False),
        BACK,
        *APP_KEYS,
    ]
    title_line = "Find an operation"

    def __init__(self, client: SessionClient) -> None:
        super().__init__()
        self.all_rows = client.view.operations
        self.rows = list(self.all_rows)
        self.at = 0

    def compose(self) -> ComposeResult:
        self.field = EntryField(self.bench_app.bench_theme, "text")
        self.entries = [self.field]
        yield from super().compose()

    def on_mount(self) -> None:
        super().on_mount()
        self.field.display = True
        self.focus_on(self.field)

    def typed(self, field: Input) -> None:
        self.rows, self.at = found_rows(self.all_rows, field.value), 0

    def body(self, width: int, height: int) -> DrawnPage:
        label = "Number or words "
        head: list[Line] = [EMPTY, ((label + "[", "strong"), (" " * FIELD_WIDTH, "field"), ("]", "strong")), EMPTY]
        place = FieldPlace(len(label) + 1, 1, FIELD_WIDTH)
        available = max(height - len(head), 1)
        start = max(0, min(self.at - available // 2, len(self.rows) - available))
        column = title_column(self.rows, width)
        shown = [
            (("► " if index == self.at else "  ", "now"), *operation_row(row, column, width - 2))
            for index, row in enumerate(self.rows[start : start + available], start)
        ]
        return DrawnPage((*head, *(shown or [styled("No operation has this number or these words.")])), (place,))

    def action_move(self, by: int) -> None:
        self.at = min(max(self.at + by, 0), max(len(self.rows) - 1, 0))
        self.redraw()

    def action_choose(self) -> None:
        if self.rows:
            self.dismiss(self.rows[self.at].operation)
        else:
            self.show_message("Type another number or other words.", role="attention")
