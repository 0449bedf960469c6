"""A disk on which a test can count calls and make them fail."""

import errno
import os
from pathlib import Path

from benchflow.session.log.disk import Disk


class FailingDisk(Disk):
    """Works on real files and lists each call in ``calls``. A call named in ``failing`` raises ``error``."""

    def __init__(self) -> None:
        self.calls: list[str] = []
        self.failing: set[str] = set()
        self.error = errno.EIO
        self.free_bytes: int | None = None  # None: no limit

    def _count(self, call: str) -> None:
        self.calls.append(call)
        if call in self.failing:
            raise OSError(self.error, os.strerror(self.error))

    def write(self, fd: int, data: bytes | memoryview) -> int:
        self._count("write")
        if self.free_bytes is None:
            return super().write(fd, data)
        if not self.free_bytes:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        written = super().write(fd, data[: self.free_bytes])
        self.free_bytes -= written
        return written

    def sync(self, fd: int) -> None:
        self._count("sync")
        super().sync(fd)

    def sync_folder(self, folder: Path) -> None:
        self._count("sync_folder")
        super().sync_folder(folder)

    def truncate(self, fd: int, length: int) -> None:
        self._count("truncate")
        super().truncate(fd, length)
