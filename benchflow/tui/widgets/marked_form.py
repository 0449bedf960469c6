"""The mark "change the procedure" of a form: a key sets or removes it, and a line shows it."""

from typing import ClassVar

from textual.binding import Binding, BindingType

from benchflow.session.state.events import CHANGE_MARK
from benchflow.tui.draw.styled_lines import Line, styled
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.widgets.page import Page


def change_key(form: str) -> Binding:
    """Return the key that sets or removes the mark. ``form`` is the first part of its id."""
    return Binding("f3", "mark_change", CHANGE_MARK, id=f"{form}.change")


class MarkedForm(Page[str], inherit_bindings=False):
    """A page whose entry can be marked. ``marked`` is true if it is. A subclass has :func:`change_key`."""

    BINDINGS: ClassVar[list[BindingType]] = []
    marked = False

    def mark_line(self) -> Line:
        """Return the line that shows the mark, as a shape and a word."""
        if self.marked:
            return styled(f"◆ {CHANGE_MARK}: yes", "attention")
        return styled(f"◇ {CHANGE_MARK}: no", "faint")

    def mark_field(self) -> dict[str, bool]:
        """Return the field of the intent, none without the mark."""
        return {"change": True} if self.marked else {}

    def action_mark_change(self) -> None:
        """Set the mark, or remove it."""
        self.marked = not self.marked
        self.mark_changed()
        self.redraw()

    def mark_changed(self) -> None:
        """Store the mark as a draft. A form whose text is a draft overrides this."""


def kept_mark(client: SessionClient, draft: str) -> bool:
    """Return the mark that is kept under this name of a draft."""
    return bool(client.drafts.text(draft))


def keep_mark(client: SessionClient, draft: str, marked: bool) -> None:
    """Keep the mark under this name of a draft."""
    client.drafts.set_text(draft, "yes" if marked else "")
