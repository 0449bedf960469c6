"""A program for the test of a crash: a session is open, and a key makes the screen fail. ``python -m ... LOG``."""

import sys
from pathlib import Path
from typing import ClassVar

from textual.binding import Binding, BindingType

from benchflow.session.desk import Desk
from benchflow.session.reading import reader
from benchflow.tui.app import BenchApp
from benchflow.tui.lines import Line, say
from benchflow.tui.page import BACK, TextPage
from benchflow.tui.preferences import Preferences
from benchflow.tui.seat import Seat


class Crashing(TextPage[None], inherit_bindings=False):
    BINDINGS: ClassVar[list[BindingType]] = [Binding("x", "crash", "crash", id="crash"), BACK]

    def text(self, width: int) -> list[Line]:
        return [say("ready to crash")]

    def action_crash(self) -> None:
        private = "a name that is nobody's business"
        raise RuntimeError(f"planted, {len(private)}")


if __name__ == "__main__":
    desk = Desk.resume(Path(sys.argv[1]), read=reader())
    app = BenchApp(Preferences(None), Crashing(), Seat(desk))
    app.run()
    desk.close()
    sys.exit(app.return_code)
