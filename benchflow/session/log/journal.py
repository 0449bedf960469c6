"""The log on disk: one file per session, append only; every event is durable before it is reported as saved.

The format of a line is in :mod:`benchflow.session.log.line_format`. One thread at a time uses a journal.
"""

import errno
import os
import stat
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, suppress
from itertools import chain, count
from pathlib import Path
from types import TracebackType
from typing import Self

from msgspec import Struct

from benchflow.base.errors import BenchflowError, InternalError
from benchflow.session.log import lock, sidecars
from benchflow.session.log.disk import Disk, write_all
from benchflow.session.log.line_format import ZEROS, Damage, Draft, Line, read, seal

__all__ = ["Damage", "Draft", "Journal", "Line", "LogChanged", "LogUnusable", "NotSaved", "Verified", "verify"]

_BINARY = getattr(os, "O_BINARY", 0)
_WRITING = os.O_RDWR | os.O_APPEND | _BINARY


class NotSaved(BenchflowError):
    """The entry is not in the log. It can be tried again, or the log moved to another folder."""


class LogUnusable(BenchflowError):
    """The log cannot be opened or made."""


class LogChanged(BenchflowError):
    """A log that is being watched no longer starts with the lines read from it: open it again."""


class Verified(Struct, frozen=True):
    """The result of checking a log. ``events`` and ``head`` describe the valid part: all if ``damage`` is ``None``.

    ``torn``: an incomplete last line follows it.
    """

    events: int
    damage: Damage | None
    torn: bool
    head: str


def verify(path: Path) -> Verified:
    """Check every line of a log. Reads only.

    Raises:
        LogUnusable: it cannot be read.
    """
    found = read(_bytes_of(path))
    head = found.lines[-1].hash if found.lines else ZEROS
    return Verified(len(found.lines), found.damage, bool(found.tail), head)


