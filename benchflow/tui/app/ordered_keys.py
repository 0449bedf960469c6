"""An app that handles keys in the order in which they were typed.

A keyboard-wedge gauge types a reading and Enter as one burst. Textual handles Enter through messages that are queued
again, so later keys of the burst overtake it and two readings become one. Here a key or a paste is dispatched only when
the one before has passed every widget from the focused one up to the app, with everything it caused: messages, a screen
on top, an answer that is waited for.
"""

import asyncio
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TypeVar

from textual import events
from textual.app import App
from textual.dom import DOMNode

Result = TypeVar("Result")

QUIET_ROUNDS = 2
"""A key may cause a message at the top of the chain (an action of the app posts to the field, the field to the screen),
so the chain is drained until nothing has changed in two rounds."""


class OrderedApp(App[Result]):
    """``hold_keys`` is for workers, which wait for an answer outside the message handlers."""

    _waiting: deque[events.Key | events.Paste]
    _dispatching: asyncio.Task[None] | None = None
    _held: int = 0
    _released: asyncio.Event

    async def on_event(self, event: events.Event) -> None:
        if isinstance(event, (events.Key, events.Paste)) and not event.is_forwarded:
            if self._dispatching is None:
                self._waiting = deque()
                self._released = asyncio.Event()
                self._dispatching = asyncio.create_task(self._dispatch(), name="keys in order")
            self._waiting.append(event)
        else:
            await super().on_event(event)

    @contextmanager
    def hold_keys(self) -> Iterator[None]:
        """Dispatch no key inside this block. Keys typed meanwhile wait; none is lost."""
        self._held += 1
        try:
            yield
        finally:
            self._held -= 1
            if not self._held and self._dispatching is not None:
                self._released.set()

    async def keys_settled(self) -> None:
        """Return when every key typed so far has been handled completely."""
        while (dispatching := self._dispatching) is not None:
            await asyncio.wait({dispatching})

    async def _dispatch(self) -> None:
        try:
            while True:
                # The event was queued by the caller, or while the last one was handled.
                await asyncio.sleep(0)
                if not self._waiting:
                    return
                await self._dispatch_one(self._waiting.popleft())
                await self._settle()
        finally:
            self._dispatching = None

    async def _dispatch_one(self, event: events.Event) -> None:
        try:
            await super().on_event(event)
        except Exception as error:  # noqa: BLE001 - passed on to the app's own handler, which ends the program
            self.call_later(_raise, error)

    async def _settle(self) -> None:
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
        """From the focused widget up to the app; empty while one of them is not mounted."""
        if not self.screen_stack:
            return [self]
        lowest = self.focused or self.screen
        if not (lowest.is_mounted and self.screen.is_mounted):
            return []
        return lowest.ancestors_with_self

    async def _drain(self, node: DOMNode) -> None:
        """Wait until everything in the node's queue has been handled, or the node has ended."""
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
