"""Ending in order when the program is told to: SIGTERM, SIGHUP, SIGINT, and a terminal that is gone."""

import asyncio
import os
import signal
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from types import FrameType

if sys.platform != "win32":
    import termios

PATIENCE = 3.0
"""Seconds. A terminal that is gone takes no more output, and whoever waits for it waits for ever."""

ENDINGS = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP", "SIGINT") if hasattr(signal, name))


def end_on_signals(save: Callable[[], None], leave: Callable[[int], None]) -> None:
    """On a signal: ``save`` what is not kept yet, then ``leave`` with the status a shell expects (128 + n).

    Should the program not be gone after a few seconds, it is ended without more ado: what is on disk is on
    disk, and nothing else is worth waiting for.
    """
    loop = asyncio.get_running_loop()
    for number in ENDINGS:
        try:
            loop.add_signal_handler(number, _end, number, save, leave)
        except (NotImplementedError, RuntimeError):  # not on this platform, or not in the main thread
            return


def _end(number: signal.Signals, save: Callable[[], None], leave: Callable[[int], None]) -> None:
    status = 128 + number
    last_resort = threading.Timer(PATIENCE, os._exit, (status,))
    last_resort.daemon = True
    last_resort.start()
    save()
    leave(status)


def redraw_after_stop(repaint: Callable[[], None]) -> None:
    """Stopped from outside and let go on (SIGSTOP, SIGCONT): the terminal as it was, and everything painted anew.

    The library's own handler is for a stop that it was told of beforehand (SIGTSTP). After any other it would start a
    second reader of the keys beside the first, which then take turns at what a gauge sends, and would take the
    terminal as it is now for what it has to leave behind.
    """
    if sys.platform == "win32":  # pragma: no cover - nothing is stopped from outside there
        return
    resume, suspend = signal.getsignal(signal.SIGCONT), signal.getsignal(signal.SIGTSTP)
    if not callable(resume) or not callable(suspend):
        return  # no terminal that is driven by this library
    descriptor = sys.__stdin__.fileno() if sys.__stdin__ is not None else 0
    try:
        mode = termios.tcgetattr(descriptor)
    except termios.error:
        return
    told = threading.Event()

    def suspended(number: int, frame: FrameType | None) -> None:
        told.set()
        suspend(number, frame)

    def resumed(number: int, frame: FrameType | None) -> None:
        if told.is_set():
            told.clear()
            resume(number, frame)
            return
        with suppress(termios.error):  # it is gone meanwhile: SIGHUP says so
            termios.tcsetattr(descriptor, termios.TCSANOW, mode)
        repaint()

    signal.signal(signal.SIGTSTP, suspended)
    signal.signal(signal.SIGCONT, resumed)
