"""Runs the screens of a teardown."""

import sys
from pathlib import Path
from typing import Any

from textual.screen import Screen

from benchflow.session.machine_folders import machine_folders
from benchflow.tui.app.bench_app import FIRST_PAGE, BenchApp, ThemedScreen
from benchflow.tui.app.navigation import HelpRequest
from benchflow.tui.model.preferences import Preferences
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.screens.help_page import HelpPage
from benchflow.tui.teardown.teardown_catalog import TeardownCatalog
from benchflow.tui.teardown.teardown_client import TeardownClient
from benchflow.tui.teardown.teardown_pages import StartTeardownPage, TeardownListPage
from benchflow.tui.teardown.teardown_prompts import HELP_HINTS
from benchflow.tui.teardown.teardown_screen import TeardownScreen


def teardown_screen_for(request: HelpRequest, client: SessionClient | None) -> Screen[Any]:
    """Create the screen for a request. A teardown has no job, so ``client`` is not used."""
    return HelpPage(request.title, request.keys, HELP_HINTS)


class TeardownApp(BenchApp, inherit_bindings=False):
    """The app of a teardown. ``teardown`` is the client of the open one, ``None`` before one is open."""

    def __init__(
        self,
        preferences: Preferences,
        first: ThemedScreen[Any] | TeardownClient | None = None,
    ) -> None:
        self.teardown = first if isinstance(first, TeardownClient) else None
        page = TeardownScreen(first, opening_message(first)) if isinstance(first, TeardownClient) else first
        assert page is not None
        super().__init__(preferences, page, teardown_screen_for)

    @property
    def open_log(self) -> Path | None:
        return None if self.teardown is None else self.teardown.log

    @property
    def follows_log(self) -> bool:
        return self.teardown is None or self.teardown.follows_log

    def save(self) -> None:
        super().save()
        if self.teardown is not None:
            self.teardown.drafts.save()

    def show_teardown(self, client: TeardownClient) -> None:
        """Show the screen of a teardown and close the pages before it."""
        self.teardown = client

        def switch() -> None:
            while len(self.screen_stack) > FIRST_PAGE + 1:
                self.pop_screen()
            self.switch_screen(TeardownScreen(client, opening_message(client)))

        self.call_later(switch)  # queued, because it closes the screen that calls this method


def opening_message(client: TeardownClient) -> str:
    """The message when a log is opened: an incomplete last line was moved away, or lines are missing."""
    if client.controller.continued:
        return client.controller.continued
    torn = client.controller.journal.torn
    if torn is None:
        return client.controller.remembered()
    return f"The last entry was not complete when the program ended. It was moved to {torn.name}. Enter it again."


def run_teardown(
    log: Path | None, folder: Path | None, by: str, unit: str, what: str, *, continue_from: Path | None = None
) -> int:
    """Show a teardown, or the list of them and the form for a new one. Return the exit status.

    Raises:
        BenchflowError: the log cannot be opened.
    """
    folders = machine_folders()
    catalog = TeardownCatalog(folders, folder)
    preferences = Preferences(folders.config)
    if continue_from is not None:
        app = TeardownApp(preferences, TeardownClient(catalog.continue_from(continue_from, by), by))
    elif log is not None:
        app = TeardownApp(preferences, TeardownClient(catalog.open(log), by))
    elif by and unit and what:
        app = TeardownApp(preferences, TeardownClient(catalog.start(what, unit, by), by))
    else:
        waiting: list[TeardownApp] = []

        def show(client: TeardownClient) -> None:
            waiting[0].show_teardown(client)

        new = bool(unit and what)  # the name is asked for
        page = (
            StartTeardownPage(catalog, by, unit, what, show) if new else TeardownListPage(catalog, by, unit, what, show)
        )
        app = TeardownApp(preferences, page)
        waiting.append(app)
    try:
        app.run()
    finally:
        if app.teardown is not None:
            app.teardown.controller.close()
    for message in app.last_messages:
        print(message, file=sys.stderr)
    return app.return_code or 0
