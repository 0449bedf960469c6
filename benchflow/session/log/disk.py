"""The calls to the operating system that make a log durable.

They are methods of one object, so that a test can count them or make them fail.
"""

import errno
import os
from pathlib import Path

from benchflow.base.atomic_write import sync_file, sync_folder


class Disk:
    """Writes and syncs real files."""

    def write(self, fd: int, data: bytes | memoryview) -> int:
        """Write at least one byte of ``data``. Returns the number of bytes written, as ``os.write`` does."""
        return os.write(fd, data)

    def sync(self, fd: int) -> None:
        """Wait until the content and the length of an open file are on the disk."""
        sync_file(fd)

    def sync_folder(self, folder: Path) -> None:
        """Wait until names added to or removed from ``folder`` are on the disk."""
        sync_folder(folder)

    def truncate(self, fd: int, length: int) -> None:
        """Cut an open file to ``length`` bytes."""
        os.ftruncate(fd, length)


def write_all(disk: Disk, fd: int, data: bytes) -> None:
    """Write all bytes of ``data``.

    Raises:
        OSError: some bytes could not be written. Others may have been.
    """
    rest = memoryview(data)
    while rest:
        written = disk.write(fd, rest)
        if written <= 0:
            raise OSError(errno.EIO, "the disk accepts no more data")
        rest = rest[written:]
