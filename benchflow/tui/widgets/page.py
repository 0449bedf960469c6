"""The base class of the screens: a canvas, entry fields, a message and the key bar."""

from collections.abc import Coroutine, Iterator, Sequence
from typing import Any, ClassVar, TypeVar

from msgspec import Struct
from textual import events, on
from textual.actions import parse
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.widgets import Input

from benchflow.session.refusal import Refusal
from benchflow.tui.app.bench_app import BenchApp, ThemedScreen
from benchflow.tui.app.navigation import HelpRequest
from benchflow.tui.draw.bench_layout import StatusMessage, draw_message, framed
from benchflow.tui.draw.block_parts import FieldPlace
from benchflow.tui.draw.key_bar import draw_keys, key_at, key_labels
from benchflow.tui.draw.styled_lines import Line, Role, counted
from benchflow.tui.widgets.canvas import Canvas
from benchflow.tui.widgets.entry_field import EntryField

Result = TypeVar("Result")

LEAST_COLUMNS, LEAST_ROWS = 24, 8
"""A page is drawn for at least this size. A smaller terminal shows its upper left part."""


def letter(key: str) -> str:
    """Return the lower-case and the upper-case key of a letter, since caps lock may be on."""
    return f"{key},{key.upper()}"


def no_field_for(text: str) -> str:
    """Return the message for text that was typed where there is no field."""
    if len(text) == 1:
        return f"Key {text} does nothing here."
    return f"“{text}” was typed, but there is no field for it."


STRAY_TIME = 1.0
"""Seconds after which a typed character does not belong to the text before it."""

BOUNCED = "after the one before, so nothing was entered"


class DrawnPage(Struct, frozen=True):
    """The lines of a screen, and the position of each field in them (``None``: hidden)."""

    lines: tuple[Line, ...]
    places: tuple[FieldPlace | None, ...] = ()


APP_KEYS: tuple[BindingType, ...] = (
    Binding("question_mark,f1", "help", "help", id="app.help"),
    Binding("f5", "app.large", "large type", id="app.large", show=False),
    Binding("f6", "app.theme", "colours", id="app.theme", show=False),
)
BACK = Binding("escape,f10,ctrl+c,ctrl+q", "back", "back", id="page.back")


