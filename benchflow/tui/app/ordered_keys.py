"""An app whose keys are handled in the order in which they were struck.

A keyboard-wedge gauge types a reading and Enter as one burst. Textual hands Enter on through messages that
go round the queue, so keys that arrive together overtake it and two readings become one. Here a key or a
paste is let in only when the one before has been through every widget from the focused one up to the app,
with all that it set off: messages, a screen put on top, an answer waited for.
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

ROUNDS = 2
"""A key may set off a message at the top of the chain (an action run by the app posts to the field, which
tells the screen), so the chain is gone through until nothing changed twice over."""


class OrderedApp(App[Result]):
    """``hold_keys`` is for whoever waits for an answer outside the message handlers, in a worker."""

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
        """No further key is let in inside this block. Keys struck meanwhile wait; none is lost."""
        self._held += 1
        try:
            yield
        finally:
            self._held -= 1
            if not self._held and self._dispatching is not None:
                self._released.set()

    async def keys_settled(self) -> None:
        """Return when every key struck so far has done all that it does."""
        while (letting_in := self._dispatching) is not None:
            await asyncio.wait({letting_in})

    async def _dispatch(self) -> None:
        try:
            while True:
                # The event was put there by the caller, or while the last one settled.
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
        except Exception as error:  # noqa: BLE001 - handed on to the app's own handler, which ends the program
            self.call_later(_raise, error)

    async def _settle(self) -> None:
        quiet = 0
        while quiet < ROUNDS and self.is_running:
            while self._held:
                self._released.clear()
                await self._released.wait()
            before = self._chain()
            if not before:  # a screen is on its way up and cannot take a key yet
                quiet = 0
                await asyncio.sleep(0)
                continue
            for node in before:
                await self._drained(node)
            quiet = quiet + 1 if not self._held and self._chain() == before else 0

    def _chain(self) -> list[DOMNode]:
        """From the focused widget up to the app; empty while that is not all there."""
        if not self.screen_stack:
            return [self]
        lowest = self.focused or self.screen
        if not (lowest.is_mounted and self.screen.is_mounted):
            return []
        return lowest.ancestors_with_self

    async def _drained(self, node: DOMNode) -> None:
        """Wait until all that is in the node's queue now has been handled, or the node has ended."""
        reached = asyncio.Event()
        if not node.is_running or not node.call_later(reached.set):
            return
        waiting = asyncio.ensure_future(reached.wait())
        # A widget that is taken off the screen may end without handling what is still in its queue.
        ends = {waiting} if node is self else {waiting, node.task}
        try:
            await asyncio.wait(ends, return_when=asyncio.FIRST_COMPLETED)
        finally:
            waiting.cancel()


def _raise(error: Exception) -> None:
    raise error
