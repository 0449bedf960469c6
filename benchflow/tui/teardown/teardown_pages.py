"""The list of open teardowns, and the form that starts one."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import ClassVar

from textual.binding import BindingType

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line, shown_path
from benchflow.session.catalog import SessionSummary
from benchflow.session.log.timestamps import local_time_of
from benchflow.session.refusal import Refusal
from benchflow.tui.draw.styled_lines import EMPTY, Line, cut, hanging, rule, styled
from benchflow.tui.teardown.teardown_catalog import TeardownCatalog
from benchflow.tui.teardown.teardown_client import TeardownClient
from benchflow.tui.teardown.teardown_drawing import hazard_lines
from benchflow.tui.widgets.form_page import FormField, FormPage, form_keys
from benchflow.tui.widgets.list_page import ListPage, leaving_keys, list_keys

OpenTeardownScreen = Callable[[TeardownClient], None]
"""Shows the screen of an open teardown instead of the pages before it."""


class TeardownListPage(ListPage[None], inherit_bindings=False):
    """The open teardowns, and a row for a new one."""

    BINDINGS: ClassVar[list[BindingType]] = [*list_keys("open"), *leaving_keys("leave")]
    title_line = "Teardown"

    def __init__(self, catalog: TeardownCatalog, by: str, unit: str, what: str, show: OpenTeardownScreen) -> None:
        super().__init__()
        self.catalog, self.by, self.unit, self.what, self.show = catalog, by, unit, what, show
        self.rows: list[SessionSummary | None] = [*catalog.open_teardowns(), None]

    def count(self) -> int:
        return len(self.rows)

    def intro(self, width: int) -> list[Line]:
        text = "Continue a teardown, or start a new one:" if len(self.rows) > 1 else "Start a teardown:"
        return [*hazard_lines(width), EMPTY, styled(text, "label")]

    def row(self, index: int, width: int) -> Line:
        row = self.rows[index]
        if row is None:
            return (("○ ", "ready"), ("Start a new teardown", "text"))
        used = ", in use" if row.status == "held" else ", damaged" if row.status == "damaged" else ""
        tail = f"  {local_time_of(row.last_at):%Y-%m-%d %H:%M}  {row.done} off{used}"
        text = f"{clean_line(row.unit) or 'no unit'} · {clean_line(row.procedure)}"
        available = max(width - 2 - len(tail), 8)
        return (("◊ ", "paused"), (cut(text, available).ljust(min(available, 48)), "strong"), (tail, "faint"))

    def details(self, width: int) -> list[Line]:
        row = self.rows[self.at]
        if row is None:
            return hanging("New: ", f"the log is made in {shown_path(self.catalog.folder)}", width, "faint", "label")
        note = f"; {row.note}" if row.note else ""
        text = clean_line(f"by {row.by}, {row.events} events{note}")
        return [*hanging("Continue: ", text, width, "text", "label"), styled(shown_path(row.path), "faint")]

    def open_selected(self) -> None:
        row = self.rows[self.at]
        if row is None:
            self.app.push_screen(StartTeardownPage(self.catalog, self.by, self.unit, self.what, self.show))
            return
        try:
            self.show(TeardownClient(self.catalog.open(row.path), self.by))
        except BenchflowError as error:
            self.show_message(*str(error).splitlines(), role="alarm")
            self.app.bell()

    def action_back(self) -> None:
        self.bench_app.leave(0)


class StartTeardownPage(FormPage, inherit_bindings=False):
    """The form for the unit, what it is, and the person. The hazards are above it."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("start the teardown", scrolls=True)
    title_line = "Start a teardown"
    form = "teardown"

    def __init__(self, catalog: TeardownCatalog, by: str, unit: str, what: str, show: OpenTeardownScreen) -> None:
        self.catalog, self.by, self.unit, self.what, self.show = catalog, by, unit, what, show
        super().__init__(None)

    def questions(self) -> Sequence[FormField]:
        return (
            FormField("what", "What is taken apart, such as: five-speed gearbox", value=self.what),
            FormField("unit", "Unit: serial or job number", value=self.unit),
            FormField("by", "Your name", value=self.by or self.catalog.last_person(), offered=True),
        )

    def intro(self, width: int) -> list[Line]:
        return [*hazard_lines(width), rule(width)]

    async def submit(self, values: dict[str, str]) -> None:
        missing = next((name for name in ("what", "unit", "by") if not values[name]), None)
        if missing is not None:
            self.at = next(index for index, each in enumerate(self.form_fields) if each.name == missing)
            self._focus_current()
            self.show_message(f"Answer this first: {self.form_fields[self.at].label}.", role="attention")
            return
        try:
            controller = self.catalog.begin(values["what"], values["unit"])
            answer = controller.send({"intent": "open", **values})
        except BenchflowError as error:
            self.show_message(str(error), role="alarm")
            return
        if isinstance(answer, Refusal):
            controller.close()
            remove_empty(controller.journal.path)
            self.refused(answer)
            return
        self.show(TeardownClient(controller, values["by"]))

    def action_back(self) -> None:
        self.bench_app.back_or_leave()


def remove_empty(log: Path) -> None:
    """Remove a log in which no teardown was started."""
    if log.exists() and not log.stat().st_size:
        log.unlink()
