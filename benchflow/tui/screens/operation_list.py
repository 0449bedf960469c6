"""Every operation in the author's order, with its status in a word and a shape."""

from typing import ClassVar

from textual.binding import Binding, BindingType

from benchflow.tui.app.session_client import Seat
from benchflow.tui.draw.side_column import STATUS
from benchflow.tui.draw.styled_lines import EMPTY, Line, cut, hang, say
from benchflow.tui.screens.why_page import WhyPage
from benchflow.tui.widgets.list_page import ListPage, leaving_keys, list_keys
from benchflow.tui.widgets.page import letter


class OperationsPage(ListPage[str], inherit_bindings=False):
    """Gives back the operation that the bench is to show."""

    BINDINGS: ClassVar[list[BindingType]] = [
        *list_keys("show it on the bench"),
        Binding(letter("w"), "why", "why, and the way there", id="operations.why"),
        *leaving_keys(),
    ]
    title_line = "Operations"

    def __init__(self, seat: Seat) -> None:
        super().__init__()
        self.seat = seat
        self.rows = seat.view.next
        here = seat.view.now.operation if seat.view.now is not None else ""
        self.at = next((i for i, row in enumerate(self.rows) if row.operation == here), 0)
        self._goal = ""

    def count(self) -> int:
        return len(self.rows)

    def intro(self, width: int) -> list[Line]:
        section = self.rows[self.at].section if self.rows else ""
        return [say(section, "label"), EMPTY]

    def row(self, index: int, width: int) -> Line:
        each = self.rows[index]
        shape, role, word = STATUS[each.status]
        room = min(width - 14, 64)
        title = cut(f"{each.number:>3}  {each.title}", room)
        return (
            (f"{shape} ", role),
            (title.ljust(room), "faint" if each.status == "done" else "text"),
            (f" {word}", role),
        )

    def about(self, width: int) -> list[Line]:
        each = self.rows[self.at] if self.rows else None
        return hang("× ", each.reason, width, "blocked") if each is not None and each.reason else []

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "choose" and self.rows:
            busy = self.seat.view.now is not None and self.seat.view.now.in_progress
            return True if self.rows[self.at].status in ("ready", "blocked", "paused") and not busy else None
        return True

    def chosen(self) -> None:
        self.dismiss(self.rows[self.at].operation)

    def action_why(self) -> None:
        if self.rows:
            self.app.push_screen(WhyPage(self.seat, self.rows[self.at].operation), self._way)

    def _way(self, goal: str | None) -> None:
        if goal:
            self.seat.drafts.goal = goal
            self.dismiss(None)
