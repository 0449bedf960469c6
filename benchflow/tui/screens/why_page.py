"""A stopped operation: every reason in the builder's words, and the shortest safe way there."""

from collections.abc import Sequence
from typing import ClassVar

from textual.binding import Binding, BindingType

from benchflow.session.refusal import Refusal
from benchflow.tui.app.session_client import Seat
from benchflow.tui.draw.operation import draw_cautions, numbered
from benchflow.tui.draw.styled_lines import EMPTY, Line, hang, rule, say, wrap
from benchflow.tui.widgets.list_page import leaving_keys
from benchflow.tui.widgets.page import TextPage, letter


class WhyPage(TextPage[str], inherit_bindings=False):
    """Gives back the operation to be led to, when that was chosen."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(letter("g") + ",enter", "go", "go that way, step by step", id="why.go", key_display="g"),
        *TextPage.BINDINGS,
        *leaving_keys(),
    ]

    def __init__(self, seat: Seat, operation: str) -> None:
        super().__init__()
        self.seat = seat
        self.now = seat.operation(operation)
        done = any(row.operation == operation and row.status == "done" for row in seat.view.next)
        self.way: Sequence[str] | Refusal = ()
        if not self.now.in_progress and self.now.missing and not done:
            self.way = seat.query("route", operation)
        self.title_line = "Why not yet" if self.now.missing else "This operation"

    def text(self, width: int) -> list[Line]:
        now = self.now
        lines: list[Line] = [EMPTY, *(say(part, "title") for part in wrap(f"{now.number}  {now.title}", width))]
        lines.extend(self._reasons(width))
        lines.extend(self._way(width))
        lines.extend(draw_cautions(now.cautions, width))
        lines.extend([EMPTY, rule(width, "WHAT IT IS")])
        lines.extend(line for each in now.do for line in numbered(each, width))
        if now.because:
            lines.extend([EMPTY, *hang("Why here: ", now.because, width, "text", "label")])
        return lines

    def _reasons(self, width: int) -> list[Line]:
        if not self.now.missing:
            return [EMPTY, say("Nothing stands in the way.", "in")]
        head = "Before it can be finished:" if self.now.in_progress else "What stands in the way:"
        out: list[Line] = [EMPTY, say(head, "label")]
        for reason in self.now.missing:
            out.extend(hang("× ", reason.message, width, "blocked"))
        return out

    def _way(self, width: int) -> list[Line]:
        if isinstance(self.way, Refusal):
            out: list[Line] = [EMPTY, say("No safe way leads there from how things stand:", "label")]
            for reason in self.way.refused:
                out.extend(hang("× ", reason.message, width, "blocked"))
            return out
        if not self.way:
            return []
        if list(self.way) == [self.now.operation]:
            return [EMPTY, say("Nothing has to be done before it.", "label")]
        out = [EMPTY, say("The shortest safe way there:", "label")]
        titles = {row.operation: f"{row.title} (no. {row.number})" for row in self.seat.view.next}
        titles |= {move.move: move.title for move in self.seat.view.moves}
        for number, step in enumerate(self.way, start=1):
            out.extend(hang(f"{number:>2}  ", titles.get(step, step), width, "strong", "label"))
        return out

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "go":
            ready = not isinstance(self.way, Refusal) and bool(self.way) and list(self.way) != [self.now.operation]
            return True if ready and not self.seat.view.read_only else None
        return True

    def action_go(self) -> None:
        self.dismiss(self.now.operation)
