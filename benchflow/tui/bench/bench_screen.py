"""The bench screen: current task, state of the assembly, clocks and next operations."""

from typing import ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.timer import Timer
from textual.widgets import Input

from benchflow.tui.bench.bench_bindings import BENCH_KEYS, KeyState, blocked_messages, key_state, key_states
from benchflow.tui.bench.confirmations import opening_message
from benchflow.tui.bench.entry_actions import NOT_ENTERED
from benchflow.tui.bench.picture_actions import PictureActions, offer_text
from benchflow.tui.draw.bench_layout import BenchContent, draw_bench, shows_item
from benchflow.tui.draw.key_bar import KeyLabel, key_labels
from benchflow.tui.model.bench_inputs import is_quantity
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.widgets.entry_field import EntryField
from benchflow.tui.widgets.page import APP_KEYS, DrawnPage

READING_STARTS = "0123456789.-+−"
"""The characters that a reading begins with."""


class BenchScreen(PictureActions, inherit_bindings=False):
    """Draws the view and sends intents. The session controller decides what is allowed."""

    BINDINGS: ClassVar[list[BindingType]] = [*BENCH_KEYS, *APP_KEYS]
    title_line = "Bench"

    def __init__(self, client: SessionClient) -> None:
        super().__init__(client)
        self._clock: Timer | None = None
        self._clock_is_quick = False  # the timer ends within a second
        self._minute = client.now.minute
        self._states: dict[str, KeyState] = {}
        self._states_of: tuple[object, ...] = (None,) * 7
        self._keys: tuple[KeyLabel, ...] = ()
        self._keys_of: tuple[object, ...] = ()
        self._watched = ("", False)  # the last error of a watched log, and whether the other window has left

    def compose(self) -> ComposeResult:
        self.entry = EntryField(self.bench_app.bench_theme, "quantity", id="entry")
        self.entries = [self.entry]
        yield from super().compose()

    def on_mount(self) -> None:
        self.client.on_change = self.cursor.update
        super().on_mount()
        self.show_message(*opening_message(self.client), role="attention")
        self.update_entry()
        self.watch_incoming()
        self._start_timer()

    # --- drawing -----------------------------------------------------------------------------

    def update_entry(self) -> None:
        """Set up the field for the current item, with its draft as the text."""
        item = self.cursor.item
        if item is not None and self.cursor.has_field:
            draft = self.cursor.restore_draft()
            self.has_refused_text = self.has_refused_text and draft == self.entry.value
            self.entry.set_content("quantity" if is_quantity(item) else "text", draft)
            self.entry.display = True
            self.focus_on(self.entry)
        else:
            self.cursor.restore_draft()
            self.focus_on(None)
        self.redraw()

    def draw(self, width: int, height: int) -> DrawnPage:
        content = BenchContent(
            now=self.client.now,
            task=self.cursor.task,
            item=self.cursor.item,
            typed=self.cursor.typed,
            message=self.message,
            keys=self._key_labels(),
            route=self.cursor.route.text if self.cursor.route is not None else "",
            scrolled=self.cursor.scrolled,
            show_text=self.cursor.show_text,
            offer=offer_text(self.cursor),
        )
        if self.bench_app.large:
            from benchflow.tui.draw.large_type import (
                draw_large,  # imported late: rarely needed for the first paint
            )

            picture = draw_large(self.client.view, content, width, height)
        else:
            picture = draw_bench(self.client.view, content, width, height)
        self.cursor.turn, self.cursor.hidden = picture.turn, picture.hidden
        item = self.cursor.item
        self.cursor.visible = item is None or shows_item(picture.lines[: self.app.size.height], item)
        return DrawnPage(picture.lines, (picture.place if self.cursor.has_field else None,))

    def _key_labels(self) -> tuple[KeyLabel, ...]:
        """Return the labels for the key bar. They are built again only if the active keys have changed."""
        self.check_action("", ())
        view, item = self.client.view, self.cursor.item if self._states["choose"] else None
        typing = (self.focused, self.entry.kind, bool(self.entry.value))
        now = (self._states, *typing, view.read_only, view.closed, item)
        if now != self._keys_of:
            self._keys_of = (dict(self._states), *now[1:])
            self._keys = key_labels(self, self.focused)
        return self._keys

    def _start_timer(self) -> None:
        """Start the only timer: one second while a clock runs or another window writes, else the next full minute.

        With an incoming folder it is sooner, to look for pictures.
        """
        self._clock_is_quick = self._is_quick()
        wait = 1.0 if self._clock_is_quick else min(60.0 - self.client.now.second, self.next_look())
        self._clock = self.set_timer(wait, self.timer_tick)

    def draw_now(self) -> None:
        """Draw immediately. A clock that has just begun to run is updated each second from now on."""
        super().draw_now()
        if self._clock is not None and not self._clock_is_quick and self._is_quick():
            self._clock.stop()
            self._start_timer()

    def _is_quick(self) -> bool:
        view = self.client.view
        return bool(view.clocks) or (bool(view.read_only) and not view.closed)

    async def timer_tick(self) -> None:
        """Update the clocks. Ring the bell at a new alarm. In a view-only job, read the entries of another window."""
        pictures = await self.look_for_pictures()
        if not (pictures or self._is_quick() or self._minute != self.client.now.minute):
            self._start_timer()  # nothing that is shown has changed
            return
        if self.client.view.read_only:
            self._show_watched(await self.client.read_new_lines())
        before = _alarms(self.client)
        if self.client.update_clocks():
            self.cursor.update()
            if _alarms(self.client) - before:
                self.app.bell()
        elif (self._minute != self.client.now.minute or self.cursor.blocked) and self.client.update_operation():
            self.cursor.update()
        self._minute = self.client.now.minute
        if self.is_current:
            self.redraw()
        self._start_timer()

    def _show_watched(self, error: str) -> None:
        """Show an error of the watched log, or that the other window has left."""
        left = self.client.holder_left
        if (error, left) == self._watched:
            return
        self._watched = error, left
        text = "The other window has left this job. Press t to continue it here." if left else ""
        self.show_message(*filter(None, (error or text,)), role="alarm" if error else "attention")

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        left = self.client.holder_left
        here = (self.cursor.task, self.cursor.at, self.focused)
        now = (self.client.view, *here, self.unsaved, left, self.client.offered)
        if any(a is not b for a, b in zip(now, self._states_of, strict=True)):
            self._states_of = now
            self._states = key_states(self.cursor, self.focused is not None, self.unsaved)
        return key_state(self.cursor, self._states, action, parameters)

    def blocked_messages(self, action: str) -> tuple[str, ...]:
        return blocked_messages(self.cursor, action)

    # --- text typed without a focused field ------------------------------------------------------

    def takes_text(self, event: events.Key) -> bool:
        """True for a character that a reading begins with, if the current item has a field for it."""
        reading = event.character is not None and event.character in READING_STARTS
        return reading and (self.cursor.has_field or self.cursor.has_optional_field)

    def pass_to_field(self, character: str) -> None:
        self.cursor.open_reading()
        self.update_entry()
        self.focus_on(self.entry)
        self.entry.insert_text_at_cursor(character)

    def drop_refused_text(self) -> None:
        self.entry.value = ""

    def typed(self, field: Input) -> None:
        self.has_refused_text = False
        self.cursor.set_text(field.value)
        if self.cursor.asked or (self.message.texts == (NOT_ENTERED,) and not self.cursor.typed.error):
            self.cursor.asked = ""
            self.show_message()
        self.bench_app.save_soon()


def _alarms(client: SessionClient) -> set[str]:
    return {row.operation for row in client.view.clocks if row.phase in ("closing", "missed")}