class Journal:
    """An open log, made by :meth:`create` or :meth:`open`.

    ``lines``      the events before any damage;
    ``read_only``  empty if the log can be written, otherwise the reason why not;
    ``damage``     the damage, if there is any;
    ``torn``       the file to which an incomplete last line was moved when the log was opened, if there was one.
    """

    def __init__(self, path: Path, disk: Disk) -> None:
        self.path = path
        self.lines: list[Line] = []
        self.read_only = ""
        self.damage: Damage | None = None
        self.torn: Path | None = None
        self._disk = disk
        self._known = bytearray()  # the bytes of `lines` in the file
        self._fd: int | None = None  # locked; None if the log cannot be reached or written
        self._unsure = b""  # bytes that may follow `_known` in the file after a failed write
        self._closed = False

    # --- opening --------------------------------------------------------------------------------

    @classmethod
    def create(cls, path: Path, disk: Disk | None = None) -> Self:
        """Make a new, empty log, durably. Its folder must exist.

        Raises:
            LogUnusable: it exists already or cannot be made.
        """
        return cls._create(path, disk or Disk(), b"")

    @classmethod
    def open(cls, path: Path, *, read_only: bool = False, disk: Disk | None = None) -> Self:
        """Open an existing log and verify all of it.

        It is opened for writing unless ``read_only`` is set, another program holds it, it must not be written, or it
        is damaged. A writer moves an incomplete last line to a file of its own; a reader leaves it.

        Raises:
            LogUnusable: there is no log to read.
        """
        journal = cls(path, disk or Disk())
        _must_be_a_file(path)
        with ExitStack() as on_failure:
            on_failure.callback(journal.close)
            if read_only:
                journal.read_only = "opened for reading only"
            else:
                journal._open_to_write()
            journal._load()
            on_failure.pop_all()
        return journal

    @classmethod
    def _create(cls, path: Path, disk: Disk, content: bytes) -> Self:
        journal = cls(path, disk)
        try:
            journal._fd = fd = os.open(path, _WRITING | os.O_CREAT | os.O_EXCL, 0o666)
        except FileExistsError:
            raise LogUnusable(f"{path} already exists. Continue it, or choose another name.") from None
        except FileNotFoundError:
            raise LogUnusable(f"There is no folder {path.parent}. Make it, or choose another one.") from None
        except OSError as wrong:
            raise LogUnusable(f"No log can be made in {path.parent}: {_words(wrong)}.") from wrong
        with ExitStack() as on_failure:
            on_failure.callback(_remove, path)
            on_failure.callback(journal.close)
            try:
                if not lock.take(fd):
                    raise LogUnusable(f"{path} was taken by another program just now. Try again.")
                write_all(disk, fd, content)
                disk.sync(fd)
                disk.sync_folder(path.parent)
            except OSError as wrong:
                raise LogUnusable(f"No log can be made in {path.parent}: {_words(wrong)}.") from wrong
            sidecars.leave_holder(path)
            journal._load()
            on_failure.pop_all()
        return journal

    def _open_to_write(self) -> None:
        """Lock the file and keep it in ``_fd``, or set the reason why not in ``read_only``."""
        try:
            fd = os.open(self.path, _WRITING)
        except OSError as wrong:
            if wrong.errno not in (errno.EACCES, errno.EPERM, errno.EROFS):
                raise _unusable(self.path, wrong) from wrong
            self.read_only = f"it cannot be written: {_words(wrong)}"
            return
        try:
            if lock.take(fd):
                sidecars.leave_holder(self.path)
                self._fd = fd
                return
            holder = sidecars.holder_of(self.path)
            self.read_only = f"this job is open in another window{f' since {holder.started}' if holder else ''}"
        except lock.NoLocks as wrong:
            self.read_only = str(wrong)
        os.close(fd)

    def _load(self) -> None:
        data = _bytes_of(self.path)
        found = read(data)
        self.lines, self.damage = found.lines, found.damage
        self._known = bytearray(data[: found.length])
        if self._fd is None:
            return
        if found.damage:
            self._only_read(f"line {found.damage.line} {found.damage.what}")
        elif found.tail:
            self._put_aside(self._fd, found.tail)

    def _put_aside(self, log: int, tail: bytes) -> None:
        """Move an incomplete last line to a file next to the log; it is on disk before it is cut from the log."""
        kept = _free(self.path.with_name(f"{self.path.name}.torn-{number}") for number in count(1))
        try:
            fd = os.open(kept, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _BINARY, 0o666)
            try:
                write_all(self._disk, fd, tail)
                self._disk.sync(fd)
            finally:
                os.close(fd)
            self._disk.sync_folder(kept.parent)
            self._disk.truncate(log, len(self._known))
            self._disk.sync(log)
        except OSError as wrong:
            self._only_read(f"its last line is incomplete and cannot be moved away: {_words(wrong)}")
            return
        self.torn = kept

    def _only_read(self, why: str) -> None:
        self._release()
        self.read_only = why

    # --- use ------------------------------------------------------------------------------------

    @property
    def head(self) -> str:
        """The hash of the last line; 64 zeros while there is none. It is the fingerprint of the whole log."""
        return self.lines[-1].hash if self.lines else ZEROS

    def append(self, drafts: Sequence[Draft]) -> tuple[Line, ...]:
        """Write the events to disk in one piece. They are durable when this returns.

        Raises:
            NotSaved: they are not saved. The file is cut back to its last complete event; if that fails too, it is
                opened and verified again before the next write.
            InternalError: an event must not be logged, such as one with a float.
        """
        self._must_be_ours()
        if not drafts:
            return ()
        lines, data = seal(drafts, self.lines[-1] if self.lines else None)
        fd = self._fd
        if fd is None or self._unsure or not self._in_place(fd):
            fd = self._take_again()
        try:
            write_all(self._disk, fd, data)
            self._disk.sync(fd)
        except OSError as wrong:
            self._back_to_known(fd, data)
            raise NotSaved(f"The entry was not saved: {_trouble(self.path, wrong)}") from wrong
        self._known += data
        self.lines.extend(lines)
        return lines

    def _must_be_ours(self) -> None:
        if self.read_only:
            raise NotSaved(f"Nothing was saved: {self.path} is open for reading only ({self.read_only}).")
        if self._closed:
            raise InternalError(f"{self.path} is closed")

    def _in_place(self, fd: int) -> bool:
        """Whether the open file is still the one at ``path`` and has the expected size."""
        try:
            here, there = os.fstat(fd), os.stat(self.path)
        except OSError:
            return False
        return os.path.samestat(here, there) and here.st_size == len(self._known)

    def _take_again(self) -> int:
        """Open the file again: a memory stick is back, or the end of a failed write could not be cut off."""
        self._release()
        try:
            again = type(self).open(self.path, disk=self._disk)
        except LogUnusable as wrong:
            raise NotSaved(f"The entry was not saved. {wrong} Or choose another folder.") from wrong
        with ExitStack() as on_failure:
            on_failure.callback(again.close)
            fd = again._fd
            if fd is None or not self._is_ours(again._known):
                raise NotSaved(
                    f"The entry was not saved: {self.path} has been changed by something else "
                    f"({again.read_only or 'it holds other events'}). Leave the job and open it again, "
                    "or choose another folder."
                )
            try:
                self._disk.truncate(fd, len(self._known))
                self._disk.sync(fd)
            except OSError as wrong:
                raise NotSaved(f"The entry was not saved: {_trouble(self.path, wrong)}") from wrong
            on_failure.pop_all()
        self._fd, self._unsure = fd, b""
        self.torn = again.torn or self.torn
        return fd

    def _is_ours(self, content: bytearray) -> bool:
        """Whether the file has the known lines, followed at most by part of the failed write."""
        return content.startswith(self._known) and self._unsure.startswith(content[len(self._known) :])

    def _back_to_known(self, fd: int, failed: bytes) -> None:
        try:
            self._disk.truncate(fd, len(self._known))
            self._disk.sync(fd)
        except OSError:
            self._unsure = failed

    def reread(self) -> tuple[Line, ...]:
        """The new events of a log that is only read. They are added to ``lines``.

        Raises:
            LogChanged: the log is no longer the one that was read.
            LogUnusable: it no longer exists.
        """
        if not self.read_only:
            return ()
        last = self._known[self._known.rfind(b"\n", 0, -1) + 1 :]
        data = _bytes_of(self.path, skip=len(self._known) - len(last))
        if not data.startswith(last):
            raise LogChanged(f"{self.path} is no longer the log that was read. Open it again.")
        found = read(data[len(last) :], self.lines[-1] if self.lines else None)
        self.damage = found.damage
        self.lines.extend(found.lines)
        self._known += data[len(last) :][: found.length]
        return tuple(found.lines)

    def move_to(self, folder: Path) -> Self:
        """Continue in another folder, in a verified copy under the same name or the next free one.

        This journal is closed and its file left unchanged.

        Raises:
            LogUnusable: the folder cannot be used either; this journal is then as before.
        """
        self._must_be_ours()
        stem, suffix = self.path.stem, self.path.suffix
        path = _free(folder / f"{stem}{extra}{suffix}" for extra in chain([""], map("-{}".format, count(2))))
        moved = self._create(path, self._disk, bytes(self._known))
        if moved._known != self._known:  # the copy differs from what was written
            moved.close()
            raise LogUnusable(f"{path} does not store what is written to it. Choose another folder.")
        self._only_read(f"the session goes on in {path}")
        sidecars.leave_moved(self.path, path)
        return moved

    def close(self) -> None:
        """Release the log. Without it nothing is lost; closing twice is allowed."""
        self._closed = True
        self._release()

    def _release(self) -> None:
        if self._fd is None:
            return
        fd, self._fd = self._fd, None
        sidecars.remove_holder(self.path)
        # Every confirmed event is synced already; closing may fail where the memory stick is gone.
        with suppress(OSError):
            os.close(fd)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


