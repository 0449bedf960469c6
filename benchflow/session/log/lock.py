"""One writer per log: an operating-system lock on the log file itself.

The lock ends with the process that holds it, however that ends. The sidecar file only says who holds it: after a
crash it means nothing without the lock.
"""

import errno
import os
import sys
import time
from pathlib import Path

from benchflow.base.errors import BenchflowError
from benchflow.session.log.sidecars import Holder, holder_of

if sys.platform == "win32":  # pragma: no cover
    import msvcrt
else:
    import fcntl

_TRIES = 5
_PAUSE = 0.01  # seconds; listing the sessions holds the lock of a log for much less
_FAR = 2**62  # a byte past any log: Windows locks bytes against reading too


class NoLocks(BenchflowError):
    """The file system cannot lock files, so that two programs could write."""


def take(fd: int) -> bool:
    """Lock the open file for writing until it is closed; ``False`` when another program holds it."""
    for attempt in range(_TRIES):
        if attempt:
            time.sleep(_PAUSE)
        if _lock(fd, shared=False):
            return True
    return False


def is_held(path: Path) -> Holder | None:
    """Who is writing the log now, or ``None``. Reads only, and is fast where nobody does."""
    holder = holder_of(path)
    if holder is None:
        return None
    try:
        fd = os.open(path, os.O_RDONLY)
    except OSError:
        return None
    try:
        return None if _lock(fd, shared=True) else holder
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
        raise NoLocks(f"files cannot be locked in this folder ({wrong.strerror})") from wrong
    return True
