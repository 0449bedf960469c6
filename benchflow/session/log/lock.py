"""One writer per log: an operating-system lock on the log file itself.

The operating system releases the lock when the process ends, also after a crash. The sidecar file names who
has the log open; after a crash it stays, but does not lock the log.
"""

import errno
import os
import sys
import time
from pathlib import Path

from benchflow.base.errors import BenchflowError
from benchflow.session.log.sidecars import Holder, read_holder

if sys.platform == "win32":  # pragma: no cover
    import msvcrt
else:
    import fcntl

_TRIES = 5
_PAUSE = 0.01  # seconds; a list of logs locks each of them for a much shorter time
_LOCKED_BYTE = 2**62  # past the end of any log, because Windows also locks bytes against reading


class LockingUnsupported(BenchflowError):
    """The file system cannot lock files, so two programs could write to the same log."""


def acquire(fd: int) -> bool:
    """Lock an open file for writing until it is closed. Returns false if another program has locked it.

    Raises:
        LockingUnsupported: the file system cannot lock files.
    """
    for attempt in range(_TRIES):
        if attempt:
            time.sleep(_PAUSE)
        if _lock(fd, shared=False):
            return True
    return False


def current_holder(path: Path) -> Holder | None:
    """The program that has the log open for writing now; ``None`` if there is none. The log is not changed."""
    holder = read_holder(path)
    if holder is None:
        return None
    try:
        fd = os.open(path, os.O_RDONLY)
    except OSError:
        return None
    try:
        return None if _lock(fd, shared=True) else holder
    except LockingUnsupported:
        return None
    finally:
        os.close(fd)


def _lock(fd: int, *, shared: bool) -> bool:
    try:
        if sys.platform == "win32":  # pragma: no cover
            os.lseek(fd, _LOCKED_BYTE, os.SEEK_SET)
            msvcrt.locking(fd, msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(fd, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)
    except OSError as error:
        if error.errno in (errno.EWOULDBLOCK, errno.EACCES, errno.EDEADLK):
            return False
        raise LockingUnsupported(f"files in this folder cannot be locked ({error.strerror})") from error
    return True
