"""The few calls to the operating system that the log's promises hang on.

They are one small object, so that a test can count them, or make one of them fail, around real files.
"""

import errno
import os
import sys
from pathlib import Path

if sys.platform == "darwin":  # pragma: no cover
    import fcntl


class Disk:
    def write(self, fd: int, data: bytes | memoryview) -> int:
        """As ``os.write``: may take less than all of it."""
        return os.write(fd, data)

    def sync(self, fd: int) -> None:
        """Return when the file's bytes and its length are on the disk itself."""
        if sys.platform == "darwin":  # pragma: no cover  # fsync there stops at the drive's own cache
            fcntl.fcntl(fd, fcntl.F_FULLFSYNC)
        elif sys.platform == "win32":  # pragma: no cover
            os.fsync(fd)
        else:
            os.fdatasync(fd)  # on a POSIX system: the length too, the times not

    def sync_folder(self, folder: Path) -> None:
        """Return when a name made or removed in ``folder`` is on the disk itself."""
        if sys.platform == "win32":  # pragma: no cover  # folders cannot be opened; the system sees to it
            return
        fd = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(fd)
        except OSError as wrong:
            if wrong.errno != errno.EINVAL:  # a file system without such a promise to give
                raise
        finally:
            os.close(fd)

    def truncate(self, fd: int, length: int) -> None:
        os.ftruncate(fd, length)


def write_all(disk: Disk, fd: int, data: bytes) -> None:
    """Write every byte, or raise ``OSError``; some may then have been written."""
    rest = memoryview(data)
    while rest:
        taken = disk.write(fd, rest)
        if taken <= 0:
            raise OSError(errno.EIO, "the disk takes no more")
        rest = rest[taken:]
