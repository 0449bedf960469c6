"""Choice of an instrument of the shop: fit ones first, the others with the reason why they are not fit."""

from collections.abc import Sequence
from typing import ClassVar

from textual.binding import BindingType

from benchflow.session.rules.instrument_choice import ToolList, ToolRow
from benchflow.tui.draw.styled_lines import EMPTY, Line, cut, hanging, styled, wrap
from benchflow.tui.widgets.list_page import ListPage, leaving_keys, list_keys


class InstrumentPage(ListPage[str], inherit_bindings=False):
    """The list of instruments. Its result is the serial number of the chosen one."""

    BINDINGS: ClassVar[list[BindingType]] = [*list_keys("use this one"), *leaving_keys()]
    title_line = "Which instrument do you use?"

    def __init__(self, tools: ToolList, waiting: str = "") -> None:
        """``waiting`` is the entry that is recorded after the choice, empty if there is none."""
        super().__init__()
        self.tools, self.waiting = tools, waiting
        self.rows: Sequence[ToolRow] = tools.rows
        self.at = next((n for n, row in enumerate(self.rows) if row.in_use and row.allowed), 0)

    def count(self) -> int:
        return len(self.rows)

    def intro(self, width: int) -> list[Line]:
        wanted = f", needed for {self.tools.required}" if self.tools.required else ""
        lines = [EMPTY, *(styled(part, "title") for part in wrap(self.tools.title + wanted, width))]
        if self.waiting:
            lines.extend(hanging("To record: ", self.waiting, width, "strong", "label"))
        text = "It is used for all entries until you choose another one (i), and is logged with each entry."
        lines.extend(styled(part, "faint") for part in wrap(text, width))
        if not self.rows:
            lines.append(EMPTY)
            text = "The register has no instrument of this kind. Add one: benchflow shop instrument"
            lines.extend(styled(part, "blocked") for part in wrap(text, width))
        return [*lines, EMPTY]

    def row(self, index: int, width: int) -> Line:
        row = self.rows[index]
        word = "in use" if row.in_use and row.allowed else "fit" if not row.reasons else "not fit"
        name = cut(f"{row.title}  {row.serial}" if row.serial != row.title else row.title, width - 14)
        if not row.allowed:
            return (("× ", "blocked"), (name.ljust(width - 13), "faint"), (word, "blocked"))
        mark = "▲ " if row.reasons else "● " if row.in_use else "○ "
        return ((mark, "ready"), (name.ljust(width - 13), "text"), (word, "ready"))

    def details(self, width: int) -> list[Line]:
        if not self.rows:
            return []
        row = self.rows[self.at]
        out = [line for reason in row.reasons for line in hanging("× ", f"{reason}.", width, "blocked")]
        if row.reasons and row.allowed:
            text = "The procedure allows this instrument. The log will show that it was not fit."
            out.extend(styled(part, "attention") for part in wrap(text, width))
        return out

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "choose":
            return True if self.rows and self.rows[self.at].allowed else None
        return True

    def blocked_messages(self, action: str) -> tuple[str, ...]:
        return ("This instrument may not be used here. Choose another one.",)

    def open_selected(self) -> None:
        self.dismiss(self.rows[self.at].serial)
