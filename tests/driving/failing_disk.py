"""A disk whose calls a test can count or make fail."""

import errno
import os
from pathlib import Path

from benchflow.session.log.disk import Disk


class FailingDisk(Disk):
    """Works on real files, lists each call in ``calls``, and fails those named in ``failing`` with ``error``."""

    def __init__(self) -> None:
        self.calls: list[str] = []
        self.failing: set[str] = set()
        self.error = errno.EIO
        self.room: int | None = None  # bytes that still fit, when it matters

    def _note(self, call: str) -> None:
        self.calls.append(call)
        if call in self.failing:
            raise OSError(self.error, os.strerror(self.error))

    def write(self, fd: int, data: bytes | memoryview) -> int:
        self._note("write")
        if self.room is None:
            return super().write(fd, data)
        if not self.room:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        taken = super().write(fd, data[: self.room])
        self.room -= taken
        return taken

    def sync(self, fd: int) -> None:
        self._note("sync")
        super().sync(fd)

    def sync_folder(self, folder: Path) -> None:
        self._note("sync_folder")
        super().sync_folder(folder)

    def truncate(self, fd: int, length: int) -> None:
        self._note("truncate")
        super().truncate(fd, length)