class Page(ThemedScreen[Result], inherit_bindings=False):
    """A screen with ``title_line`` at the top, ``body`` below it, and the last message and the key bar at the foot."""

    DEFAULT_CSS = "Page { overflow: hidden; }"
    AUTO_FOCUS = ""
    BINDINGS: ClassVar[list[BindingType]] = [BACK, *APP_KEYS]

    title_line = ""

    def __init__(self) -> None:
        super().__init__()
        self.entries: list[EntryField] = []
        self.message = StatusMessage()
        self.stray_text = ""
        self._stray_at = 0.0
        self._to_draw = False
        self._drawing = False  # stays true if drawing failed

    @property
    def bench_app(self) -> BenchApp:
        """The app."""
        assert isinstance(self.app, BenchApp)
        return self.app

    def compose(self) -> ComposeResult:
        yield Canvas(self.bench_app.bench_theme)
        yield from self.entries

    def on_mount(self) -> None:
        self.draw_now()

    # --- drawing ------------------------------------------------------------------------------

    def body(self, width: int, height: int) -> DrawnPage:
        """Return the lines between header and foot. At most ``height`` of them are shown."""
        raise NotImplementedError

    def draw(self, width: int, height: int) -> DrawnPage:
        """Return all lines of the screen."""
        foot = [*draw_message(self.message, width - 2, max(height // 4, 2)), *self.key_lines(width - 2)]
        drawn = self.body(width - 2, height - 2 - len(foot))
        places = tuple(place and FieldPlace(place.x + 1, place.y + 1, place.width) for place in drawn.places)
        return DrawnPage(tuple(framed(self.title_line, drawn.lines, foot, width, height)), places)

    def key_lines(self, width: int) -> list[Line]:
        """Return the key bar."""
        return draw_keys(key_labels(self, self.focused), width, 2)

    def redraw(self) -> None:
        """Draw the screen again, once for all changes made in one event."""
        if not self._to_draw and self.is_mounted and self.is_running:
            self._to_draw = True
            self.call_next(self.draw_now)

    def draw_now(self) -> None:
        """Draw immediately. The canvas paints only changed rows."""
        self._to_draw = False
        if not self.is_mounted or not self.is_running:
            return
        width, height = max(self.app.size.width, LEAST_COLUMNS), max(self.app.size.height, LEAST_ROWS)
        drawn = self._message_alone(width, height) if self._drawing else self._drawn(width, height)
        self.query_one(Canvas).show(drawn.lines)
        for entry, place in zip(self.entries, drawn.places, strict=True):
            if place is None:
                entry.display = False
                continue
            entry.place_at(place.x, place.y, place.width)

    def _drawn(self, width: int, height: int) -> DrawnPage:
        self._drawing = True
        drawn = self.draw(width, height)
        self._drawing = False
        return drawn

    def _message_alone(self, width: int, height: int) -> DrawnPage:
        """Draw the message and nothing else: the page itself could not be drawn."""
        self._drawing = False
        return DrawnPage(tuple(draw_message(self.message, width, height)), (None,) * len(self.entries))

    def show_failure(self, text: str) -> None:
        self.show_message(text, role="alarm")

    def apply_theme(self) -> None:
        self.query_one(Canvas).apply_theme(self.bench_app.bench_theme)
        for entry in self.entries:
            entry.apply_theme(self.bench_app.bench_theme)

    @on(events.DescendantFocus)
    @on(events.DescendantBlur)
    def _focus_changed(self) -> None:
        """Draw again, because other keys are active now."""
        self.redraw()

    @on(events.Resize)
    def _resized(self) -> None:
        self.redraw()

    @on(events.ScreenResume)
    def _resumed(self) -> None:
        self.redraw()

    @on(events.Click)
    def _clicked(self, event: events.Click) -> None:
        """Run the key that was clicked in the key bar. Any other click is passed to :meth:`clicked`."""
        event.stop()
        canvas = self.query_one(Canvas)
        line = canvas.lines[event.screen_y] if event.screen_y < len(canvas.lines) else ()
        found = key_at(line, event.screen_x)
        for label in key_labels(self, self.focused) if found is not None else ():
            if (label.key, label.label) == found and label.enabled:
                self.call_later(self.run_action, label.action)
                return
        self.clicked(event.screen_y)

    def clicked(self, row: int) -> None:
        """Handle a click or a touch on a row of the screen."""

    @on(Input.Changed)
    def _typed(self, event: Input.Changed) -> None:
        event.stop()
        self.typed(event.input)
        self.redraw()

    @on(EntryField.LinesPasted)
    def _lines_pasted(self, event: EntryField.LinesPasted) -> None:
        event.stop()
        self.pasted(event.lines)

    def pasted(self, lines: tuple[str, ...]) -> None:
        """Handle a pasted text of several lines."""
        count = sum(bool(line.strip()) for line in lines)
        self.show_message(f"{count} lines were pasted, but a field takes one line. Nothing was entered.", role="alarm")
        self.app.bell()

    def typed(self, field: Input) -> None:
        """Handle a changed text in a field."""

    # --- text typed where there is no field ---------------------------------------------

    async def on_key(self, event: events.Key) -> None:
        """Discard what is typed where there is no field. Its Enter must not confirm anything."""
        if event.time - self._stray_at > STRAY_TIME:
            self.stray_text = ""
        self._stray_at = event.time
        if self.stray_text and event.key == "enter":
            self.discard_key(event, no_field_for(self.stray_text) + " Nothing was entered.")
            self.app.bell()
            self.stray_text = ""
        elif (
            self.show_blocked(event.key)
            or self.focused is not None
            or not event.is_printable
            or any(state is not False for _, state in self._actions_of(event.key))
        ):
            self.stray_text = ""
        elif self.takes_text(event):
            event.stop()
            self.pass_to_field(event.character or "")
        else:
            self.stray_text += event.character or ""
            self.discard_key(event, no_field_for(self.stray_text))

    def pass_to_field(self, character: str) -> None:
        """Give the focus to the field that takes this character (:meth:`takes_text`), and put it there."""
        raise NotImplementedError

    def refuse_burst(self, text: str) -> None:
        self.show_message(no_field_for(text) + " Nothing was entered.", role="alarm")

    def blocked_messages(self, action: str) -> tuple[str, ...]:
        """Return why an action is blocked now."""
        return ("This is not possible now.",)

    def show_blocked(self, key: str) -> bool:
        """Show why a greyed key is blocked. Return false if the key is not greyed."""
        actions = list(self._actions_of(key))
        greyed = next((name for name, state in actions if state is None), None)
        if greyed is None or any(state for _, state in actions):
            return False
        self.show_message(*self.blocked_messages(greyed), role="attention")
        return True

    def _actions_of(self, key: str) -> Iterator[tuple[str, bool | None]]:
        """The actions of a key on this screen with their states. `active_bindings` would ask for those of all keys."""
        for binding in self._bindings.key_to_bindings.get(key, ()):
            _, name, parameters = parse(binding.action)
            yield name, self.check_action(name, parameters)

    def discard_key(self, event: events.Key, message: str) -> None:
        """Discard a key, and show a message."""
        event.stop()
        event.prevent_default()
        self.show_message(message, role="alarm")

    # --- messages and actions ---------------------------------------------------------------------

    def show_message(self, *texts: str, role: Role = "text") -> None:
        """Show a message. It stays until the next one."""
        self.message = StatusMessage(texts, role)
        self.redraw()

    def refused(self, refusal: Refusal) -> None:
        """Show every reason of a refusal, and ring the bell once."""
        self.show_message(*(reason.message for reason in refusal.refused), role="alarm")
        self.app.bell()

    def _refused_bounce(self) -> bool:
        """Show a message and return true if the key came too soon after the one before: a bounce or a held switch.

        The earlier message stays, because it may say what to do.
        """
        timing = self.bench_app.entry_timing
        if not timing.bounced:
            return False
        key = "Enter" if timing.key in ("enter", "space") else timing.key
        before = (text for text in self.message.texts if BOUNCED not in text)
        text = f"{key} came {timing.pause:.1f} s {BOUNCED}. Press it again."
        self.show_message(*before, text, role="attention")
        self.app.bell()
        return True

    def run_holding_keys(self, work: Coroutine[Any, Any, None]) -> None:
        """Run a coroutine in a worker. Keys typed meanwhile are handled after it, in order."""
        hold = self.bench_app.hold_keys()
        hold.__enter__()

        async def held() -> None:
            try:
                await work
            finally:
                hold.__exit__(None, None, None)

        self.run_worker(held(), group="controller", exit_on_error=True)

    def focus_on(self, field: EntryField | None) -> None:
        """Move the focus to a field. ``None`` removes the focus."""
        self.set_focus(field, scroll_visible=False)

    def action_back(self) -> None:
        self.dismiss(None)

    def action_help(self) -> None:
        self.bench_app.open(HelpRequest(self.title_line, key_labels(self, None)), self._run_action)

    def _run_action(self, action: str | None) -> None:
        """Run the action of the key chosen on the help page."""
        if action:
            self.call_later(self.run_action, action)


class TextPage(Page[Result]):
    """A screen with a text to read. PgUp and PgDn scroll."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("pagedown", "scroll(10)", "scroll", id="text.page-down", key_display="PgUp PgDn"),
        Binding("pageup", "scroll(-10)", "", id="text.page-up", show=False),
        Binding("down", "scroll(1)", "one line", id="text.down", show=False, key_display="↑↓"),
        Binding("up", "scroll(-1)", "", id="text.up", show=False),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.scrolled = 0
        self._line_count = 0
        self._visible_lines = 1

    def text(self, width: int) -> Sequence[Line]:
        """Return the whole text."""
        raise NotImplementedError

    def body(self, width: int, height: int) -> DrawnPage:
        lines = self.text(width)
        self._line_count, self._visible_lines = len(lines), height
        return DrawnPage(tuple(scrolled_lines(lines, self.scrolled, height)))

    def action_scroll(self, by: int) -> None:
        self.scrolled = min(max(self.scrolled + by, 0), max(self._line_count - self._visible_lines + 1, 0))
        self.redraw()


def scrolled_lines(lines: Sequence[Line], by: int, height: int) -> list[Line]:
    """Return ``height`` of the lines, from index ``by`` on. The last row shows how many more follow."""
    if len(lines) <= height:
        return list(lines)
    shown = list(lines[by : by + height - 1])
    left = len(lines) - by - len(shown)
    note = f"▼ {counted(left, 'more line')} (PgDn)" if left > 0 else "▲ end of the text (PgUp scrolls back)"
    return [*shown, *([()] * (height - 1 - len(shown))), ((note, "attention"),)]
