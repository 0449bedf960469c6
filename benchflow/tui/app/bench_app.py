"""The Textual app: themes, the open session, opening screens, and leaving in order."""

import asyncio
import gc
import os
import threading
from collections.abc import Callable
from typing import Any, ClassVar, TypeVar

from textual.binding import BindingType
from textual.screen import Screen
from textual.theme import Theme

from benchflow.base.plaintext import clean
from benchflow.session.controller import SessionController
from benchflow.tui.app.navigation import BenchRequest, ScreenRequest
from benchflow.tui.app.ordered_keys import OrderedApp
from benchflow.tui.app.signals import end_on_signals, redraw_after_stop
from benchflow.tui.draw.themes import NAMES, BenchTheme, bench_theme, initial_theme
from benchflow.tui.model.preferences import Preferences
from benchflow.tui.model.session_client import SessionClient

FIRST_PAGE = 1
"""Index of the first page on the stack of screens; below it is the empty screen that every app has."""

Result = TypeVar("Result")
ScreenFactory = Callable[[Any, SessionClient | None], Screen[Any]]
"""Makes the screen for a request; see :mod:`benchflow.tui.app.navigation`."""


class ThemedScreen(Screen[Result]):
    """What the app asks of every screen."""

    def apply_theme(self) -> None:
        raise NotImplementedError

    def redraw(self) -> None:
        raise NotImplementedError


class BenchApp(OrderedApp[int], inherit_bindings=False):
    """``first`` is the first screen or a request for it, ``screens`` makes all others, ``client`` is the open session
    (``None`` before one is open)."""

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
        super().__init__(ansi_color=not self.bench_theme.own_colours)
        self.animation_level = "none"
        self.client = client
        self.last_messages: tuple[str, ...] = ()
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
    def large(self) -> bool:
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
        """Load what the first paint did not need."""
        gc.freeze()
        gc.enable()
        # The library for units takes about 0.1 s to import: not while a key waits.
        threading.Thread(target=_import_pint, daemon=True).start()

    def _repaint(self) -> None:
        """Paint the whole screen again. Called in a signal handler, so the work goes to the app's own queue."""
        self.call_later(self.refresh, layout=True)

    def save(self) -> None:
        if self.client is not None:
            self.client.drafts.save()

    def save_soon(self) -> None:
        """Save the drafts in a thread; what is typed meanwhile is saved afterwards."""
        if self._saving:
            self._save_again = True
            return
        self._saving, self._save_again = True, False
        asyncio.get_running_loop().run_in_executor(None, self.save).add_done_callback(self._saved)

    def _saved(self, _: "asyncio.Future[None]") -> None:
        self._saving = False
        if self._save_again:
            self.save_soon()

    def leave(self, status: int = 0, *words: str) -> None:
        """Save the drafts and end the program. ``words`` are printed after the screen is closed."""
        self.save()
        self.last_messages = words
        self.exit(status, return_code=status)

    # --- from screen to screen --------------------------------------------------------------------

    def open(self, request: ScreenRequest, on_close: Callable[[str | None], None] | None = None) -> None:
        """Put the requested screen on top; ``on_close`` gets what it closes with."""
        self.push_screen(self._screen_for(request, self.client), on_close)

    def open_bench(self, controller: SessionController, by: str = "") -> None:
        """Show the bench of an open session; the screens before it are closed. ``by`` is who builds now."""
        self.client = SessionClient(controller, by)

        def change() -> None:
            while len(self.screen_stack) > FIRST_PAGE + 1:
                self.pop_screen()
            self.switch_screen(self._screen_for(BenchRequest(), self.client))

        # From the app's own queue: the screen that calls this is closed.
        self.call_later(change)

    def back_or_leave(self) -> None:
        """Back to the screen before, or end the program if there is none."""
        if len(self.screen_stack) > FIRST_PAGE + 1:
            self.pop_screen()
        else:
            self.leave()

    # --- themes --------------------------------------------------------------------------------------

    def action_theme(self) -> None:
        """Apply the next theme and keep it for the next start."""
        names = [name for name in NAMES if not self.no_color or name == "plain"]
        self.bench_theme = bench_theme(names[(names.index(self.bench_theme.name) + 1) % len(names)])
        self.preferences.save(bench_theme=self.bench_theme.name)
        self._apply_theme()
        for screen in self.screen_stack:
            if isinstance(screen, ThemedScreen):
                screen.apply_theme()
                screen.redraw()

    def action_large(self) -> None:
        self.preferences.save(large=not self.preferences.large)
        for screen in self.screen_stack:
            if isinstance(screen, ThemedScreen):
                screen.redraw()

    def _apply_theme(self) -> None:
        self.ansi_color = not self.bench_theme.own_colours
        self.theme = f"bench-{self.bench_theme.name}" if self.bench_theme.own_colours else "ansi-dark"

    def _fatal_error(self) -> None:
        """Print the error and where the log is. Values of variables may be private and are not shown."""
        import traceback

        self.save()
        error = self._exception
        where = f"Log: {self.client.log} (complete)" if self.client is not None else "No job was open."
        trace = traceback.format_exception(error) if error is not None else []
        if self._exit_renderables:  # only the first error matters; the others follow from it
            return
        self._exit_renderables.append(
            clean("".join([*trace, "\nInternal error: benchflow has stopped. ", where, "\n"]))
        )
        self._close_messages_no_wait()


def _import_pint() -> None:
    import pint  # noqa: F401 - loaded before the first conversion needs it
