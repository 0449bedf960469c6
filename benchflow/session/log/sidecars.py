"""Sidecar files of a log, for information only. If one cannot be written, the session continues without it.

A file or a link with such a name that this program did not make is left as it is.

``<name>.held``   who has the log open (the lock itself is in :mod:`benchflow.session.log.lock`)
``<name>.moved``  the path of the new file, after a running session was moved to another folder
"""

import os
import stat
import sys
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

import msgspec
from msgspec import Struct

from benchflow.base.atomic_write import atomic_write
from benchflow.base.regular_file import read_regular_file
from benchflow.session.log.timestamps import format_timestamp, local_time_of

_MOST_BYTES = 65_536
"""The most that is read of a sidecar file."""
_HOLDER_START = b'{"pid":'


class Holder(Struct, frozen=True):
    """A program that has a log open: process number, login name, machine, and start time (RFC 3339)."""

    pid: int
    user: str
    host: str
    since: str = ""

    @property
    def started(self) -> str:
        """``since`` in local time: ``15:55``, on another day ``2026-03-01 15:55``."""
        since = local_time_of(self.since)
        return f"{since:%H:%M}" if since.date() == datetime.now().date() else f"{since:%Y-%m-%d %H:%M}"

    @property
    def text(self) -> str:
        """The holder as text for people: ``root on vm (process 16441) since 15:55``."""
        since = f" since {self.started}" if self.since else ""
        return f"{self.user} on {self.host} (process {self.pid}){since}"


def write_holder(log: Path) -> None:
    """Record that this process has ``log`` open."""
    path = _holder_path(log)
    with suppress(OSError):
        if _may_replace(path, _is_holder):
            atomic_write(path, msgspec.json.encode(Holder(os.getpid(), _user(), _host())), durable=False)


def read_holder(log: Path) -> Holder | None:
    """The holder named in the sidecar file; ``None`` if there is none. After a crash it may be out of date."""
    path = _holder_path(log)
    try:
        holder = msgspec.json.decode(read_regular_file(path, _MOST_BYTES), type=Holder)
        since = datetime.fromtimestamp(path.stat().st_mtime, UTC)
    except (OSError, msgspec.DecodeError, UnicodeDecodeError, RecursionError, OverflowError, ValueError):
        return None
    return msgspec.structs.replace(holder, since=format_timestamp(since))


def remove_holder(log: Path) -> None:
    """Remove the record of the holder."""
    path = _holder_path(log)
    with suppress(OSError):
        if _may_replace(path, _is_holder):
            path.unlink(missing_ok=True)


def write_moved(log: Path, new_path: Path) -> None:
    """Record that the session of ``log`` continues in ``new_path``."""
    path = _moved_path(log)
    with suppress(OSError, UnicodeEncodeError):
        if _may_replace(path, _is_moved):
            atomic_write(path, str(new_path.absolute()).encode())


def moved_to(log: Path) -> Path | None:
    """The file in which the session of ``log`` continues; ``None`` if it was not moved."""
    try:
        content = read_regular_file(_moved_path(log), _MOST_BYTES)
        text = content.decode().strip()
    except (OSError, UnicodeDecodeError):
        return None
    return Path(text) if text and _is_moved(content) else None


def _may_replace(path: Path, is_own: Callable[[bytes], bool]) -> bool:
    """True if there is nothing at ``path``, or a file with content that this program made."""
    try:
        mode = path.lstat().st_mode
    except FileNotFoundError:
        return True
    return stat.S_ISREG(mode) and is_own(read_regular_file(path, _MOST_BYTES))


def _is_holder(content: bytes) -> bool:
    """True for a holder, also one that was not written to its end."""
    return content.startswith(_HOLDER_START) or _HOLDER_START.startswith(content)


def _is_moved(content: bytes) -> bool:
    """True for one absolute path."""
    text = content.decode("utf-8", "replace").strip()
    return not text or (len(text.splitlines()) == 1 and Path(text).is_absolute())


def _holder_path(log: Path) -> Path:
    return log.with_name(log.name + ".held")


def _moved_path(log: Path) -> Path:
    return log.with_name(log.name + ".moved")


def _user() -> str:
    import getpass  # imported late: it imports the terminal

    try:
        return getpass.getuser()
    except (KeyError, ImportError, OSError):  # a user without a name; the type depends on the system
        return "unknown user"


def _host() -> str:
    if sys.platform == "win32":  # pragma: no cover
        return os.environ.get("COMPUTERNAME", "this machine")
    return os.uname().nodename
