"""Replaces a file completely or not at all."""

import errno
import os
import stat
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

NEW_FILE_MODE = 0o666
"""Permissions of a new file, before the umask of the process."""


class Unconfirmed(OSError):
    """The file was replaced, but the disk did not confirm it: after a power failure the old one may be back."""


def sync_file(fd: int) -> None:
    """Wait until the content and the length of an open file are on the disk.

    Raises:
        OSError: the disk reports a failure.
    """
    if sys.platform == "darwin":  # pragma: no cover  # fsync stops at the cache of the drive there
        import fcntl

        fcntl.fcntl(fd, fcntl.F_FULLFSYNC)
    elif sys.platform == "win32":  # pragma: no cover
        os.fsync(fd)
    else:
        os.fdatasync(fd)  # POSIX: includes the length, not the timestamps


def sync_folder(folder: Path) -> None:
    """Wait until names added to or removed from ``folder`` are on the disk.

    Raises:
        OSError: the disk reports a failure.
    """
    if sys.platform == "win32":  # pragma: no cover  # a folder cannot be opened there
        return
    fd = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(fd)
    except OSError as error:
        if error.errno != errno.EINVAL:  # EINVAL: this file system cannot sync a folder
            raise
    finally:
        os.close(fd)


def atomic_write(
    path: Path,
    data: bytes,
    *,
    mode: int | None = None,
    durable: bool = True,
    before_replace: Callable[[], None] | None = None,
    sync: Callable[[int], None] = sync_file,
    sync_names: Callable[[Path], None] = sync_folder,
) -> None:
    """Write ``data`` to a temporary file in the same folder, sync it, and rename it to ``path``.

    A symbolic link at ``path`` is replaced by the file. To keep the link, pass ``path.resolve()``. ``mode`` is the
    permission bits of the result; by default those of the file that is replaced, or :data:`NEW_FILE_MODE` less the
    umask for a new file. ``durable=False`` skips both syncs, for a file that may be lost in a power cut.
    ``before_replace`` is called when the temporary file is complete; if it raises, ``path`` is unchanged. ``sync``
    and ``sync_names`` replace the two system calls in tests.

    Raises:
        Unconfirmed: the file was replaced, but the last sync failed.
        OSError: the file cannot be written, and ``path`` is unchanged.
    """
    if mode is None:
        mode = _mode_of(path)
    temporary = path.with_name(f".{path.name[:40]}.{os.urandom(8).hex()}.part")
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
    fd = os.open(temporary, flags, NEW_FILE_MODE if mode is None else 0o600)
    try:
        with open(fd, "wb") as file:
            file.write(data)
            file.flush()
            if durable:
                sync(fd)
        if mode is not None:
            os.chmod(temporary, mode)
        if before_replace is not None:
            before_replace()
        os.replace(temporary, path)
    except BaseException:
        with suppress(OSError):
            os.unlink(temporary)
        raise
    if not durable:
        return
    try:
        sync_names(path.parent)
    except OSError as error:
        raise Unconfirmed(error.errno, error.strerror, str(path)) from error


def _mode_of(path: Path) -> int | None:
    """The permission bits of a regular file at ``path``; ``None`` if there is none."""
    try:
        mode = os.lstat(path).st_mode
    except FileNotFoundError:
        return None
    return stat.S_IMODE(mode) & 0o777 if stat.S_ISREG(mode) else None
