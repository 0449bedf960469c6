"""A program for the crash tests: keys that raise an error in an open job, each in another place.

Run: ``python -m tests.tui.crash_on_key LOG``."""

import sys
from pathlib import Path
from typing import ClassVar

from textual.binding import Binding, BindingType

from benchflow.session.controller import SessionController
from benchflow.session.procedure_loading import procedure_reader
from benchflow.tui.app.bench_app import BenchApp
from benchflow.tui.draw.styled_lines import Line, styled
from benchflow.tui.model.preferences import Preferences
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.screen_map import screen_for
from benchflow.tui.widgets.page import BACK, TextPage


class Crashing(TextPage[None], inherit_bindings=False):
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("x", "crash", "crash", id="crash"),
        Binding("w", "crash_in_worker", "crash in a worker", id="crash-in-worker"),
        Binding("d", "crash_in_drawing", "crash in drawing", id="crash-in-drawing"),
        Binding("t", "crash_in_timer", "crash in a timer", id="crash-in-timer"),
        Binding("c", "count", "show that keys work", id="count"),
        BACK,
    ]
    broken = False

    def text(self, width: int) -> list[Line]:
        if self.broken:
            self.action_crash()
        return [styled("ready to crash")]

    def action_crash(self) -> None:
        private = "a name that is nobody's business"
        raise RuntimeError(f"planted, {len(private)}")

    def action_crash_in_worker(self) -> None:
        async def work() -> None:
            self.action_crash()

        self.run_holding_keys(work())

    def action_crash_in_drawing(self) -> None:
        self.broken = True
        self.redraw()

    def action_crash_in_timer(self) -> None:
        self.set_timer(0.3, self.action_crash)

    def action_count(self) -> None:
        self.broken = False
        self.show_message("keys work")


if __name__ == "__main__":
    controller = SessionController.resume(Path(sys.argv[1]), read=procedure_reader())
    app = BenchApp(Preferences(None), Crashing(), screen_for, SessionClient(controller))
    app.run()
    controller.close()
    for message in app.last_messages:
        print(message)
    sys.exit(app.return_code)
