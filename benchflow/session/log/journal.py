"""The log on disk: one file a session, append only, every event durable before anybody is told.

The form of a line is in :mod:`benchflow.session.log.line_format`. A journal is used by one thread at a time.
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
from benchflow.session.log import lock
from benchflow.session.log import sidecars as beside
from benchflow.session.log.disk import Disk, write_all
from benchflow.session.log.line_format import ZEROS, Damage, Draft, Line, read, seal

__all__ = ["Damage", "Draft", "Journal", "Line", "LogChanged", "LogUnusable", "NotSaved", "Verified", "verify"]

_BINARY = getattr(os, "O_BINARY", 0)
_WRITING = os.O_RDWR | os.O_APPEND | _BINARY


class NotSaved(BenchflowError):
    """Nothing of this step is in the log. It may be tried again, or the log moved to another folder."""


class LogUnusable(BenchflowError):
    """The log cannot be opened or made at all."""


class LogChanged(BenchflowError):
    """A log that is being watched no longer begins with what was read from it: open it again."""


class Verified(Struct, frozen=True):
    """``events`` and ``head`` are of the part that can be trusted: all of it when ``damage`` is ``None``.

    ``torn`` says that behind it stands a piece of a line whose writing was broken off.
    """

    events: int
    damage: Damage | None
    torn: bool
    head: str


def verify(path: Path) -> Verified:
    """Check every line of a log. Reads only. Raises :class:`LogUnusable` when it cannot be read."""
    found = read(_bytes_of(path))
    head = found.lines[-1].hash if found.lines else ZEROS
    return Verified(len(found.lines), found.damage, bool(found.tail), head)


class Journal:
    """A log that is open. Made by :meth:`create` and :meth:`open`.

    ``lines``      the events, without any at or behind a damage;
    ``read_only``  empty when the log can be written, otherwise why not, in words;
    ``damage``     what is wrong with it, if anything is;
    ``torn``       where the end of a torn line was put aside when the log was opened, if there was one.
    """

    def __init__(self, path: Path, disk: Disk) -> None:
        self.path = path
        self.lines: list[Line] = []
        self.read_only = ""
        self.damage: Damage | None = None
        self.torn: Path | None = None
        self._disk = disk
        self._known = bytearray()  # the bytes of `lines`, as they lie in the file
        self._fd: int | None = None  # locked; None while the log cannot be reached, or is not ours to write
        self._unsure = b""  # what may, or may not, stand behind `_known` in the file after a failure
        self._closed = False

    # --- opening --------------------------------------------------------------------------------

    @classmethod
    def create(cls, path: Path, disk: Disk | None = None) -> Self:
        """A new, empty log, itself on disk when this returns. Its folder has to exist.

        Raises :class:`LogUnusable`.
        """
        return cls._create(path, disk or Disk(), b"")

    @classmethod
    def open(cls, path: Path, *, read_only: bool = False, disk: Disk | None = None) -> Self:
        """An existing log, read and verified whole.

        It is opened to be written unless ``read_only`` asks otherwise, another program holds it, it may not
        be written, or it is damaged. A writer puts a torn last line aside; a reader leaves it alone.
        Raises :class:`LogUnusable` when there is no log to read.
        """
        journal = cls(path, disk or Disk())
        _must_be_a_file(path)
        with ExitStack() as on_failure:
            on_failure.callback(journal.close)
            if read_only:
                journal.read_only = "opened to be read only"
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
            raise LogUnusable(f"{path} exists already. Resume it, or choose another name.") from None
        except FileNotFoundError:
            raise LogUnusable(f"There is no folder {path.parent}. Make it, or choose another.") from None
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
            beside.leave_holder(path)
            journal._load()
            on_failure.pop_all()
        return journal

    def _open_to_write(self) -> None:
        """Have the locked file in ``_fd``, or the reason why not in ``read_only``."""
        try:
            fd = os.open(self.path, _WRITING)
        except OSError as wrong:
            if wrong.errno not in (errno.EACCES, errno.EPERM, errno.EROFS):
                raise _unusable(self.path, wrong) from wrong
            self.read_only = f"it may not be written: {_words(wrong)}"
            return
        try:
            if lock.take(fd):
                beside.leave_holder(self.path)
                self._fd = fd
                return
            holder = beside.holder_of(self.path)
            self.read_only = f"held by {holder.words if holder else 'another program'}"
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
        """Keep a torn line beside the log, safe on disk before it is cut from it."""
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
            self._only_read(f"its last line is torn and cannot be put aside: {_words(wrong)}")
            return
        self.torn = kept

    def _only_read(self, why: str) -> None:
        self._release()
        self.read_only = why

    # --- use ------------------------------------------------------------------------------------

    @property
    def head(self) -> str:
        """The hash of the last line; 64 zeros while there is none. The fingerprint of the whole log."""
        return self.lines[-1].hash if self.lines else ZEROS

    def append(self, drafts: Sequence[Draft]) -> tuple[Line, ...]:
        """Put the events on disk, all in one piece. They are durable when this returns.

        Raises :class:`NotSaved` when they are not; the file is then back to its last whole event or, should
        even that fail, is opened and verified anew before anything else is written to it. Raises
        :class:`~benchflow.base.errors.InternalError` for an event that may not be logged.
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
            raise NotSaved(f"Nothing of this step was saved: {_trouble(self.path, wrong)}") from wrong
        self._known += data
        self.lines.extend(lines)
        return lines

    def _must_be_ours(self) -> None:
        if self.read_only:
            raise NotSaved(f"Nothing was saved: {self.path} is only being read ({self.read_only}).")
        if self._closed:
            raise InternalError(f"{self.path} is closed")

    def _in_place(self, fd: int) -> bool:
        """Whether the open file still is the one at ``path`` and ends where it should."""
        try:
            here, there = os.fstat(fd), os.stat(self.path)
        except OSError:
            return False
        return os.path.samestat(here, there) and here.st_size == len(self._known)

    def _take_again(self) -> int:
        """Open the file anew: for a stick that is back in its place, or an end that could not be cut off."""
        self._release()
        try:
            again = type(self).open(self.path, disk=self._disk)
        except LogUnusable as wrong:
            raise NotSaved(f"Nothing of this step was saved. {wrong} Or choose another folder.") from wrong
        with ExitStack() as on_failure:
            on_failure.callback(again.close)
            fd = again._fd
            if fd is None or not self._is_ours(again._known):
                raise NotSaved(
                    f"Nothing of this step was saved: {self.path} has been changed by something else "
                    f"({again.read_only or 'it holds other events'}). Leave the session and open it again, "
                    "or choose another folder."
                )
            try:
                self._disk.truncate(fd, len(self._known))
                self._disk.sync(fd)
            except OSError as wrong:
                raise NotSaved(f"Nothing of this step was saved: {_trouble(self.path, wrong)}") from wrong
            on_failure.pop_all()
        self._fd, self._unsure = fd, b""
        self.torn = again.torn or self.torn
        return fd

    def _is_ours(self, content: bytearray) -> bool:
        """Whether the file holds what is known, with at most some of what failed to be written behind it."""
        return content.startswith(self._known) and self._unsure.startswith(content[len(self._known) :])

    def _back_to_known(self, fd: int, failed: bytes) -> None:
        try:
            self._disk.truncate(fd, len(self._known))
            self._disk.sync(fd)
        except OSError:
            self._unsure = failed

    def reread(self) -> tuple[Line, ...]:
        """For a log that is only read: the events that have come since, now in ``lines`` too.

        Raises :class:`LogChanged` when the log is no longer the one that was read, :class:`LogUnusable`
        when it is gone.
        """
        if not self.read_only:
            return ()
        last = self._known[self._known.rfind(b"\n", 0, -1) + 1 :]
        data = _bytes_of(self.path, skip=len(self._known) - len(last))
        if not data.startswith(last):
            raise LogChanged(f"{self.path} is not the log that was read any more. Open it again.")
        found = read(data[len(last) :], self.lines[-1] if self.lines else None)
        self.damage = found.damage
        self.lines.extend(found.lines)
        self._known += data[len(last) :][: found.length]
        return tuple(found.lines)

    def move_to(self, folder: Path) -> Self:
        """Go on in another folder: a copy of everything known, verified, under the same name or the next
        free one. This journal is closed, and its file left as it is.

        Raises :class:`LogUnusable` when that folder will not do either; this journal is then as before.
        """
        self._must_be_ours()
        stem, suffix = self.path.stem, self.path.suffix
        path = _free(folder / f"{stem}{extra}{suffix}" for extra in chain([""], map("-{}".format, count(2))))
        moved = self._create(path, self._disk, bytes(self._known))
        if moved._known != self._known:  # what was read back from there is not what was written
            moved.close()
            raise LogUnusable(f"{path} does not keep what is written to it. Choose another folder.")
        self._only_read(f"the session goes on in {path}")
        beside.leave_moved(self.path, path)
        return moved

    def close(self) -> None:
        """Give the log back. Nothing is lost by not doing it; closing twice is no harm."""
        self._closed = True
        self._release()

    def _release(self) -> None:
        if self._fd is None:
            return
        fd, self._fd = self._fd, None
        beside.remove_holder(self.path)
        # What was confirmed was synced before; a stick that is gone has nothing to add on closing.
        with suppress(OSError):
            os.close(fd)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


# --- the file system, in words --------------------------------------------------------------------


def _must_be_a_file(path: Path) -> None:
    """A pipe or a device would keep the program waiting for ever."""
    try:
        mode = path.stat().st_mode
    except OSError as wrong:
        raise _unusable(path, wrong) from wrong
    if not stat.S_ISREG(mode):
        raise LogUnusable(f"{path} is not a file. A log is a file whose lines are events.")


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
        return LogUnusable(f"There is no log at {path}. Look whether its disk or stick is in place.")
    return LogUnusable(f"{path} cannot be read: {_words(wrong)}.")


def _trouble(path: Path, wrong: OSError) -> str:
    if wrong.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return f"there is no room left for {path}. Make room and try again, or choose another folder."
    if wrong.errno in (errno.EROFS, errno.EACCES, errno.EPERM):
        return f"{path} may not be written any more. Set that right and try again, or choose another folder."
    return f"{path} cannot be written ({_words(wrong)}). Try again, or choose another folder."
