"""Watches a folder and files its new and changed logs."""

import os
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

from benchflow.review.archive.database import Database
from benchflow.review.archive.filing import file_logs
from benchflow.review.archive.filing_report import FilingReport
from benchflow.review.log.log_file import logs_under

INTERVAL: Final = 2.0
"""The shortest time between two checks, in seconds."""
MAX_SHARE: Final = 0.02
"""The largest part of the time that may be spent on checking the folder."""


def watch(
    database: Database,
    folder: Path,
    bench: str,
    *,
    copy_logs: bool = False,
    audited: bool = False,
    compiled: Path | None = None,
    every: float = INTERVAL,
    sleep: Callable[[float], None] = time.sleep,
    clock: Callable[[], float] = time.monotonic,
) -> Iterator[FilingReport]:
    """File the folder now and after every change of a log in it; yields a report each time.

    The loop ends when ``sleep`` raises. A check is one ``stat`` per log; only changed logs are opened. A folder that
    disappears, such as a USB stick, may come back.

    Raises:
        NoLog: there is no such folder at the start.
    """
    paths = logs_under(folder, teardowns=True)
    stamps: dict[str, tuple[int, int]] | None = None
    while True:
        began = clock()
        now = _file_stamps(paths)
        checking = clock() - began
        if now != stamps:
            stamps = now
            folders = [folder] if folder.is_dir() else []
            yield file_logs(
                database, paths, bench, folders=folders, copy_logs=copy_logs, audited=audited, compiled=compiled
            )
        sleep(max(every, checking / MAX_SHARE))
        if folder.is_dir():  # a USB stick may come back
            paths = logs_under(folder, teardowns=True)


def _file_stamps(paths: list[Path]) -> dict[str, tuple[int, int]]:
    found: dict[str, tuple[int, int]] = {}
    for path in paths:
        try:
            status = os.stat(path)
        except OSError:
            continue
        found[str(path)] = (status.st_size, status.st_mtime_ns)
    return found
