"""The file of internal errors: each with its time, version and traceback, and without values of variables."""

import traceback
from datetime import datetime
from pathlib import Path

from benchflow import __version__
from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean
from benchflow.session.machine_folders import machine_folders, make_folder

FILE = "crashes.txt"
_MOST_BYTES = 1_000_000
"""A larger file is replaced by a new one."""


def keep_crash(error: BaseException) -> Path | None:
    """Add an error to the file, and return its path; ``None`` if it cannot be written."""
    trace = "".join(traceback.format_tb(error.__traceback__))
    time = datetime.now().astimezone().isoformat(timespec="seconds")
    text = f"{time}, benchflow {__version__}\n{trace}{type(error).__name__}: {str(error)[:500]}\n\n"
    try:
        path = make_folder(machine_folders().data) / FILE
        if path.exists() and not path.is_file():  # a pipe would wait
            return None
        too_large = path.exists() and path.stat().st_size > _MOST_BYTES
        with path.open("w" if too_large else "a", encoding="utf-8", errors="backslashreplace") as file:
            file.write(clean(text))
    except (OSError, BenchflowError):
        return None
    return path
