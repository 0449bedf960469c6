"""Runs the screens of a teardown in a test, with Pilot."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from benchflow.session.machine_folders import machine_folders
from benchflow.session.teardown.fold_teardown import load_teardown
from benchflow.session.teardown.teardown_controller import TeardownController
from benchflow.session.teardown.teardown_record import TeardownRecord
from benchflow.tui.model.preferences import Preferences
from benchflow.tui.teardown.teardown_app import TeardownApp
from benchflow.tui.teardown.teardown_catalog import TeardownCatalog
from benchflow.tui.teardown.teardown_client import TeardownClient
from benchflow.tui.teardown.teardown_pages import TeardownListPage
from tests.tui.app_driver import AppDriver


class TeardownDriver(AppDriver):
    """The running screen: keys as a person presses them, and the record read from the disk."""

    async def write(self, text: str) -> None:
        """Type a text as a person does, without Enter."""
        await self.press_and_paint(*("space" if char == " " else char for char in text))

    async def enter(self, text: str) -> None:
        """Type a text and Enter as a person does."""
        await self.write(text)
        await self.press("enter")

    @property
    def log(self) -> Path:
        assert isinstance(self.app, TeardownApp)
        assert self.app.teardown is not None
        return self.app.teardown.log

    @property
    def record(self) -> TeardownRecord:
        """The record, read from the disk."""
        return load_teardown(self.log)


@asynccontextmanager
async def drive_teardown(log: Path | None = None, size: tuple[int, int] = (80, 24)) -> AsyncIterator[TeardownDriver]:
    """Run the screen of the teardown in ``log``, or the list of teardowns."""
    if log is None:
        apps: list[TeardownApp] = []
        catalog = TeardownCatalog(machine_folders(), None)
        page = TeardownListPage(catalog, "", "", "", lambda client: apps[0].show_teardown(client))
        app = TeardownApp(Preferences(None), page)
        apps.append(app)
    else:
        app = TeardownApp(Preferences(None), TeardownClient(TeardownController.open(log)))
    app.burst_wait = 0.0  # all keys of a burst are in the queue before the first one is handled
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        yield TeardownDriver(app, pilot)
    if app.teardown is not None:
        app.teardown.controller.close()
