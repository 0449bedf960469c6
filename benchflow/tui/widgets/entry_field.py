"""The entry field: a one-line text field for people, keyboard-wedge gauges and scanners."""

from typing import ClassVar, Literal

from rich.cells import cell_len
from rich.segment import Segment
from textual import events
from textual.binding import Binding, BindingType
from textual.message import Message
from textual.strip import Strip
from textual.widgets import Input

from benchflow.base.plaintext import clean
from benchflow.tui.app.ordered_keys import SurvivesKeys
from benchflow.tui.draw.themes import BenchTheme

MAX_LENGTH = 500
"""Maximum number of characters in a field."""

FieldKind = Literal["quantity", "text", "secret"]


class EntryField(SurvivesKeys, Input, inherit_bindings=False):
    """A one-line field. The screen handles Enter.

    A quantity begins with a digit, a sign or a point. So in an empty quantity field a letter is a command: the field
    passes it to the screen.
    """

    DEFAULT_CSS = """
    EntryField { border: none; padding: 0; height: 1; position: absolute; display: none; }
    EntryField:focus { border: none; background-tint: transparent; }
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("left", "cursor_left", "move the cursor", show=False, id="field.left", key_display="←→ Home End"),
        Binding("right", "cursor_right", "", show=False, id="field.right"),
        Binding("home", "home", "", show=False, id="field.home"),
        Binding("end", "end", "", show=False, id="field.end"),
        Binding("backspace", "delete_left", "delete", show=False, id="field.backspace", key_display="⌫ Del"),
        Binding("delete", "delete_right", "", show=False, id="field.delete"),
        Binding("ctrl+u", "delete_left_all", "delete all", show=False, id="field.clear"),
        Binding("ctrl+k", "delete_right_all", "", show=False, id="field.clear-to-end"),
    ]

    class LinesPasted(Message):
        """Posted if a pasted text has several lines. The field has taken none of them."""

        def __init__(self, lines: tuple[str, ...]) -> None:
            super().__init__()
            self.lines = lines

    def __init__(
        self, bench_theme: BenchTheme, kind: FieldKind = "text", value: str = "", *, id: str | None = None
    ) -> None:
        super().__init__(clean(value), password=kind == "secret", max_length=MAX_LENGTH, select_on_focus=False, id=id)
        self.cursor_blink = False
        self.kind: FieldKind = kind
        self._bench_theme = bench_theme
        self._position = (0, 0, 0)

    def place_at(self, x: int, y: int, width: int) -> None:
        """Show the field at this position. If the position is unchanged, the layout pass is skipped."""
        self.display = True
        if self._position != (x, y, width):
            self._position = (x, y, width)
            self.styles.offset = (x, y)
            self.styles.width = width

    def apply_theme(self, bench_theme: BenchTheme) -> None:
        """Use this theme from now on."""
        self._bench_theme = bench_theme
        self.refresh()

    def set_content(self, kind: FieldKind, text: str) -> None:
        """Use the field for another item: set its kind, and its draft as the text."""
        self.kind = kind
        if self.value != text:
            with self.prevent(Input.Changed):
                self.value = text
        self.cursor_position = len(self.value)

    def is_command(self, character: str | None) -> bool:
        """True if this character, typed now, is a command and not part of the value."""
        if self.kind != "quantity" or self.value or character is None:
            return False
        return character.isspace() or character.isalpha() or character in "?=/"

    def check_consume_key(self, key: str, character: str | None) -> bool:
        return super().check_consume_key(key, character) and not self.is_command(character)

    async def _on_key(self, event: events.Key) -> None:
        if self.is_command(event.character):
            event.prevent_default()  # otherwise the base class inserts it
            return
        if event.is_printable and event.character is not None and not clean(event.character):
            event.stop()
            event.prevent_default()
            return
        await super()._on_key(event)

    def _on_paste(self, event: events.Paste) -> None:
        lines = [line for line in event.text.splitlines() if line.strip()]
        if len(lines) > 1:
            event.stop()
            event.prevent_default()
            self.post_message(self.LinesPasted(tuple(clean(line).rstrip() for line in event.text.splitlines())))
        elif lines:
            event.text = clean(lines[0]).strip()
            super()._on_paste(event)
            event.prevent_default()

    def render_line(self, y: int) -> Strip:
        """Return the row as Textual paints it. A long text is scrolled so that the cursor is visible."""
        width = self.size.width
        styles = self._bench_theme.styles
        text = clean("•" * len(self.value) if self.password else self.value).replace("\n", " ") + " "
        at = min(self.cursor_position, len(text) - 1)
        start = 0
        while cell_len(text[start : at + 1]) > width:
            start += 1
        cells: list[Segment] = []
        used = 0
        for index, char in enumerate(text[start:], start=start):
            used += cell_len(char)
            if used > width:
                used -= cell_len(char)
                break
            cells.append(Segment(char, styles["cursor" if index == at and self.has_focus else "field"]))
        cells.append(Segment(" " * (width - used), styles["field"]))
        return Strip(cells, width).simplify()
