"""The program at the bench: the look it wears, the session it holds, the screens it shows."""

import asyncio
import gc
import os
import threading
from typing import Any, ClassVar

from textual.binding import BindingType
from textual.theme import Theme

from benchflow.base.plaintext import clean
from benchflow.session.controller import Desk
from benchflow.tui.app.ordered_keys import OrderedApp
from benchflow.tui.app.preferences import Preferences
from benchflow.tui.app.session_client import Seat
from benchflow.tui.app.signals import end_on_signals, go_on_after_stop
from benchflow.tui.app.themes import NAMES, Look, first_look, look
from benchflow.tui.widgets.page import Page

FIRST = 1
"""Where the first page lies on the stack of screens: on the bare one that every app has."""


class BenchApp(OrderedApp[int], inherit_bindings=False):
    """``first`` is the screen to begin with; ``seat`` the session that is open, ``None`` before."""

    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = []
    TITLE = "benchflow"

    def __init__(self, preferences: Preferences, first: "Page[Any]", seat: Seat | None = None) -> None:
        self.preferences = preferences
        self.look: Look = look(first_look(os.environ, preferences.look))
        super().__init__(ansi_color=not self.look.own_colours)
        self.animation_level = "none"
        self.seat = seat
        self.last_words: tuple[str, ...] = ()
        self._first = first
        self._saving = self._save_again = False
        for name in NAMES:
            own = look(name)
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
        self._wear()

    @property
    def large(self) -> bool:
        return self.preferences.large

    def on_mount(self) -> None:
        self.push_screen(self._first)
        end_on_signals(self.save, self.leave)
        go_on_after_stop(self._paint_anew)
        self.call_after_refresh(self._painted)

    def _painted(self) -> None:
        """The first paint is there: what it did not need comes in now."""
        gc.freeze()
        gc.enable()
        # Formulas are worked out with the help of a library that takes a while to come in: not while a key waits.
        threading.Thread(target=_fetch, daemon=True).start()

    def _paint_anew(self) -> None:
        """Others may have painted over the screen. Called by a signal: the rest is for the app's own queue."""
        self.call_later(self.refresh, layout=True)

    def save(self) -> None:
        if self.seat is not None:
            self.seat.drafts.save()

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

    def sit_down(self, desk: Desk, by: str = "") -> None:
        """At the bench, with a session that is open; whatever was on the screen before is put away."""
        from benchflow.tui.bench.bench_screen import BenchScreen

        seat = self.seat = Seat(desk, by)

        def change() -> None:
            while len(self.screen_stack) > FIRST + 1:
                self.pop_screen()
            self.switch_screen(BenchScreen(seat))

        # From the app's own queue: the screen that asked for it goes away.
        self.call_later(change)

    def back_or_leave(self) -> None:
        """Back to the screen before; out of the program where there is none."""
        if len(self.screen_stack) > FIRST + 1:
            self.pop_screen()
        else:
            self.leave()

    def ended(self) -> None:
        """The session is over: its end sheet."""
        from benchflow.tui.screens.leaving_page import EndedPage

        assert self.seat is not None  # it was the seat's session that ended
        self.push_screen(EndedPage(self.seat))

    # --- looks --------------------------------------------------------------------------------------

    def action_look(self) -> None:
        """The next look, and the same one the next time."""
        names = [name for name in NAMES if not self.no_color or name == "plain"]
        self.look = look(names[(names.index(self.look.name) + 1) % len(names)])
        self.preferences.keep(look=self.look.name)
        self._wear()
        for screen in self.screen_stack:
            if isinstance(screen, Page):
                screen.wear_look()
                screen.redraw()

    def action_large(self) -> None:
        self.preferences.keep(large=not self.preferences.large)
        for screen in self.screen_stack:
            if isinstance(screen, Page):
                screen.redraw()

    def _wear(self) -> None:
        self.ansi_color = not self.look.own_colours
        self.theme = f"bench-{self.look.name}" if self.look.own_colours else "ansi-dark"

    def _fatal_error(self) -> None:
        """What went wrong, in a few lines: where the log is, and no values of variables, which may be private."""
        import traceback

        self.save()
        error = self._exception
        where = f"The log is whole: {self.seat.log}" if self.seat is not None else "No session was open."
        told = traceback.format_exception(error) if error is not None else []
        if self._exit_renderables:  # the first error is the one that matters; others follow from it
            return
        self._exit_renderables.append(
            clean("".join([*told, "\nbenchflow has stopped by a mistake of its own. ", where, "\n"]))
        )
        self._close_messages_no_wait()


def _fetch() -> None:
    import pint  # noqa: F401 - so that it is there when the first conversion needs it
