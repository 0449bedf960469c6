"""The list of operations in the author's order, each with its status as a word and a shape."""

from typing import ClassVar

from textual.binding import Binding, BindingType

from benchflow.tui.draw.operation_rows import operation_row, title_column
from benchflow.tui.draw.styled_lines import EMPTY, Line, hanging, styled
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.screens.why_page import WhyPage
from benchflow.tui.widgets.list_page import ListPage, leaving_keys, list_keys
from benchflow.tui.widgets.page import letter


class OperationListPage(ListPage[str], inherit_bindings=False):
    """The list of operations. Its result is the operation to show on the bench."""

    BINDINGS: ClassVar[list[BindingType]] = [
        *list_keys("show on the bench"),
        Binding(letter("w"), "why", "why, and route", id="operations.why"),
        *leaving_keys(),
    ]
    title_line = "Operations"

    def __init__(self, client: SessionClient) -> None:
        super().__init__()
        self.client = client
        self.rows = client.view.operations
        here = client.view.now.operation if client.view.now is not None else ""
        self.at = next((i for i, row in enumerate(self.rows) if row.operation == here), 0)

    def count(self) -> int:
        return len(self.rows)

    def intro(self, width: int) -> list[Line]:
        section = self.rows[self.at].section if self.rows else ""
        return [styled(section, "label"), EMPTY]

    def row(self, index: int, width: int) -> Line:
        return operation_row(self.rows[index], title_column(self.rows, width), width)

    def details(self, width: int) -> list[Line]:
        each = self.rows[self.at] if self.rows else None
        return hanging("× ", each.reason, width, "blocked") if each is not None and each.reason else []

    def open_selected(self) -> None:
        self.dismiss(self.rows[self.at].operation)

    def action_why(self) -> None:
        if self.rows:
            self.app.push_screen(WhyPage(self.client, self.rows[self.at].operation), self._guide_to)

    def _guide_to(self, goal: str | None) -> None:
        if goal:
            self.client.drafts.goal = goal
            self.dismiss(None)
