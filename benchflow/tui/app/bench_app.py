"""The Textual app: applies themes, keeps the client of the open job, opens screens, and ends the program."""

import asyncio
import gc
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, ClassVar, TypeVar

from textual import events
from textual.binding import BindingType
from textual.screen import Screen
from textual.theme import Theme

from benchflow.base.plaintext import clean, shown_path
from benchflow.session.controller import SessionController
from benchflow.session.crash_file import keep_crash
from benchflow.tui.app.navigation import BenchRequest, ScreenRequest
from benchflow.tui.app.ordered_keys import OrderedApp, SurvivesKeys
from benchflow.tui.app.signals import end_on_signals, redraw_after_stop
from benchflow.tui.app.terminal_input import terminal_driver
from benchflow.tui.draw.themes import NAMES, BenchTheme, bench_theme, initial_theme
from benchflow.tui.model.preferences import Preferences
from benchflow.tui.model.session_client import SessionClient

FIRST_PAGE = 1
"""Index of the first page on the screen stack. Below it is the empty default screen of Textual."""

Result = TypeVar("Result")
ScreenFactory = Callable[[Any, SessionClient | None], Screen[Any]]
"""Creates the screen for a request; see :mod:`benchflow.tui.app.navigation`."""


class ThemedScreen(SurvivesKeys, Screen[Result]):
    """Base of all screens: the app can change their theme and redraw them."""

    has_refused_text = False
    """True if the field has a text that was not accepted and has not been changed since."""

    def drop_refused_text(self) -> None:
        """Delete the text that was not accepted, because another reading follows."""

    def takes_text(self, event: events.Key) -> bool:
        """True if the screen passes this key to a field although the field does not have the focus."""
        return False

    def refuse_burst(self, text: str) -> None:
        """Show that ``text`` was typed by a scanner or a gauge, and that no field takes it."""
        raise NotImplementedError

    def apply_theme(self) -> None:
        """Use the theme of the app from now on."""
        raise NotImplementedError

    def redraw(self) -> None:
        """Draw the screen again."""
        raise NotImplementedError

    def show_failure(self, text: str) -> None:
        """Show that the last key failed. ``text`` stays until the next message."""
        raise NotImplementedError


