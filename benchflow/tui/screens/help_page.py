"""Every key of the screen one came from, made from its live bindings; one can be chosen and struck from here."""

from typing import ClassVar

from textual.binding import Binding, BindingType

from benchflow.tui.draw.key_bar import KeyWord
from benchflow.tui.draw.styled_lines import Line, Role, cut, fit, hang, say
from benchflow.tui.widgets.page import Drawn, Page

HINTS = (
    "Enter, or Space, does the next thing: a foot switch that sends either will do. A gauge that types figures "
    "and Enter fills the fields in order. In an empty field for a figure a letter is a command; out of a field "
    "for words Esc steps first.",
)


class KeysPage(Page[str]):
    """Gives back the action that was chosen."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "strike", "do what it says", id="keys.strike"),
        Binding("down,tab", "move(1)", "down", id="keys.down", key_display="↑↓"),
        Binding("up,shift+tab", "move(-1)", "", id="keys.up", show=False),
    ]

    def __init__(self, of: str, words: tuple[KeyWord, ...]) -> None:
        super().__init__()
        self.title_line = f"Keys: {of}"
        self.words = words
        self.at = 0

    def body(self, width: int, height: int) -> Drawn:
        hints = [line for hint in HINTS for line in hang("  ", hint, width, "faint")]
        column = width // 2
        half = (len(self.words) + 1) // 2
        lines: list[Line] = [()]
        for row in range(half):
            pair = [self._line(index, column) for index in (row, row + half) if index < len(self.words)]
            lines.append(tuple(span for each in pair for span in fit(each, column)))
        room = height - len(hints) - 1
        if len(lines) > room:
            first = max(0, min(self.at % half - room // 2, len(lines) - room))
            lines = lines[first : first + room]
        return Drawn((*lines, say(""), *hints))

    def _line(self, index: int, width: int) -> Line:
        word = self.words[index]
        role: Role = "key" if word.enabled else "key-off"
        mark = "►" if index == self.at else " "
        note = "" if word.enabled else " (not now)"
        return ((f"{mark} ", "now"), (word.key.rjust(12), role), (cut(f"  {word.word}{note}", width - 16), "text"))

    def action_move(self, by: int) -> None:
        self.at = min(max(self.at + by, 0), len(self.words) - 1)
        self.redraw()

    def action_strike(self) -> None:
        word = self.words[self.at]
        self.dismiss(word.action if word.enabled else None)
