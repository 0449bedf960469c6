"""A program for the crash test: key x raises an error in an open job. Run: ``python -m tests.tui.crash_on_key LOG``."""

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
    BINDINGS: ClassVar[list[BindingType]] = [Binding("x", "crash", "crash", id="crash"), BACK]

    def text(self, width: int) -> list[Line]:
        return [styled("ready to crash")]

    def action_crash(self) -> None:
        private = "a name that is nobody's business"
        raise RuntimeError(f"planted, {len(private)}")


if __name__ == "__main__":
    controller = SessionController.resume(Path(sys.argv[1]), read=procedure_reader())
    app = BenchApp(Preferences(None), Crashing(), screen_for, SessionClient(controller))
    app.run()
    controller.close()
    sys.exit(app.return_code)
