"""Following a folder: what is new or has grown is filed a moment later."""

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
"""Looking takes no more than this part of the time, however large the folder."""


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
    """File the folder now, and again whenever a log in it changes; each time it did, say what came of it.

    It ends when ``sleep`` raises. A look costs a ``stat`` of each log; nothing is opened that has not changed.
    Raises :class:`benchflow.review.log.log_file.NoLog` when the folder is not there to begin with; later it is waited
    for.
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
        if folder.is_dir():  # a stick that was pulled out comes back
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
