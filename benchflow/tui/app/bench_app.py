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
from benchflow.session.controller import Desk
from benchflow.tui.app.navigation import BenchRequest, ScreenRequest
from benchflow.tui.app.ordered_keys import OrderedApp
from benchflow.tui.app.signals import end_on_signals, redraw_after_stop
from benchflow.tui.draw.themes import NAMES, BenchTheme, bench_theme, initial_theme
from benchflow.tui.model.preferences import Preferences
from benchflow.tui.model.session_client import SessionClient

FIRST = 1
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
        self.last_words: tuple[str, ...] = ()
        self._first = first
        self._screen_for = screens
        self._saving = self._save_again = False
        for name in NAMES:
            own = bench_theme(name)
            if own.own_colours:
                self.register_theme(
                    Theme(
                        name=f"bench-{name}",
                        primary=own.ink,
                        foreground=own.ink,
                        background=own.ground,
                        surface=own.ground,
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
        """The first paint is there: what it did not need comes in now."""
        gc.freeze()
        gc.enable()
        # Formulas are worked out with the help of a library that takes a while to come in: not while a key waits.
        threading.Thread(target=_import_pint, daemon=True).start()

    def _repaint(self) -> None:
        """Others may have painted over the screen. Called by a signal: the rest is for the app's own queue."""
        self.call_later(self.refresh, layout=True)

    def save(self) -> None:
        if self.client is not None:
            self.client.drafts.save()

    def save_soon(self) -> None:
        """Keep what is half typed, in a thread of its own; what is typed while it writes is written after."""
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
        """Everything entered is on disk already; what is half typed is kept now. ``words`` are said when the
        terminal is the builder's again."""
        self.save()
        self.last_words = words
        self.exit(status, return_code=status)

    # --- from screen to screen --------------------------------------------------------------------

    def open(self, request: ScreenRequest, on_close: Callable[[str | None], None] | None = None) -> None:
        """Put the requested screen on top; ``on_close`` gets what it closes with."""
        self.push_screen(self._screen_for(request, self.client), on_close)

    def open_bench(self, desk: Desk, by: str = "") -> None:
        """Show the bench of an open session; the screens before it are closed. ``by`` is who builds now."""
        self.client = SessionClient(desk, by)

        def change() -> None:
            while len(self.screen_stack) > FIRST + 1:
                self.pop_screen()
            self.switch_screen(self._screen_for(BenchRequest(), self.client))

        # From the app's own queue: the screen that calls this is closed.
        self.call_later(change)

    def back_or_leave(self) -> None:
        """Back to the screen before; out of the program where there is none."""
        if len(self.screen_stack) > FIRST + 1:
            self.pop_screen()
        else:
            self.leave()

    # --- looks --------------------------------------------------------------------------------------

    def action_theme(self) -> None:
        """The next look, and the same one the next time."""
        names = [name for name in NAMES if not self.no_color or name == "plain"]
        self.bench_theme = bench_theme(names[(names.index(self.bench_theme.name) + 1) % len(names)])
        self.preferences.keep(bench_theme=self.bench_theme.name)
        self._apply_theme()
        for screen in self.screen_stack:
            if isinstance(screen, ThemedScreen):
                screen.apply_theme()
                screen.redraw()

    def action_large(self) -> None:
        self.preferences.keep(large=not self.preferences.large)
        for screen in self.screen_stack:
            if isinstance(screen, ThemedScreen):
                screen.redraw()

    def _apply_theme(self) -> None:
        self.ansi_color = not self.bench_theme.own_colours
        self.theme = f"bench-{self.bench_theme.name}" if self.bench_theme.own_colours else "ansi-dark"

    def _fatal_error(self) -> None:
        """What went wrong, in a few lines: where the log is, and no values of variables, which may be private."""
        import traceback

        self.save()
        error = self._exception
        where = f"The log is whole: {self.client.log}" if self.client is not None else "No session was open."
        told = traceback.format_exception(error) if error is not None else []
        if self._exit_renderables:  # the first error is the one that matters; others follow from it
            return
        self._exit_renderables.append(
            clean("".join([*told, "\nbenchflow has stopped by a mistake of its own. ", where, "\n"]))
        )
        self._close_messages_no_wait()


def _import_pint() -> None:
    import pint  # noqa: F401 - so that it is there when the first conversion needs it
