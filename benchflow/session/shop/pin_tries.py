"""The last wrong PIN for a register, noted in its lock file, so that a job and another program make each other wait."""

import errno
import json
import os
import stat
from contextlib import suppress
from pathlib import Path

from benchflow.session.state.clock import PIN_WAIT, Now, wall_ms

_LONGEST = 200  # bytes of a note


def open_lock_file(register: Path, create: int = os.O_CREAT) -> int:
    """Open the lock file of a register; the caller closes it. A symbolic link is not followed.

    Raises:
        OSError: it cannot be opened, or is not a file.
    """
    flags = create | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    fd = os.open(register.with_name(register.name + ".lock"), os.O_RDWR | flags, 0o600)
    if not stat.S_ISREG(os.fstat(fd).st_mode):
        os.close(fd)
        raise OSError(errno.EINVAL, f"{register.name}.lock is not a file")
    return fd


def has_to_wait(lock_file: int, now: Now) -> bool:
    """True if the last wrong PIN is less than :data:`PIN_WAIT` seconds ago.

    After a restart of the machine, the wait is over. A note that cannot be read counts as none.
    """
    try:
        os.lseek(lock_file, 0, os.SEEK_SET)
        noted = json.loads(os.read(lock_file, _LONGEST))
        boot, ms = str(noted["boot"]), int(noted["ms"])
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return False
    return boot == now.boot and 0 <= _ms(now) - ms < PIN_WAIT * 1000


def note_try(lock_file: int, now: Now) -> None:
    """Note a try that is or may be wrong."""
    _write(lock_file, json.dumps({"at": now.at, "boot": now.boot, "ms": _ms(now)}))


def clear_tries(lock_file: int) -> None:
    """Remove the note, after a right PIN."""
    _write(lock_file, "")


def note_wrong_pin(register: Path, now: Now) -> None:
    """Note a wrong PIN for a register. Where the lock file cannot be written, only the log has the try."""
    with suppress(OSError):
        fd = open_lock_file(register)
        try:
            note_try(fd, now)
        finally:
            os.close(fd)


def wrong_pin_waits(register: Path, now: Now) -> bool:
    """True if the last wrong PIN for a register, in any program, is less than :data:`PIN_WAIT` seconds ago."""
    with suppress(OSError):
        fd = open_lock_file(register, create=0)
        try:
            return has_to_wait(fd, now)
        finally:
            os.close(fd)
    return False


def _ms(now: Now) -> int:
    """The boot clock in milliseconds; the wall clock where there is no boot clock."""
    return now.ms if now.boot else wall_ms(now.at)


def _write(lock_file: int, text: str) -> None:
    os.ftruncate(lock_file, 0)
    os.lseek(lock_file, 0, os.SEEK_SET)
    os.write(lock_file, text.encode())
