"""The few calls to the operating system that the log's promises hang on.

They are one small object, so that a test can count them, or make one of them fail, around real files.
"""

import errno
import os
from pathlib import Path

from benchflow.base.atomic_write import sync_file, sync_folder


class Disk:
    def write(self, fd: int, data: bytes | memoryview) -> int:
        """As ``os.write``: may take less than all of it."""
        return os.write(fd, data)

    def sync(self, fd: int) -> None:
        """Return when the bytes and the length of an open file are on the disk."""
        sync_file(fd)

    def sync_folder(self, folder: Path) -> None:
        """Return when names added to or removed from ``folder`` are on the disk."""
        sync_folder(folder)

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
