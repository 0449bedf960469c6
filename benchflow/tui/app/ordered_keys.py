"""An app that handles keys in the order in which they were typed.

A keyboard-wedge gauge types a reading and Enter as one burst. Textual handles Enter by messages that are queued again,
so later keys of the burst overtake it and two readings become one. This app dispatches a key or a paste only after the
previous one is handled completely, by the focused widget and by every widget above it. That includes the messages it
posted, the screen it opened and the answer it waited for.
"""

import asyncio
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

from textual import events
from textual.app import App
from textual.dom import DOMNode
from textual.message import Message
from textual.message_pump import MessagePump
from textual.worker import WorkerFailed

Result = TypeVar("Result")

QUIET_ROUNDS = 2
"""Number of rounds without a change after which a key counts as handled. One round is not enough: an action of the app
may post a message to the field, and the field another one to the screen."""


MOST_FAILURES = 8
"""After so many errors of one key the program ends: the report of the error fails as well."""


class SurvivesKeys(MessagePump):
    """A screen or a field that lives on after an error in one key event. Without it, its queue would end."""

    async def _dispatch_message(self, message: Message) -> None:
        try:
            await super()._dispatch_message(message)
        except Exception as error:
            if not (isinstance(self.app, OrderedApp) and self.app.key_failed(error)):
                raise


class OrderedApp(SurvivesKeys, App[Result]):
    """An app that dispatches one key at a time, in order. A worker that waits for an answer uses :meth:`hold_keys`."""

    _key_queue: deque[events.Key | events.Paste]
    _dispatching: asyncio.Task[None] | None = None
    _held: int = 0
    _released: asyncio.Event
    _failures: int = 0
    _clicked: bool = False
    key_errors: list[Exception]
    """The errors of key events so far."""

    def report_key_failure(self, error: Exception) -> bool:
        """Tell the person that a key failed with ``error``. Returns false if that is not possible."""
        return False

    def key_failed(self, error: Exception) -> bool:
        """Report an error that a key event led to. Returns false if the program has to end instead.

        It has to end if the error has nothing to do with a key, or if the report fails too.
        """
        of_a_key = self._dispatching is not None or self._clicked or bool(self.key_errors)
        if not of_a_key or self._failures >= MOST_FAILURES:
            return False
        self._failures += 1
        cause = error.error if isinstance(error, WorkerFailed) and isinstance(error.error, Exception) else error
        self.key_errors.append(cause)
        return self.report_key_failure(cause)

    def _handle_exception(self, error: Exception) -> None:
        if not self.key_failed(error):
            super()._handle_exception(error)

    def __init__(self, *arguments: Any, **options: Any) -> None:
        self.key_errors = []
        super().__init__(*arguments, **options)

    async def on_event(self, event: events.Event) -> None:
        self._clicked = self._clicked or isinstance(event, events.MouseEvent)
        if isinstance(event, (events.Key, events.Paste)) and not event.is_forwarded:
            if self._dispatching is None:
                self._key_queue = deque()
                self._released = asyncio.Event()
                self._dispatching = asyncio.create_task(self._dispatch(), name="keys in order")
            self._key_queue.append(event)
        else:
            await super().on_event(event)

    @contextmanager
    def hold_keys(self) -> Iterator[None]:
        """Hold back all keys inside this block. They are dispatched afterwards, in order."""
        self._held += 1
        try:
            yield
        finally:
            self._held -= 1
            if not self._held and self._dispatching is not None:
                self._released.set()

    async def keys_settled(self) -> None:
        """Wait until every key typed so far is handled completely."""
        while (dispatching := self._dispatching) is not None:
            await asyncio.wait({dispatching})

    async def _dispatch(self) -> None:
        try:
            while True:
                # Let the caller, or a handler of the last event, add to the queue first.
                await asyncio.sleep(0)
                if not self._key_queue:
                    return
                await self._dispatch_one(self._key_queue.popleft())
                await self._settle()
        finally:
            self._dispatching = None

    async def _dispatch_one(self, event: events.Event) -> None:
        self._failures = 0
        self._clicked = False
        try:
            await super().on_event(event)
        except Exception as error:  # noqa: BLE001 - BORDER: one key event
            if not self.key_failed(error):
                self.call_later(_raise, error)

    async def _settle(self) -> None:
        """Wait until the last key is handled completely."""
        quiet = 0
        while quiet < QUIET_ROUNDS and self.is_running:
            while self._held:
                self._released.clear()
                await self._released.wait()
            before = self._chain()
            if not before:  # a screen is being mounted and cannot take a key yet
                quiet = 0
                await asyncio.sleep(0)
                continue
            for node in before:
                await self._drain(node)
            quiet = quiet + 1 if not self._held and self._chain() == before else 0

    def _chain(self) -> list[DOMNode]:
        """The widgets that get a key: from the focused one up to the app. Empty while one of them is not mounted."""
        if not self.screen_stack:
            return [self]
        lowest = self.focused or self.screen
        if not (lowest.is_mounted and self.screen.is_mounted):
            return []
        return lowest.ancestors_with_self

    async def _drain(self, node: DOMNode) -> None:
        """Wait until the node has handled everything in its queue, or has ended."""
        reached = asyncio.Event()
        if not node.is_running or not node.call_later(reached.set):
            return
        waiting = asyncio.ensure_future(reached.wait())
        # A removed widget may end without handling the rest of its queue.
        ends = {waiting} if node is self else {waiting, node.task}
        try:
            await asyncio.wait(ends, return_when=asyncio.FIRST_COMPLETED)
        finally:
            waiting.cancel()


def _raise(error: Exception) -> None:
    raise error
