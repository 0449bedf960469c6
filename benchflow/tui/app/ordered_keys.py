"""An app that handles keys in the order in which they were typed.

A keyboard-wedge gauge types a reading and Enter as one burst. Textual handles Enter by messages that are queued again,
so later keys of the burst overtake it and two readings become one. This app dispatches a key or a paste only after the
previous one is handled completely, by the focused widget and by every widget above it. That includes the messages it
posted, the screen it opened and the answer it waited for.

It also knows which keys belong together (:mod:`benchflow.tui.app.key_timing`): a line end of a gauge is Enter, and a
burst is refused entirely if no field takes it.
"""

import asyncio
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any, TypeVar

from textual import events
from textual.app import App
from textual.dom import DOMNode
from textual.message import Message
from textual.message_pump import MessagePump
from textual.worker import WorkerFailed

from benchflow.tui.app.key_timing import BURST_GAP, EntryTiming, LineEnds, belongs_to_burst

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
    burst_wait = BURST_GAP
    """Seconds to wait for the next key of a burst."""
    entry_timing: EntryTiming
    """The time between the last two keys that make entries."""
    key_errors: list[Exception]
    """The errors of key events so far."""

    def report_key_failure(self, error: Exception) -> bool:
        """Tell the person that a key failed with ``error``. Returns false if that is not possible."""
        return False

    def takes_text(self, event: events.Key) -> bool:
        """True if a field takes this key as text. Otherwise the key is a command, unless it is part of a burst."""
        return self.focused is not None and self.focused.check_consume_key(event.key, event.character)

    def refuse_burst(self, text: str) -> None:
        """Tell the person that a burst was refused, because no field takes ``text``."""

    def has_refused_text(self) -> bool:
        """True if the field has a text that was not accepted and has not been changed since."""
        return False

    def drop_refused_text(self) -> None:
        """Delete the text that was not accepted, because another reading follows."""

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
        self.entry_timing = EntryTiming()
        self._line_ends = LineEnds()
        self._key_queue = deque()
        self._key_arrived = asyncio.Event()
        super().__init__(*arguments, **options)

    async def on_event(self, event: events.Event) -> None:
        if isinstance(event, events.MouseEvent):
            self._clicked = True
            self.entry_timing.clicked()
        if isinstance(event, (events.Key, events.Paste)) and not event.is_forwarded:
            typed = self._line_ends.as_typed(event) if isinstance(event, events.Key) else event
            if typed is None:
                return
            self._key_queue.append(typed)
            self._key_arrived.set()
            if self._dispatching is None:
                self._released = asyncio.Event()
                self._dispatching = asyncio.create_task(self._dispatch(), name="keys in order")
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
                event = self._key_queue.popleft()
                burst = await self._refused_burst(event) if isinstance(event, events.Key) else ""
                if burst:
                    self.refuse_burst(burst)
                else:
                    if isinstance(event, events.Key) and await self._begins_new_text(event):
                        self.drop_refused_text()
                    await self._dispatch_one(event)
                await self._settle()
        finally:
            self._dispatching = None

    async def _refused_burst(self, first: events.Key) -> str:
        """Return the text of the burst that begins with ``first`` if no field takes it, and remove it from the queue.

        Without a burst, return an empty string: the key is a command.
        """
        if first.character is None or not first.is_printable or first.key == "space" or self.takes_text(first):
            return ""
        text, last = first.character, first
        while (following := await self._next_of_burst(last)) is not None:
            if following.key == "enter" and last is first:
                return ""  # a key and Enter, as a keypad with macros sends them
            self._key_queue.popleft()
            self.entry_timing.pressed(following)
            text += following.character or ""
            last = following
        return text.strip() if last is not first else ""

    async def _begins_new_text(self, first: events.Key) -> bool:
        """True if a gauge begins another reading in a field whose text was not accepted."""
        if not self.has_refused_text() or not self.takes_text(first):
            return False
        return await self._next_of_burst(first) is not None

    async def _next_of_burst(self, last: events.Key) -> events.Key | None:
        """Return the next key in the queue if it belongs to the same burst as ``last``. Wait a moment for it."""
        if not self._key_queue:
            self._key_arrived.clear()
            with suppress(TimeoutError):
                await asyncio.wait_for(self._key_arrived.wait(), self.burst_wait)
        following = self._key_queue[0] if self._key_queue else None
        return following if isinstance(following, events.Key) and belongs_to_burst(last, following) else None

    async def _dispatch_one(self, event: events.Key | events.Paste) -> None:
        self._failures = 0
        self._clicked = False
        if isinstance(event, events.Key) and not self.takes_text(event):
            self.entry_timing.pressed(event)
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
