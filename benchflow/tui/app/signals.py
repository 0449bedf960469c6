"""Signals: SIGTERM, SIGHUP and SIGINT end the program cleanly, and SIGCONT paints the screen again."""

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

FORCE_AFTER = 3.0
"""Seconds until the program is ended by force. A closed terminal never takes the remaining output, so the program could
wait for ever."""

END_SIGNALS = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP", "SIGINT") if hasattr(signal, name))


def end_on_signals(save: Callable[[], None], leave: Callable[[int], None]) -> None:
    """On a signal, call ``save``, then ``leave`` with the exit status that a shell expects (128 + n).

    After ``FORCE_AFTER`` seconds the program is ended by force. No entry is lost: entries are on disk already.
    """
    loop = asyncio.get_running_loop()
    for number in END_SIGNALS:
        try:
            loop.add_signal_handler(number, _end, number, save, leave)
        except (NotImplementedError, RuntimeError):  # not on this platform, or not in the main thread
            return


def _end(number: signal.Signals, save: Callable[[], None], leave: Callable[[int], None]) -> None:
    status = 128 + number
    last_resort = threading.Timer(FORCE_AFTER, os._exit, (status,))
    last_resort.daemon = True
    last_resort.start()
    save()
    leave(status)


def redraw_after_stop(repaint: Callable[[], None]) -> None:
    """After SIGSTOP and SIGCONT, restore the terminal mode and paint the screen again.

    Textual's own handler of SIGCONT expects SIGTSTP first. After SIGSTOP it would start a second reader of the keys,
    which would take characters that a gauge sends. It would also save the wrong terminal mode.
    """
    if sys.platform == "win32":  # pragma: no cover - no such signals on Windows
        return
    resume, suspend = signal.getsignal(signal.SIGCONT), signal.getsignal(signal.SIGTSTP)
    if not callable(resume) or not callable(suspend):
        return  # the app has no terminal, for example in a test
    descriptor = sys.__stdin__.fileno() if sys.__stdin__ is not None else 0
    try:
        mode = termios.tcgetattr(descriptor)
    except termios.error:
        return
    textual_suspended = threading.Event()

    def suspended(number: int, frame: FrameType | None) -> None:
        textual_suspended.set()
        suspend(number, frame)

    def resumed(number: int, frame: FrameType | None) -> None:
        if textual_suspended.is_set():
            textual_suspended.clear()
            resume(number, frame)
            return
        with suppress(termios.error):  # the terminal is gone: SIGHUP follows
            termios.tcsetattr(descriptor, termios.TCSANOW, mode)
        repaint()

    signal.signal(signal.SIGTSTP, suspended)
    signal.signal(signal.SIGCONT, resumed)
