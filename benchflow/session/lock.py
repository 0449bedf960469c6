"""One writer a log: a lock of the operating system on the log file itself, and a note of who holds it.

The lock decides, and falls away with the process that held it, however that ends. The note beside the
log (``<name>.held``) only says who; one that was left behind by a crash means nothing without the lock.
"""

import errno
import os
import socket
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import msgspec
from msgspec import Struct

from benchflow.errors import BenchflowError
from benchflow.session.moment import format as written

if sys.platform == "win32":  # pragma: no cover
    import msvcrt
else:
    import fcntl

_TRIES = 5
_PAUSE = 0.01  # seconds; somebody listing the sessions holds a log for far less
_FAR = 2**62  # Windows locks bytes against reading too, so one is locked where no byte will ever be


class Holder(Struct, frozen=True):
    """Who writes a log: process number, login name, machine, and since when (RFC 3339)."""

    pid: int
    user: str
    host: str
    since: str = ""

    @property
    def words(self) -> str:
        since = f" since {self.since}" if self.since else ""
        return f"{self.user} on {self.host} (process {self.pid}){since}"


class NoLocks(BenchflowError):
    """The file system cannot lock files, so it cannot be made sure that only one program writes."""


def take(fd: int) -> bool:
    """Lock the open file for writing until it is closed; ``False`` when another program holds it."""
    for attempt in range(_TRIES):
        if attempt:
            time.sleep(_PAUSE)
        if _lock(fd, shared=False):
            return True
    return False


def is_held(path: Path) -> Holder | None:
    """Who is writing the log right now, or ``None``. Reads only; costs next to nothing when nobody does."""
    note = read_note(path)
    if note is None:
        return None
    try:
        fd = os.open(path, os.O_RDONLY)
    except OSError:
        return None
    try:
        return None if _lock(fd, shared=True) else note
    except NoLocks:
        return None
    finally:
        os.close(fd)


def _lock(fd: int, *, shared: bool) -> bool:
    try:
        if sys.platform == "win32":  # pragma: no cover
            os.lseek(fd, _FAR, os.SEEK_SET)
            msvcrt.locking(fd, msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(fd, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)
    except OSError as wrong:
        if wrong.errno in (errno.EWOULDBLOCK, errno.EACCES, errno.EDEADLK):
            return False
        raise NoLocks(f"files cannot be locked in this place ({wrong.strerror})") from wrong
    return True


def note_path(path: Path) -> Path:
    return path.with_name(path.name + ".held")


def leave_note(path: Path) -> None:
    """Write down who holds ``path``. A place where that fails still has its lock; only the words are missing."""
    holder = Holder(os.getpid(), _user(), socket.gethostname())
    try:
        note_path(path).write_bytes(msgspec.json.encode(holder))
    except OSError:
        return


def read_note(path: Path) -> Holder | None:
    note = note_path(path)
    try:
        holder = msgspec.json.decode(note.read_bytes(), type=Holder)
        since = datetime.fromtimestamp(note.stat().st_mtime, UTC)
    except (OSError, msgspec.DecodeError):
        return None
    return msgspec.structs.replace(holder, since=written(since))


def remove_note(path: Path) -> None:
    try:
        note_path(path).unlink(missing_ok=True)
    except OSError:
        return


def _user() -> str:
    import getpass  # late: it brings the terminal along

    try:
        return getpass.getuser()
    except (KeyError, ImportError, OSError):  # a user number without a name; which one depends on the system
        return "somebody"
