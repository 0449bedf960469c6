"""Starts the program: chooses the first screen, runs the app, prints the last messages."""

import sys
from pathlib import Path
from typing import Any

from benchflow.base.regular_file import read_regular_file
from benchflow.session.controller import SessionController
from benchflow.session.log.log_folder import SUFFIX
from benchflow.session.machine_folders import machine_folders
from benchflow.tui.app.bench_app import BenchApp
from benchflow.tui.app.navigation import BenchRequest
from benchflow.tui.model.job_catalog import JobCatalog
from benchflow.tui.model.preferences import Preferences
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.screen_map import screen_for
from benchflow.tui.widgets.page import Page


def run(
    target: Path | None,
    log_folder: Path | None,
    by: str | None,
    unit: str | None,
    other_register: str = "",
    continue_from: Path | None = None,
    watch: bool = False,
) -> int:
    """Choose the first screen and run the app; see :func:`benchflow.tui.start`."""
    folders = machine_folders()
    catalog = JobCatalog(folders, log_folder, other_register=other_register)
    first: SessionController | Page[Any]
    if watch and target is not None:
        first = catalog.watch(target)
    elif continue_from is None:
        first = first_page(catalog, target, by, unit)
    else:
        first = first_page_continued(catalog, continue_from, target, by, unit)
    client = SessionClient(first, by or "") if isinstance(first, SessionController) else None
    page = BenchRequest() if isinstance(first, SessionController) else first
    app = BenchApp(Preferences(folders.config), page, screen_for, client)
    try:
        app.run()
    finally:
        if app.client is not None:
            app.client.controller.close()
    for message in app.last_messages:
        print(message, file=sys.stderr)
    return app.return_code or 0


LOG_START = b"{"
"""The first byte of a log: each line is a JSON object."""


def is_log(target: Path) -> bool:
    """True if the file is a log. The suffix decides, or the first character if the suffix is unknown."""
    if target.suffix in (SUFFIX, ".yaml", ".yml"):
        return target.suffix == SUFFIX
    try:
        return read_regular_file(target, len(LOG_START)) == LOG_START
    except OSError:
        return False  # reading the file later reports the error


def first_page(
    catalog: JobCatalog, target: Path | None, by: str | None, unit: str | None
) -> "SessionController | Page[Any]":
    """The controller of the job to continue, or the screen for choosing or starting a job.

    A job continues unasked only if its log or its unit was named.
    """
    if target is not None and is_log(target):
        return catalog.resume(target)
    # Imported late: not needed to open a log.
    from benchflow.tui.screens.job_list_page import JobListPage, JobsOfProcedure

    if target is None:
        return JobListPage(catalog, by, unit)
    loaded = catalog.load(target)
    open_sessions = catalog.open_jobs_of(loaded, unit)
    if unit is not None and len(open_sessions) == 1 and open_sessions[0].status != "damaged":
        return catalog.resume(open_sessions[0].path, procedure=loaded)
    if open_sessions:
        return JobListPage(catalog, by, unit, JobsOfProcedure(target, loaded, open_sessions))
    from benchflow.tui.screens.start_page import StartPage

    return StartPage(catalog, loaded, target.name, by, unit)


def first_page_continued(
    catalog: JobCatalog, old_log: Path, procedure: Path | None, by: str | None, unit: str | None
) -> "SessionController | Page[Any]":
    """The screen that begins a job that continues ``old_log``, or the controller of such a job that is open already."""
    from benchflow.tui.screens.continue_page import ContinuePage

    given = None if procedure is None else (catalog.load(procedure), procedure.name)
    found = catalog.continue_from(old_log, given)
    return found if isinstance(found, SessionController) else ContinuePage(catalog, found, by, unit)
