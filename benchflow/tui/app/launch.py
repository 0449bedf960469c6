"""Which screen the program begins with, and what it says when it has ended."""

import sys
from pathlib import Path
from typing import Any

from benchflow.session.catalog import SUFFIX, places
from benchflow.session.controller import Desk
from benchflow.tui.app.bench_app import BenchApp
from benchflow.tui.app.job_catalog import Shelf
from benchflow.tui.app.preferences import Preferences
from benchflow.tui.app.session_client import Seat
from benchflow.tui.widgets.page import Page


def run(target: Path | None, log_folder: Path | None, by: str | None, unit: str | None) -> int:
    """See :func:`benchflow.tui.start`."""
    where = places()
    shelf = Shelf(where, log_folder)
    first = first_page(shelf, target, by, unit)
    seat = Seat(first, by or "") if isinstance(first, Desk) else None
    app = BenchApp(Preferences(where.config), _page(first, seat), seat)
    try:
        app.run()
    finally:
        if app.seat is not None:
            app.seat.desk.close()
    for words in app.last_words:
        print(words, file=sys.stderr)
    return app.return_code or 0


def _page(first: "Desk | Page[Any]", seat: Seat | None) -> "Page[Any]":
    if isinstance(first, Page):
        return first
    from benchflow.tui.bench.bench_screen import BenchScreen

    assert seat is not None  # a desk was found, and a seat taken at it
    return BenchScreen(seat)


LOG_BEGINS = b"{"
"""A log is a JSON object to the line."""


def is_log(target: Path) -> bool:
    """By its suffix, or by what it begins with: a log may have been given any name."""
    if target.suffix in (SUFFIX, ".yaml", ".yml"):
        return target.suffix == SUFFIX
    try:
        with target.open("rb") as file:
            return file.read(len(LOG_BEGINS)) == LOG_BEGINS
    except OSError:
        return False  # said by whoever reads it


def first_page(shelf: Shelf, target: Path | None, by: str | None, unit: str | None) -> "Desk | Page[Any]":
    """A desk to sit down at at once, or the screen that leads to one."""
    if target is not None and is_log(target):
        return shelf.resume(target)
    from benchflow.tui.screens.job_list import FrontPage

    if target is None:
        return FrontPage(shelf, by, unit, None)
    loaded = shelf.load(target)
    open_sessions = shelf.of_procedure(loaded, unit)
    if len(open_sessions) == 1:
        return shelf.resume(open_sessions[0].path)
    if open_sessions:
        return FrontPage(shelf, by, unit, (open_sessions, target))
    from benchflow.tui.screens.start_job import NoticePage

    return NoticePage(shelf, loaded, target.name, by, unit)