class BenchApp(OrderedApp[int], inherit_bindings=False):
    """The app of a job or of a review.

    ``first`` is the first screen or a request for it. ``screens`` creates all other screens. ``client`` is the client
    of the open job, ``None`` before a job is open.
    """

    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = []
    TITLE = "benchflow"

    def __init__(
        self,
        preferences: Preferences,
        first: ThemedScreen[Any] | ScreenRequest,
        screens: ScreenFactory,
        client: SessionClient | None = None,
    ) -> None:
        self.preferences = preferences
        self.bench_theme: BenchTheme = bench_theme(initial_theme(os.environ, preferences.bench_theme))
        super().__init__(driver_class=terminal_driver(), ansi_color=not self.bench_theme.own_colours)
        self.animation_level = "none"
        self.client = client
        if client is not None:
            client.preferences = preferences
        self.last_messages: tuple[str, ...] = ()
        self.crash_file: Path | None = None
        self._first = first
        self._screen_for = screens
        self._saving = self._save_again = False
        for name in NAMES:
            own = bench_theme(name)
            if own.own_colours:
                self.register_theme(
                    Theme(
                        name=f"bench-{name}",
                        primary=own.foreground,
                        foreground=own.foreground,
                        background=own.background,
                        surface=own.background,
                        dark=name == "dark",
                    )
                )
        self._apply_theme()

    @property
    def open_log(self) -> Path | None:
        """The log that is open, ``None`` without one."""
        return None if self.client is None else self.client.log

    @property
    def follows_log(self) -> bool:
        """True if what is shown follows from the last event on disk."""
        return self.client is None or self.client.follows_log

    @property
    def large(self) -> bool:
        """True if the bench is drawn in large type."""
        return self.preferences.large

    def on_mount(self) -> None:
        if isinstance(self._first, ScreenRequest):
            self.open(self._first)
        else:
            self.push_screen(self._first)
        end_on_signals(self.save, self.leave)
        redraw_after_stop(self._repaint)
        self.call_after_refresh(self._after_first_paint)

    def _after_first_paint(self) -> None:
        """Turn on garbage collection, which the first paint does not need."""
        gc.freeze()
        gc.enable()

    def _repaint(self) -> None:
        """Paint the whole screen again. A signal handler calls this, so the work is put into the app's queue."""
        self.call_later(self.refresh, layout=True)

    def save(self) -> None:
        """Save the drafts of the open job."""
        if self.client is not None:
            self.client.drafts.save()

    def save_soon(self) -> None:
        """Save the drafts in a thread. If a save is already running, save once more afterwards."""
        if self._saving:
            self._save_again = True
            return
        self._saving, self._save_again = True, False
        asyncio.get_running_loop().run_in_executor(None, self.save).add_done_callback(self._saved)

    def _saved(self, _: "asyncio.Future[None]") -> None:
        self._saving = False
        if self._save_again:
            self.save_soon()

    def leave(self, status: int = 0, *messages: str) -> None:
        """Save the drafts and end the program. ``messages`` are printed after the screen is closed."""
        self.save()
        if self.crash_file is not None:
            messages += (f"An internal error is in {shown_path(self.crash_file)}. Please report it.",)
        self.last_messages = messages
        self.exit(status, return_code=status)

    def takes_text(self, event: events.Key) -> bool:
        screen = self.screen
        return super().takes_text(event) or (isinstance(screen, ThemedScreen) and screen.takes_text(event))

    def refuse_burst(self, text: str) -> None:
        if isinstance(self.screen, ThemedScreen):
            self.screen.refuse_burst(text)
            self.bell()

    def has_refused_text(self) -> bool:
        return isinstance(self.screen, ThemedScreen) and self.screen.has_refused_text

    def drop_refused_text(self) -> None:
        if isinstance(self.screen, ThemedScreen):
            self.screen.drop_refused_text()

    def report_key_failure(self, error: Exception) -> bool:
        """Write the error to the crash file, and show it with the path of the log at the foot of the screen."""
        screen = self.screen
        if not isinstance(screen, ThemedScreen) or not self.follows_log:
            return False
        file = keep_crash(error)
        text = "Internal error: this key was not carried out, or only in part."
        if self.open_log is not None:
            text += f" Every confirmed entry is in the log {shown_path(self.open_log)}."
        if file is not None:
            text += f" The error is in {shown_path(file)}."
            self.crash_file = file
        screen.show_failure(text)
        self.bell()
        return True

    # --- opening and closing screens --------------------------------------------------------------------

    def open(self, request: ScreenRequest, on_close: Callable[[str | None], None] | None = None) -> None:
        """Open the requested screen on top. ``on_close`` is called with the result of the screen."""
        self.push_screen(self._screen_for(request, self.client), on_close)

    def open_bench(self, controller: SessionController, by: str = "") -> None:
        """Show the bench of a job and close the screens before it. ``by`` is the person at the bench."""
        self.client = SessionClient(controller, by)
        self.client.preferences = self.preferences

        def switch() -> None:
            while len(self.screen_stack) > FIRST_PAGE + 1:
                self.pop_screen()
            self.switch_screen(self._screen_for(BenchRequest(), self.client))

        # Queued, because it closes the screen that calls this method.
        self.call_later(switch)

    def back_or_leave(self) -> None:
        """Go back to the previous screen. If there is none, end the program."""
        if len(self.screen_stack) > FIRST_PAGE + 1:
            self.pop_screen()
        else:
            self.leave()

    # --- themes --------------------------------------------------------------------------------------

    def action_theme(self) -> None:
        """Apply the next theme and save the choice."""
        names = [name for name in NAMES if not self.no_color or name == "plain"]
        self.bench_theme = bench_theme(names[(names.index(self.bench_theme.name) + 1) % len(names)])
        self.preferences.save(bench_theme=self.bench_theme.name)
        self._apply_theme()
        for screen in self.screen_stack:
            if isinstance(screen, ThemedScreen):
                screen.apply_theme()
                screen.redraw()

    def action_large(self) -> None:
        """Switch large type on or off and save the choice."""
        self.preferences.save(large=not self.preferences.large)
        for screen in self.screen_stack:
            if isinstance(screen, ThemedScreen):
                screen.redraw()

    def _apply_theme(self) -> None:
        self.ansi_color = not self.bench_theme.own_colours
        self.theme = f"bench-{self.bench_theme.name}" if self.bench_theme.own_colours else "ansi-dark"

    def _fatal_error(self) -> None:
        """Print the error and the path of the log. Values of variables may be private, so they are not shown."""
        import traceback

        self.save()
        error = self._exception
        where = f"All entries are saved. Log: {self.open_log}" if self.open_log is not None else "No job was open."
        trace = traceback.format_exception(error) if error is not None else []
        if self._exit_renderables:  # later errors are consequences of the first one
            return
        self._exit_renderables.append(
            clean("".join([*trace, "\nInternal error: benchflow has stopped. ", where, "\n"]))
        )
        self._close_messages_no_wait()
