"""Reads log files, and says what is wrong if the system refuses to read or write one."""

import errno
import os
import stat
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from benchflow.base.errors import BenchflowError


class LogUnusable(BenchflowError):
    """The log cannot be opened or made."""


def must_be_a_file(path: Path) -> None:
    """Refuse a pipe or a device: reading it could block the program forever.

    Raises:
        LogUnusable: there is no regular file at ``path``.
    """
    try:
        mode = path.stat().st_mode
    except OSError as error:
        raise unreadable_log(path, error) from error
    if not stat.S_ISREG(mode):
        raise LogUnusable(f"{path} is not a regular file, so it is not a log. Choose another one.")


def read_bytes(path: Path, skip: int = 0) -> bytes:
    """The content of a log from byte ``skip`` on.

    Raises:
        LogUnusable: it is not a regular file, or cannot be read.
    """
    must_be_a_file(path)
    try:
        with path.open("rb") as file:
            file.seek(skip)
            return file.read()
    except OSError as error:
        raise unreadable_log(path, error) from error


def first_free(candidates: Iterator[Path]) -> Path:
    """The first of the paths at which there is no file and no link."""
    return next(path for path in candidates if not os.path.lexists(path))  # a link that leads nowhere counts


def remove_file(path: Path) -> None:
    """Remove a file if it exists and can be removed."""
    with suppress(OSError):
        path.unlink(missing_ok=True)


def system_message(error: OSError) -> str:
    """The system's own words for an error, in lower case."""
    return (error.strerror or str(error)).lower()


def unreadable_log(path: Path, error: OSError) -> LogUnusable:
    """The error for a log that is missing or cannot be read."""
    if error.errno in (errno.ENOENT, errno.ENOTDIR):
        return LogUnusable(f"There is no log at {path}. Check that its disk or memory stick is connected.")
    return LogUnusable(f"{path} cannot be read ({system_message(error)}). Check its permissions and its disk.")


def write_failure(path: Path, error: OSError) -> str:
    """Why a write to a log failed, and what to do."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return f"The disk of {path} is full. Free some space and try again, or choose another folder."
    if error.errno in (errno.EROFS, errno.EACCES, errno.EPERM):
        return f"{path} cannot be written any more. Change its permissions and try again, or choose another folder."
    return f"{path} cannot be written ({system_message(error)}). Try again, or choose another folder."
