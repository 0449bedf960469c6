"""Moves between operations, such as turning the crank: allowed ones, and blocked ones with the reason."""

from typing import ClassVar

from textual.binding import BindingType

from benchflow.session.refusal import Refusal
from benchflow.tui.draw.operation_panel import draw_cautions, paragraph_lines
from benchflow.tui.draw.styled_lines import EMPTY, Line, cut, hanging, styled, wrap
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.widgets.list_page import ListPage, leaving_keys, list_keys


class MovePage(ListPage[str], inherit_bindings=False):
    """The list of moves."""

    BINDINGS: ClassVar[list[BindingType]] = [*list_keys("done"), *leaving_keys()]
    title_line = "Moves"

    def __init__(self, client: SessionClient) -> None:
        super().__init__()
        self.client = client
        self.rows = client.view.moves

    def count(self) -> int:
        return len(self.rows)

    def intro(self, width: int) -> list[Line]:
        text = "Make the move, then press Enter. The state changes with it."
        return [EMPTY, *(styled(part, "faint") for part in wrap(text, width)), EMPTY]

    def row(self, index: int, width: int) -> Line:
        move = self.rows[index]
        mark, word = ("×", "blocked") if move.refused else ("○", "allowed")
        role = "blocked" if move.refused else "ready"
        return (
            (f"{mark} ", role),  # type: ignore[return-value]  # both are roles; a conditional widens them to str
            (cut(move.title, width - 16).ljust(width - 15), "text"),
            (word, role),
        )

    def details(self, width: int) -> list[Line]:
        if not self.rows:
            return []
        move = self.rows[self.at]
        lines = draw_cautions(move.cautions, width)
        lines.extend(line for text in move.do.splitlines() if text.strip() for line in paragraph_lines(text, width))
        for reason in move.refused:
            lines.extend(hanging("× ", reason.message, width, "blocked"))
        return lines

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "choose":
            return True if self.rows and not self.rows[self.at].refused else None
        return True

    def blocked_messages(self, action: str) -> tuple[str, ...]:
        refused = self.rows[self.at].refused if self.rows else ()
        return tuple(reason.message for reason in refused) or ("There is no move in this procedure.",)

    def open_selected(self) -> None:
        self.run_holding_keys(self._make(self.rows[self.at].move, self.rows[self.at].title))

    async def _make(self, move: str, title: str) -> None:
        answer = await self.client.send("move", move=move)
        if isinstance(answer, Refusal):
            self.refused(answer)
        else:
            self.dismiss(f"Done: {title}")
