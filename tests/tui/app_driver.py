"""Drives the program in a test: sends keys, reads the text of the screen and the events of the log."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

from textual import events
from textual.keys import _character_to_key
from textual.pilot import Pilot

from benchflow.session.controller import SessionController
from benchflow.tui.app.bench_app import BenchApp
from benchflow.tui.bench.bench_screen import BenchScreen
from benchflow.tui.draw.styled_lines import plain
from benchflow.tui.model.preferences import Preferences
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.review.review_screens import review_screen_for
from benchflow.tui.screen_map import screen_for
from benchflow.tui.widgets.canvas import Canvas
from benchflow.tui.widgets.page import Page
from tests.driving.log_files import events_in

CHARACTERS = {"space": " ", "question_mark": "?", "equals_sign": "=", "slash": "/"}

PERSON = 1.0
"""Time in seconds between two keys of a person, by the time of the key events. Nobody waits for it."""

SCANNER = 0.005
"""Time in seconds between two keys of a gauge or a scanner."""


class AppDriver:
    """The running app: send keys, read the screen and the log."""

    def __init__(self, app: BenchApp, pilot: Pilot[int]) -> None:
        self.app, self.pilot = app, pilot
        self.time = 0.0

    async def press(self, *keys: str, pause: float = PERSON) -> None:
        """Press keys one after the other as a person does, and wait until they are handled."""
        for key in keys:
            self._post(key, pause)
        await self._settled()

    async def press_and_paint(self, *keys: str, pause: float = PERSON) -> None:
        """Press keys as a person does, and wait for the paint. Faster than `press`: it does not wait for other work."""
        for key in keys:
            self._post(key, pause)
        await self._handled()
        await self.pilot._wait_for_screen()
        self.app.screen._on_timer_update()
        self._raise_key_errors()

    def _post(self, key: str, pause: float) -> None:
        character = CHARACTERS.get(key, key if len(key) == 1 else None)
        event = events.Key(_character_to_key(key) if len(key) == 1 else key, character)
        self.time += pause
        event.time = self.time
        self.app.post_message(event)

    async def paste(self, text: str) -> None:
        """Paste a text, and wait until it is handled."""
        self.app.post_message(events.Paste(text))
        await self._settled()

    async def _settled(self) -> None:
        await self._handled()
        await self.pilot.pause()
        self._raise_key_errors()

    async def _handled(self) -> None:
        arrived = asyncio.Event()
        self.app.call_later(arrived.set)
        await arrived.wait()
        await self.app.keys_settled()

    def _raise_key_errors(self) -> None:
        for error in self.app.key_errors:
            raise error

    async def type(self, text: str) -> None:
        """Type a text in one burst, as a gauge or a scanner does. A line break is Enter."""
        self.time += PERSON
        await self.press(*("enter" if char == "\n" else char for char in text), pause=SCANNER)

    async def timer_tick(self) -> None:
        """Run the timer of the bench once, without waiting for it."""
        assert isinstance(self.app.screen, BenchScreen)
        await self.app.screen.timer_tick()
        await self.pilot.pause()

    @property
    def screen(self) -> Page[Any]:
        assert isinstance(self.app.screen, Page)
        return self.app.screen

    @property
    def text(self) -> str:
        """The text on the screen."""
        return "\n".join(plain(line).rstrip() for line in self.screen.query_one(Canvas).lines)

    @property
    def painted(self) -> list[str]:
        """The rows of the screen as they are painted, with the text in its fields."""
        return [strip.text for strip in self.app.screen._compositor.render_strips()]

    @property
    def field(self) -> str:
        """The text in the focused field, empty if no field has the focus."""
        return str(getattr(self.app.focused, "value", ""))

    @property
    def events(self) -> list[dict[str, Any]]:
        """The events of the log, read from the disk."""
        assert self.app.client is not None
        return events_in(self.app.client.log)

    @property
    def kinds(self) -> list[str]:
        """The kinds of the events."""
        return [event["kind"] for event in self.events]

    def last_of(self, kind: str) -> dict[str, Any]:
        """Person and data of the last event of this kind."""
        return next({"by": event["by"], **event["data"]} for event in reversed(self.events) if event["kind"] == kind)

    @property
    def last(self) -> dict[str, Any]:
        """Kind, person and data of the last event."""
        event = self.events[-1]
        return {"kind": event["kind"], "by": event["by"], **event["data"]}


@asynccontextmanager
async def drive_app(
    first: SessionController | Page[Any], size: tuple[int, int] = (80, 24), by: str = "", *, review: bool = False
) -> AsyncIterator[AppDriver]:
    """Run the app with the bench of an open job, or with another first page. ``review`` selects the review screens."""
    client = SessionClient(first, by) if isinstance(first, SessionController) else None
    page = BenchScreen(client) if client is not None else first
    assert isinstance(page, Page)
    app = BenchApp(Preferences(None), page, review_screen_for if review else screen_for, client)
    app.burst_wait = 0.0  # all keys of a burst are in the queue before the first one is handled
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        yield AppDriver(app, pilot)
    if app.client is not None:
        app.client.controller.close()
