"""Help: the list of all keys of a screen. A key can be chosen and run."""

from typing import ClassVar

from textual.binding import Binding, BindingType

from benchflow.tui.draw.key_bar import KeyLabel
from benchflow.tui.draw.styled_lines import Line, Role, cut, fit, hanging, styled
from benchflow.tui.widgets.page import DrawnPage, Page

HINTS = (
    "Enter or Space does the next step, so a foot switch that sends one of them works. A gauge that types digits "
    "and Enter fills the fields in order. In an empty value field, a letter is a command. To leave a text field, "
    "press Esc.",
)


class HelpPage(Page[str]):
    """The list of keys. Its result is the action of the chosen key."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "run", "run", id="help.run"),
        Binding("down,tab", "move(1)", "select", id="help.down", key_display="↑↓"),
        Binding("up,shift+tab", "move(-1)", "", id="help.up", show=False),
    ]

    def __init__(self, screen_title: str, labels: tuple[KeyLabel, ...], hints: tuple[str, ...] = HINTS) -> None:
        super().__init__()
        self.hints = hints
        self.title_line = f"Keys: {screen_title}"
        self.labels = labels
        self.at = 0

    def body(self, width: int, height: int) -> DrawnPage:
        hints = [line for hint in self.hints for line in hanging("  ", hint, width, "faint")]
        column = width // 2
        half = (len(self.labels) + 1) // 2
        lines: list[Line] = [()]
        for row in range(half):
            pair = [self._line(index, column) for index in (row, row + half) if index < len(self.labels)]
            lines.append(tuple(span for each in pair for span in fit(each, column)))
        available = height - len(hints) - 1
        if len(lines) > available:
            first = max(0, min(self.at % half - available // 2, len(lines) - available))
            lines = lines[first : first + available]
        return DrawnPage((*lines, styled(""), *hints))

    def _line(self, index: int, width: int) -> Line:
        label = self.labels[index]
        role: Role = "key" if label.enabled else "key-off"
        mark = "►" if index == self.at else " "
        note = "" if label.enabled else " (not now)"
        return ((f"{mark} ", "now"), (label.key.rjust(11), role), (cut(f"  {label.label}{note}", width - 13), "text"))

    def action_move(self, by: int) -> None:
        self.at = min(max(self.at + by, 0), len(self.labels) - 1)
        self.redraw()

    def action_run(self) -> None:
        label = self.labels[self.at]
        self.dismiss(label.action if label.enabled else None)
