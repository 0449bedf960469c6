"""The bench: what to do now, what to watch out for, how it stands, what the clock says, what comes next."""

from typing import ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.timer import Timer
from textual.widgets import Input

from benchflow.tui.app.session_client import Seat
from benchflow.tui.bench.bench_bindings import BENCH_KEYS, Live, live, live_states
from benchflow.tui.bench.confirmations import greeting
from benchflow.tui.bench.entering import NOT_ENTERED, Entering
from benchflow.tui.bench.fields import is_quantity
from benchflow.tui.draw.bench_layout import Scene, draw_bench
from benchflow.tui.draw.key_bar import KeyWord, key_words
from benchflow.tui.widgets.entry_field import Entry
from benchflow.tui.widgets.page import APP_KEYS, Drawn

BURST = 0.1
"""Seconds between keys within which a machine types and no hand."""


class BenchScreen(Entering, inherit_bindings=False):
    """Draws what the seat shows and sends intents. What may be done is decided at the desk."""

    BINDINGS: ClassVar[list[BindingType]] = [*BENCH_KEYS, *APP_KEYS]
    title_line = "the bench"

    def __init__(self, seat: Seat) -> None:
        super().__init__(seat)
        self._stray_at = 0.0
        self._clock: Timer | None = None
        self._states: dict[str, Live] = {}
        self._states_of: tuple[object, ...] = (None,) * 5
        self._keys: tuple[KeyWord, ...] = ()
        self._keys_of: tuple[object, ...] = ()

    def compose(self) -> ComposeResult:
        self.entry = Entry(self.bench.look, "quantity", id="entry")
        self.entries = [self.entry]
        yield from super().compose()

    def on_mount(self) -> None:
        self.seat.on_change = self.stand.fresh
        super().on_mount()
        self.say(*greeting(self.seat), role="weak")
        self.settle()
        self._wind_clock()

    # --- what is seen -----------------------------------------------------------------------------

    def settle(self) -> None:
        """After anything was done: the field goes to the line in hand, with what was half typed there."""
        want = self.stand.want
        if want is not None and self.stand.typing:
            self.entry.put("quantity" if is_quantity(want) else "words", self.stand.recall())
            self.entry.display = True
            self.focus_on(self.entry)
        else:
            self.stand.recall()
            self.focus_on(None)
        self.redraw()

    def draw(self, width: int, height: int) -> Drawn:
        scene = Scene(
            now=self.seat.now,
            offer=self.stand.offer,
            want=self.stand.want,
            typed=self.stand.typed,
            saying=self.saying,
            keys=self._key_words(),
            way=self.stand.way.words if self.stand.way is not None else "",
            turned=self.stand.turned,
        )
        if self.bench.large:
            from benchflow.tui.draw.large_type import draw_large

            picture = draw_large(self.seat.view, scene, width, height)
        else:
            picture = draw_bench(self.seat.view, scene, width, height)
        return Drawn(picture.lines, (picture.place if self.stand.typing else None,))

    def _key_words(self) -> tuple[KeyWord, ...]:
        """Calculated out anew only when another key means something: most entries change nothing about that."""
        self.check_action("", ())
        view, want = self.seat.view, self.stand.want if self._states["choose"] else None
        typing = (self.focused, self.entry.kind, bool(self.entry.value))
        now = (self._states, *typing, view.read_only, view.closed, want)
        if now != self._keys_of:
            self._keys_of = (dict(self._states), *now[1:])
            self._keys = key_words(self, self.focused)
        return self._keys

    def _wind_clock(self) -> None:
        """One clock: every second while a window runs or another writes, else as the minute turns."""
        view = self.seat.view
        quick = view.clocks or (view.read_only and not view.closed)
        self._clock = self.set_timer(1.0 if quick else 60.0 - self.seat.now.second, self.tick)

    async def tick(self) -> None:
        if self.seat.view.read_only:
            words = await self.seat.watch()
            if words:
                self.say(words, role="alarm")
        before = _alarms(self.seat)
        if self.seat.tick():
            self.stand.fresh()
            if _alarms(self.seat) - before:
                self.app.bell()
        if self.is_current:
            self.redraw()
        self._wind_clock()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        now = (self.seat.view, self.stand.offer, self.stand.at, self.focused, self.unsaved)
        if any(a is not b for a, b in zip(now, self._states_of, strict=True)):
            self._states_of = now
            self._states = live_states(self.stand, self.focused is not None, self.unsaved)
        return live(self.stand, self._states, action, parameters)

    # --- keys that mean a value and not a command -----------------------------------------------------

    async def on_key(self, event: events.Key) -> None:
        """A figure goes to the field though one has stepped out of it. What is typed where nothing takes it
        is said, and what a gauge or a scanner sends after it, Enter too, does nothing."""
        burst = bool(self.stray) and event.time - self._stray_at < BURST
        if self.stray and event.key == "enter":
            self.swallow(event, f"“{self.stray}” was typed, but nothing here takes it: it was not entered.")
            self.app.bell()
            self.stray = ""
        elif not event.is_printable or event.character is None:
            return
        elif event.key in self.active_bindings and not burst:
            self.stray = ""
        elif self.focused is not None:
            return
        elif self.stand.typing:
            event.stop()
            self.focus_on(self.entry)
            self.entry.insert_text_at_cursor(event.character)
        else:
            self.stray, self._stray_at = self.stray + event.character, event.time
            self.swallow(event, f"“{self.stray}” is typed, but nothing here takes it.")

    def typed(self, field: Input) -> None:
        self.stand.type(field.value)
        if self.saying.texts == (NOT_ENTERED,) and not self.stand.typed.error:
            self.say()
        self.bench.save_soon()


def _alarms(seat: Seat) -> set[str]:
    return {row.operation for row in seat.view.clocks if row.phase in ("closing", "missed")}
