"""The heads of the logs that this machine closed or left: a witness against a rewritten log or a restored backup.

It is one file of JSON lines in the data folder. A line that cannot be read is skipped. The file is on the same machine
as the logs, so it does not stop the owner of both. A build sheet in the customer's hand does.
"""

import os
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

import msgspec

from benchflow.base.atomic_write import atomic_write
from benchflow.base.regular_file import read_regular_file
from benchflow.session.log import lock
from benchflow.session.log.disk import Disk, write_all
from benchflow.session.log.line_format import Line
from benchflow.session.log.log_heads import (
    HeadComparison,
    KnownHead,
    compare_heads,
    comparison_text,
    head_of_log,
    is_same_log,
)

COMPACT_AT = 2_000_000
"""The size in bytes at which only the last head of each log is kept."""

_encode = msgspec.json.Encoder().encode
_decode = msgspec.json.Decoder(KnownHead).decode


class HeadMemory:
    """The heads that this machine remembers. A failure to write is not an error of the job."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def heads(self) -> list[KnownHead]:
        """The last head of each log, the oldest first."""
        try:
            data = read_regular_file(self.path)
        except OSError:
            return []
        found: dict[str, KnownHead] = {}
        for raw in data.split(b"\n"):
            with suppress(msgspec.DecodeError, UnicodeDecodeError, RecursionError):
                head = _decode(raw)
                found.pop(head.session, None)
                found[head.session] = head
        return list(found.values())

    def remember(self, lines: Sequence[Line], path: Path, at: str) -> None:
        """Remember the head of a log. A log that is behind a remembered head, or forked from it, changes nothing."""
        if not lines:
            return
        new = head_of_log(lines, path=str(path.absolute()), at=at)
        known = next((head for head in self.heads() if head.session == new.session), None)
        if known is not None and (compare_heads(new, known).status != "grown"):
            return
        with suppress(OSError, UnicodeEncodeError, lock.LockingUnsupported):
            self._append(_encode(new) + b"\n")

    def compare(self, lines: Sequence[Line], path: Path) -> tuple[KnownHead, HeadComparison] | None:
        """The remembered head of this log and how the log compares with it; ``None`` if there is none.

        A log is matched by its session, by its unit with its opening time, and by its path with one of these two: the
        name of a file alone may have been used again.
        """
        if not lines:
            return None
        log = head_of_log(lines, path=str(path.absolute()))
        heads = self.heads()
        by_session = [head for head in heads if head.session == log.session]
        by_unit = [head for head in heads if is_same_log(log, head)]
        by_path = [
            head
            for head in heads
            if head.path == log.path and (head.unit == log.unit or head.opened_at == log.opened_at)
        ]
        known = next(iter(by_session or by_unit or by_path), None)
        return None if known is None else (known, compare_heads(log, known))

    def warning(self, lines: Sequence[Line], path: Path) -> str:
        """What is remembered of a log that is behind that or forked from it, after its path; otherwise ""."""
        found = self.compare(lines, path)
        if found is None or found[1].status in ("same", "grown"):
            return ""
        log = head_of_log(lines, path=str(path.absolute()))
        return f"{path}: {comparison_text(log, *found, 'this machine')}"

    def _append(self, data: bytes) -> None:
        self.path.parent.mkdir(parents=True, exist_ok=True)
        flags = os.O_WRONLY | os.O_CREAT | os.O_APPEND | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
        fd = os.open(self.path, flags, 0o600)
        try:
            if not lock.acquire(fd):
                return
            if os.fstat(fd).st_size > COMPACT_AT:
                kept = b"".join(_encode(head) + b"\n" for head in self.heads())
                atomic_write(self.path, kept + data)
                return
            disk = Disk()
            write_all(disk, fd, b"" if _ends_whole(self.path) else b"\n")
            write_all(disk, fd, data)
            disk.sync(fd)
        finally:
            os.close(fd)


def _ends_whole(path: Path) -> bool:
    """True if the last line of the file is complete, or if the file is empty."""
    with path.open("rb") as file:
        if not file.seek(0, os.SEEK_END):
            return True
        file.seek(-1, os.SEEK_END)
        return file.read(1) == b"\n"
