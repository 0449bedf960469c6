"""The page with the lists of a teardown: to order, for the machine shop, to ask the customer."""

from typing import ClassVar

from textual.binding import BindingType

from benchflow.session.teardown.part_lists import ListedPart, entry_text_of, part_lists, titled_lists
from benchflow.session.teardown.teardown_record import TeardownRecord
from benchflow.tui.draw.styled_lines import EMPTY, Line, hanging, styled
from benchflow.tui.teardown.teardown_prompts import FATE_HINT
from benchflow.tui.widgets.page import APP_KEYS, BACK, TextPage


class PartListsPage(TextPage[None], inherit_bindings=False):
    """What to order, what goes to the machine shop, what to ask the customer, and what has no fate yet."""

    BINDINGS: ClassVar[list[BindingType]] = [*TextPage.BINDINGS, BACK, *APP_KEYS]
    title_line = "Order, machine shop, customer"

    def __init__(self, record: TeardownRecord, command: str) -> None:
        super().__init__()
        self.lists, self.command = part_lists(record), command

    def text(self, width: int) -> list[Line]:
        out: list[Line] = []
        for title, parts in titled_lists(self.lists):
            out += [EMPTY, styled(title.upper(), "label")]
            out += [line for part in parts for line in _part_lines(part, width)]
            out += [] if parts else [styled("  nothing", "faint")]
        undecided = self.lists.undecided
        if undecided:
            text = f"{len(undecided)} of {self.lists.lines} lines: {', '.join(undecided)}"
            out += [EMPTY, styled("NO FATE YET", "label"), *hanging("  ", text, width, "text")]
        out += [
            EMPTY,
            *hanging("To decide: ", f"go back with Esc, ↑ to the line, then f. {FATE_HINT}", width, "faint", "faint"),
        ]
        return [*out, EMPTY, *hanging("To print it: ", self.command, width, "faint", "faint")]

    def action_back(self) -> None:
        self.dismiss(None)


def _part_lines(part: ListedPart, width: int) -> list[Line]:
    return hanging(f"  {part.line:>4}  ", entry_text_of(part), width, "text", "label")