# --- files and their error messages --------------------------------------------------------------------


def _must_be_a_file(path: Path) -> None:
    """Refuse a pipe or a device, which could block the program forever."""
    try:
        mode = path.stat().st_mode
    except OSError as wrong:
        raise _unusable(path, wrong) from wrong
    if not stat.S_ISREG(mode):
        raise LogUnusable(f"{path} is not a file. A log is a regular file.")


def _bytes_of(path: Path, skip: int = 0) -> bytes:
    _must_be_a_file(path)
    try:
        with path.open("rb") as file:
            file.seek(skip)
            return file.read()
    except OSError as wrong:
        raise _unusable(path, wrong) from wrong


def _free(candidates: Iterator[Path]) -> Path:
    return next(path for path in candidates if not path.exists())


def _remove(path: Path) -> None:
    with suppress(OSError):
        path.unlink(missing_ok=True)


def _words(wrong: OSError) -> str:
    return (wrong.strerror or str(wrong)).lower()


def _unusable(path: Path, wrong: OSError) -> LogUnusable:
    if wrong.errno in (errno.ENOENT, errno.ENOTDIR):
        return LogUnusable(f"There is no log at {path}. Check that its disk or memory stick is connected.")
    return LogUnusable(f"{path} cannot be read: {_words(wrong)}.")


def _trouble(path: Path, wrong: OSError) -> str:
    if wrong.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return f"the disk of {path} is full. Free some space and try again, or choose another folder."
    if wrong.errno in (errno.EROFS, errno.EACCES, errno.EPERM):
        return f"{path} cannot be written any more. Change its permissions and try again, or choose another folder."
    return f"{path} cannot be written ({_words(wrong)}). Try again, or choose another folder."
