"""Ending in order when the program is told to: SIGTERM, SIGHUP, SIGINT, and a terminal that is gone."""

import asyncio
import os
import signal
import threading
from collections.abc import Callable

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
