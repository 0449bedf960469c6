"""The confirmation before a teardown is left."""

from typing import ClassVar

from textual.binding import Binding, BindingType

from benchflow.base.plaintext import shown_path
from benchflow.tui.draw.styled_lines import EMPTY, Line, hanging, styled, wrap
from benchflow.tui.teardown.teardown_client import TeardownClient
from benchflow.tui.widgets.page import APP_KEYS, TextPage, letter


class TeardownLeavePage(TextPage[None], inherit_bindings=False):
    """What is put back or open, and how to continue."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter," + letter("y"), "leave", "leave", id="leave.leave"),
        Binding("escape," + letter("q") + ",f10,ctrl+c,ctrl+q", "back", "stay", id="page.back"),
        *APP_KEYS,
    ]
    title_line = "Leave the teardown"

    def __init__(self, client: TeardownClient) -> None:
        super().__init__()
        self.client = client

    def text(self, width: int) -> list[Line]:
        record = self.client.record
        lines: list[Line] = [EMPTY, styled("Everything you entered is on disk.", "title"), EMPTY]
        for line in record.lines:
            if not line.is_off:
                text = f"{line.id} {line.description.what} is put back."
                lines.extend(hanging("· ", text, width, "attention"))
        command = f"benchflow teardown {shown_path(self.client.log)}"
        return [*lines, EMPTY, styled("To continue:", "label"), *(styled(part) for part in wrap(command, width))]

    def action_leave(self) -> None:
        record, log = self.client.record, shown_path(self.client.log)
        count = f"{record.what}, {record.unit}: {len(record.lines)} lines. {record.events} entries are on disk."
        draft = f"To draft the procedure: benchflow draft {log} -o FILE.yaml"
        again = (draft if record.closed else f"To continue: benchflow teardown {log}",)
        self.bench_app.leave(0, count, f"Log: {log}", *again)
