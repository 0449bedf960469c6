"""The page for reading a value again: the reason by one key, then the form of a correction with that reason."""

from typing import ClassVar

from textual.binding import Binding, BindingType

from benchflow.session.read_again import REASONS, read_again_reason
from benchflow.tui.draw.styled_lines import EMPTY, Line, styled, wrap
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.screens.correction_page import CorrectionPage, LoggedEntry, correctable
from benchflow.tui.widgets.list_page import ListPage, leaving_keys, list_keys


class ReadAgainPage(ListPage[str], inherit_bindings=False):
    """A list of the reasons for reading a value again. Its result is the message of the correction."""

    BINDINGS: ClassVar[list[BindingType]] = [
        *(
            Binding(str(number), f"reason({number})", f"reason {number}", id=f"again.{number}", show=False)
            for number, _ in enumerate(REASONS, 1)
        ),
        *list_keys("read again"),
        *leaving_keys(),
    ]
    title_line = "Read again"

    def __init__(self, client: SessionClient, event: int) -> None:
        super().__init__()
        self.client = client
        self.entry: LoggedEntry = next(each for each in correctable(client.state) if each.seq == event)
        self.reasons = tuple(REASONS)

    def count(self) -> int:
        return len(self.reasons)

    def intro(self, width: int) -> list[Line]:
        return [
            EMPTY,
            *(styled(part, "title") for part in wrap(self.entry.what, width)),
            (("Entered: ", "text"), (self.entry.shown, "strong")),
            EMPTY,
            *(styled(part) for part in wrap("Why do you read it again? The first reading stays in the log.", width)),
            EMPTY,
        ]

    def row(self, index: int, width: int) -> Line:
        return ((f"{index + 1}  ", "key"), (REASONS[self.reasons[index]], "text"))

    def open_selected(self) -> None:
        self.action_reason(self.at + 1)

    def action_reason(self, number: int) -> None:
        reason = read_again_reason(self.reasons[number - 1])
        self.app.push_screen(CorrectionPage(self.client, self.entry, reason), self._corrected)

    def _corrected(self, message: str | None) -> None:
        if message:
            self.dismiss(message)
