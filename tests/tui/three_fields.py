"""A program for the tests of key order: three fields, and by mode a dialog, a slow worker, or a busy event loop.

At its end it prints what was entered. Run it by ``python -m tests.tui.three_fields MODE``.
"""

import asyncio
import sys
import time
from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.screen import Screen
from textual.widgets import Input, Static

from benchflow.tui.app.ordered_keys import OrderedApp

MODE = sys.argv[1] if len(sys.argv) > 1 else "plain"


class Dialog(Screen[str]):
    def compose(self) -> ComposeResult:
        yield Static("a dialog")
        yield Input()

    @on(Input.Submitted)
    def _done(self, event: Input.Submitted) -> None:
        event.stop()
        self.dismiss(event.value)


class ThreeFields(OrderedApp[list[str]]):
    """A program with three fields. The Enter key enters a text and goes to the next field, or ends it."""

    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = [Binding("f1", "fail", "Fail", priority=True)]

    def __init__(self) -> None:
        super().__init__()
        self.entered: list[str] = []

    def compose(self) -> ComposeResult:
        for number in (1, 2, 3):
            yield Input(id=f"f{number}", max_length=20)
        yield Static("ready", markup=False)

    def action_fail(self) -> None:
        raise RuntimeError("planted")

    def on_mount(self) -> None:
        if MODE == "stall":
            self.set_interval(0.05, lambda: time.sleep(0.2))

    @on(Input.Submitted)
    async def _enter(self, event: Input.Submitted) -> None:
        if MODE == "worker":
            self.run_worker(self._enter_slowly(event.value))
        elif MODE == "dialog" and not self.entered:
            self.entered.append(event.value)
            self.push_screen(Dialog(), self._after_dialog)
        elif MODE == "raise" and len(self.entered) == 1:
            raise RuntimeError("planted")
        else:
            self._next(event.value)

    async def _enter_slowly(self, value: str) -> None:
        with self.hold_keys():
            await asyncio.to_thread(time.sleep, 0.1)
            self._next(value)

    def _after_dialog(self, value: str | None) -> None:
        self.entered.append(f"dialog {value}")
        self.screen.set_focus(self.query_one("#f2", Input))

    def _next(self, value: str) -> None:
        self.entered.append(value)
        fields = [f.id for f in self.query(Input)]
        here = fields.index(self.focused.id if self.focused else None)
        if here + 1 == len(fields):
            self.exit(self.entered)
        else:
            self.screen.set_focus(self.query_one(f"#{fields[here + 1]}", Input))


if __name__ == "__main__":
    print("entered:", ThreeFields().run())
