"""A screen of the review shown in the program's own app, with no session open to be written to."""

from typing import Any

from benchflow.session.catalog import places
from benchflow.tui.app.bench_app import BenchApp
from benchflow.tui.app.preferences import Preferences
from benchflow.tui.widgets.page import Page


def show(first: "Page[Any]") -> int:
    """Until it is left; returns the exit status."""
    app = BenchApp(Preferences(places().config), first)
    app.run()
    return app.return_code or 0
