"""Every key of the screen one came from, made from its live bindings; one can be chosen and struck from here."""

from typing import ClassVar

from textual.binding import Binding, BindingType

from benchflow.tui.keys import KeyWord
from benchflow.tui.lines import Line, Role, hang, say
from benchflow.tui.page import Drawn, Page

HINTS = (
    "Enter does the next thing wherever that is one thing: a foot switch that sends Enter, or Space, will do.",
    "A gauge that types figures and Enter fills the fields in order. While a field for a figure is empty a "
    "letter is a command; in a field for words, Esc steps out first.",
)


class KeysPage(Page[str]):
    """Gives back the action that was chosen."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "strike", "do what it says", id="keys.strike"),
        Binding("down,tab", "move(1)", "down", id="keys.down", key_display="↑↓"),
        Binding("up,shift+tab", "move(-1)", "up", id="keys.up", show=False),
    ]

    def __init__(self, of: str, words: tuple[KeyWord, ...]) -> None:
        super().__init__()
        self.title_line = f"Keys: {of}"
        self.words = words
        self.at = 0

    def body(self, width: int, height: int) -> Drawn:
        hints = [line for hint in HINTS for line in hang("  ", hint, width, "faint")]
        room = max(height - len(hints) - 2, 3)
        start = max(0, min(self.at - room // 2, len(self.words) - room))
        lines: list[Line] = [()]
        for index, word in enumerate(self.words[start : start + room], start=start):
            role: Role = "key" if word.enabled else "key-off"
            note = "" if word.enabled else "   not now"
            mark = "►" if index == self.at else " "
            lines.append(((f"{mark} ", "now"), (word.key.rjust(9), role), (f"  {word.word}{note}", "text")))
        return Drawn((*lines, say(""), *hints))

    def action_move(self, by: int) -> None:
        self.at = min(max(self.at + by, 0), len(self.words) - 1)
        self.redraw()

    def action_strike(self) -> None:
        word = self.words[self.at]
        self.dismiss(word.action if word.enabled else None)
