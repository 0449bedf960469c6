"""Logs to test with, and a disk whose calls can be counted or made to fail."""

import errno
import json
import os
from collections.abc import Callable, Sequence
from hashlib import sha256
from pathlib import Path
from typing import Any

import rfc8785

from benchflow.session.log.disk import Disk
from benchflow.session.log.journal import Draft, Journal

AT = "2026-03-01T18:30:00.000Z"


def draft(number: int = 0, **more: Any) -> Draft:
    return Draft(AT, "R.", "noted", {"text": f"note {number}, 60 N·m", **more})


def write_log(path: Path, events: int) -> bytes:
    """A good log of so many events, closed; its bytes."""
    with Journal.create(path) as journal:
        for number in range(events):
            journal.append([draft(number)])
    return path.read_bytes()


def foreign_log(bodies: Sequence[dict[str, Any]], dump: Callable[[Any], str] = json.dumps) -> bytes:
    """A log by another writer, made with nothing of ours: chained and hashed as the form asks, spelled by ``dump``."""
    prev = "0" * 64
    pieces = []
    for seq, data in enumerate(bodies, start=1):
        line: dict[str, Any] = {"kind": "noted", "seq": seq, "prev": prev, "data": data, "by": "R.", "at": AT}
        prev = sha256(rfc8785.dumps(line)).hexdigest()
        pieces.append(dump({"hash": prev, **line}).encode() + b"\n")
    return b"".join(pieces)


class Trouble(Disk):
    """Real files; writes down each call, and fails those named in ``failing`` with ``error``."""

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
