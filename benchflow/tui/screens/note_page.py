"""The form for a note of one or several lines."""

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.widgets import Input

from benchflow.session.refusal import Refusal
from benchflow.tui.draw.block_parts import FieldPlace
from benchflow.tui.draw.styled_lines import EMPTY, Line, cut, styled, wrap
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.widgets.entry_field import EntryField
from benchflow.tui.widgets.marked_form import MarkedForm, change_key, keep_mark, kept_mark
from benchflow.tui.widgets.page import APP_KEYS, BACK, DrawnPage

DRAFT = "note text"
MARK_DRAFT = "note change"


class NotePage(MarkedForm, inherit_bindings=False):
    """The lines of a note; the one at index ``at`` is in the field. Enter saves all of them."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "save", "save", id="note.save"),
        Binding("f2", "new_line", "new line", id="note.new-line"),
        change_key("note"),
        Binding("down,tab", "move(1)", "line", id="note.down", key_display="↑↓"),
        Binding("up,shift+tab", "move(-1)", "", id="note.up", show=False),
        BACK,
        *APP_KEYS,
    ]
    title_line = "Note"

    def __init__(self, client: SessionClient, operation: str) -> None:
        super().__init__()
        self.client, self.operation = client, operation
        self.lines = client.drafts.text(DRAFT).split("\n")
        self.at = len(self.lines) - 1
        self.marked = kept_mark(client, MARK_DRAFT)

    def compose(self) -> ComposeResult:
        self.field = EntryField(self.bench_app.bench_theme, "text", self.lines[self.at])
        self.entries = [self.field]
        yield from super().compose()

    def on_mount(self) -> None:
        super().on_mount()
        self.field.display = True
        self.focus_on(self.field)

    def body(self, width: int, height: int) -> DrawnPage:
        title = self.client.title(self.operation) if self.operation else "The whole job"
        head: list[Line] = [EMPTY, *(styled(part, "title") for part in wrap(title, width)), self.mark_line(), EMPTY]
        shown = max(height - len(head), 1)
        first = max(0, self.at - shown + 1)
        rows: list[Line] = []
        for index, line in enumerate(self.lines[first : first + shown], first):
            rows.append((("► " if index == self.at else "  ", "now"), (cut(line, width - 2), "text")))
        return DrawnPage((*head, *rows), (FieldPlace(2, len(head) + self.at - first, width - 2),))

    def typed(self, field: Input) -> None:
        self.lines[self.at] = field.value
        self._keep_draft()

    def pasted(self, lines: tuple[str, ...]) -> None:
        """Insert the lines at the cursor."""
        before, after = self.field.value[: self.field.cursor_position], self.field.value[self.field.cursor_position :]
        self.lines[self.at : self.at + 1] = [before + lines[0], *lines[1:-1], lines[-1] + after]
        self._select(self.at + len(lines) - 1)

    def _select(self, index: int) -> None:
        self.at = index
        self.field.set_content("text", self.lines[index])
        self._keep_draft()
        self.redraw()

    def _keep_draft(self) -> None:
        self.client.drafts.set_text(DRAFT, "\n".join(self.lines))
        keep_mark(self.client, MARK_DRAFT, self.marked)
        self.bench_app.save_soon()

    def mark_changed(self) -> None:
        self._keep_draft()

    def action_new_line(self) -> None:
        """Begin a new line at the cursor."""
        self.pasted(("", ""))

    def action_move(self, by: int) -> None:
        self._select(min(max(self.at + by, 0), len(self.lines) - 1))

    def action_save(self) -> None:
        if not "".join(self.lines).strip():
            self.show_message("Type a note, or press Esc to go back.", role="attention")
            return
        self.run_holding_keys(self._save())

    async def _save(self) -> None:
        text = "\n".join(line.rstrip() for line in self.lines).strip("\n")
        answer = await self.client.send("note", text=text, operation=self.operation or None, **self.mark_field())
        if isinstance(answer, Refusal):
            self.refused(answer)
            return
        self.client.drafts.set_text(DRAFT, "")
        keep_mark(self.client, MARK_DRAFT, False)
        self.bench_app.save_soon()
        self.dismiss("Note saved.")
