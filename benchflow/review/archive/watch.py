"""Watches a folder and files logs when they are new or have grown."""

import os
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

from benchflow.review.archive.database import Database
from benchflow.review.archive.filing import file_logs
from benchflow.review.archive.filing_report import FilingReport
from benchflow.review.log.log_file import logs_under

EVERY: Final = 2.0
SHARE: Final = 0.02
"""Checking the folder takes at most this part of the time, however many logs it holds."""


def watch(
    database: Database,
    folder: Path,
    bench: str,
    *,
    copy_logs: bool = False,
    compiled: Path | None = None,
    every: float = EVERY,
    sleep: Callable[[float], None] = time.sleep,
    clock: Callable[[], float] = time.monotonic,
) -> Iterator[FilingReport]:
    """File the folder now and after every change of a log in it; yields a report each time.

    The loop ends when ``sleep`` raises. A check is one ``stat`` per log; only changed logs are opened. A folder that
    disappears later, such as a USB stick, is waited for.

    Raises:
        NoLog: there is no such folder at the start.
    """
    paths = logs_under(folder)
    seen: dict[str, tuple[int, int]] | None = None
    while True:
        began = clock()
        now = _stamps(paths)
        looking = clock() - began
        if now != seen:
            seen = now
            folders = [folder] if folder.is_dir() else []
            yield file_logs(database, paths, bench, folders=folders, copy_logs=copy_logs, compiled=compiled)
        sleep(max(every, looking / SHARE))
        if folder.is_dir():  # a USB stick may come back
            paths = logs_under(folder)


def _stamps(paths: list[Path]) -> dict[str, tuple[int, int]]:
    stamps: dict[str, tuple[int, int]] = {}
    for path in paths:
        try:
            status = os.stat(path)
        except OSError:
            continue
        stamps[str(path)] = (status.st_size, status.st_mtime_ns)
    return stamps
