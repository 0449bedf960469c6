"""Finds the logs in a folder, and names each entry that looks like a log and cannot be read.

Anything can be in a folder: a pipe, a socket, a device, a link that leads nowhere, a name that is not UTF-8. None of
these is opened.
"""

import errno
import os
import stat
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TypeVar

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line

SUFFIX = ".jsonl"
"""The end of the name of a log."""

Result = TypeVar("Result")

_KINDS = (
    (stat.S_ISDIR, "is a folder, not a file"),
    (stat.S_ISFIFO, "is a pipe, not a file"),
    (stat.S_ISSOCK, "is a socket, not a file"),
    (stat.S_ISCHR, "is a device, not a file"),
    (stat.S_ISBLK, "is a device, not a file"),
)


class SkippedFile(Struct, frozen=True):
    """A file that is skipped. ``why`` is a clause that follows its path."""

    path: Path
    why: str


class FolderContent(Struct, frozen=True):
    """The logs in a folder, and the entries named like a log that are skipped. Both in the order of their paths."""

    logs: tuple[Path, ...]
    skipped: tuple[SkippedFile, ...]


def folder_content(folder: Path, *, subfolders: bool = False) -> FolderContent:
    """The logs in ``folder``; with ``subfolders`` also those below it. Links to folders are not followed.

    Raises:
        OSError: the folder itself cannot be read.
    """
    logs: list[Path] = []
    skipped: list[SkippedFile] = []
    entries = [*_entries(folder)]
    while entries:
        path, is_folder = entries.pop()
        if is_folder and subfolders:
            try:
                entries += _entries(path)
            except OSError as error:
                skipped.append(SkippedFile(path, why_unreadable(error)))
                continue
        if path.name.endswith(SUFFIX):
            why = why_not_a_file(path)
            if not why:
                logs.append(path)
            else:
                skipped.append(SkippedFile(path, why))
    return FolderContent(tuple(sorted(logs)), tuple(sorted(skipped, key=lambda each: each.path)))


def _entries(folder: Path) -> Iterator[tuple[Path, bool]]:
    """The entries of a folder, each with true if it is a folder and not a link to one."""
    with os.scandir(folder) as found:
        listed = [(folder / each.name, each.is_dir(follow_symlinks=False)) for each in found]
    return iter(listed)


TEARDOWN_OPENED = "teardown-opened"
"""The kind of the first event of a teardown log (:mod:`benchflow.session.teardown.teardown_events`)."""
NOT_A_JOB = (
    "is the log of a teardown, not of a job; show it with benchflow log, what to order and ask with "
    "benchflow teardown --lists, draft a procedure with benchflow draft"
)
"""Why a teardown log is refused where a job is wanted, as a clause that follows its path."""
_HEAD = 65_536  # bytes; the first line of a teardown log is much shorter, that of a job is often longer
_TEARDOWN_MEMBER = f',"kind":"{TEARDOWN_OPENED}",'.encode()  # quotes in a text are escaped, so no other line has it


def is_teardown_log(path: Path) -> bool:
    """True if the first line of a file is that of a teardown. False if it cannot be read. Its hash is not checked."""
    if why_not_a_file(path):
        return False
    try:
        with path.open("rb") as file:
            first, newline, _ = file.read(_HEAD).partition(b"\n")
    except OSError:
        return False
    return bool(newline) and begins_teardown(first)


def begins_teardown(first: bytes) -> bool:
    """True if the first line of a log is that of a teardown. Its hash is not checked."""
    return _TEARDOWN_MEMBER in first


def why_not_a_file(path: Path) -> str:
    """The reason why ``path`` is not a regular file, as a clause that follows it; "" if it is one."""
    try:
        mode = path.stat().st_mode
    except OSError as error:
        return why_unreadable(error, is_link=path.is_symlink())
    return next((why for is_kind, why in _KINDS if is_kind(mode)), "" if stat.S_ISREG(mode) else "is not a file")


def why_unreadable(error: OSError, *, is_link: bool = False) -> str:
    """The reason in an error of the system, as a clause that follows the path. ``is_link``: the path is a link."""
    if error.errno == errno.ELOOP:
        return "is a link that leads back to itself"
    if error.errno == errno.ENOENT and is_link:
        return "is a link to a file that does not exist"
    return f"cannot be read: {(error.strerror or str(error)).lower()}"


def read_or_skip(path: Path, read: Callable[[Path], Result]) -> Result | SkippedFile:
    """The result of ``read`` for one file of a list; if that fails for any reason, the file as skipped.

    No file in a folder may end the program. So this is one of the two places that catch every error.
    """
    try:
        return read(path)
    except OSError as error:
        return SkippedFile(path, why_unreadable(error))
    except RecursionError:
        return SkippedFile(path, "is nested too deeply to be a log")
    except BenchflowError as error:
        message = clean_line(str(error)).removesuffix(".")
        own = message.removeprefix(f"{path} ")  # the message may begin with the path already
        return SkippedFile(path, own if own != message else f"cannot be read: {message}")
    except Exception as error:  # noqa: BLE001 - BORDER: one file of a list
        return SkippedFile(path, f"cannot be read: internal error ({type(error).__name__}: {clean_line(str(error))})")
