"""The log on disk: one append-only file per session. An event is on disk before it is reported as saved.

:mod:`benchflow.session.log.line_format` has the format of a line. A journal must be used by one thread at a time.
"""

import errno
import os
from collections.abc import Sequence
from contextlib import ExitStack, suppress
from itertools import chain, count
from pathlib import Path
from types import TracebackType
from typing import Self

from benchflow.base.errors import BenchflowError, InternalError
from benchflow.session.log import lock, sidecars
from benchflow.session.log.disk import Disk, write_all
from benchflow.session.log.kept_lines import KeptLines
from benchflow.session.log.line_format import ZEROS, Damage, Draft, Line, UntrustedLine, read, seal
from benchflow.session.log.log_access import (
    LogUnusable,
    first_free,
    must_be_a_file,
    read_bytes,
    remove_file,
    system_message,
    unreadable_log,
    write_failure,
)

__all__ = ["Damage", "Draft", "Journal", "Line", "LogChanged", "LogUnusable", "NotSaved"]

_BINARY = getattr(os, "O_BINARY", 0)
_WRITING = os.O_RDWR | os.O_APPEND | _BINARY


class NotSaved(BenchflowError):
    """The entry is not in the log. Try again, or move the log to another folder."""


class LogChanged(BenchflowError):
    """A log that is open read-only no longer starts with the lines that were read. Open it again."""


class Journal:
    """An open log, made by :meth:`create` or :meth:`open`.

    ``lines``      the events; in a damaged log those before the damage
    ``read_only``  the reason why the log cannot be written, as a clause; "" if it can
    ``damage``     the damage; ``None`` if there is none
    ``untrusted``  the lines at or after the damage whose own hash fits
    ``changed``    the first line as it reads now, if it is damaged and still an event
    ``torn``       the file to which an incomplete last line or group was moved; ``None`` if there was none
    ``held``       true if another program had the log open when it was opened
    """

    def __init__(self, path: Path, disk: Disk) -> None:
        self.path = path
        self.lines = KeptLines()
        self.read_only = ""
        self.damage: Damage | None = None
        self.untrusted: tuple[UntrustedLine, ...] = ()
        self.changed: Line | None = None
        self.torn: Path | None = None
        self.held = False
        self._disk = disk
        self._fd: int | None = None  # the locked file; None if it is not open for writing
        self._failed = b""  # bytes of a failed write, which may follow `lines` in the file
        self._converted = False  # the line ends in the file are not those of `lines`
        self._closed = False

    # --- opening --------------------------------------------------------------------------------

    @classmethod
    def create(cls, path: Path, disk: Disk | None = None) -> Self:
        """Make a new, empty log and sync it to disk. Its folder must exist.

        Raises:
            LogUnusable: the log exists already or cannot be made.
        """
        return cls._create(path, disk or Disk(), b"")

    @classmethod
    def create_from(cls, path: Path, drafts: Sequence[Draft], disk: Disk | None = None) -> Self:
        """Make a new log with these events, all of them or no log.

        Raises:
            LogUnusable: the log exists already or cannot be made.
        """
        return cls._create(path, disk or Disk(), seal(drafts, None)[1])

    @classmethod
    def open(cls, path: Path, *, read_only: bool = False, disk: Disk | None = None) -> Self:
        """Open an existing log and verify all of it.

        It is opened for writing unless ``read_only`` is set, another program has it open, its permissions forbid
        it, or it is damaged. If it is opened for writing, an incomplete last line is moved to a separate file.

        Raises:
            LogUnusable: there is no log to read.
        """
        journal = cls(path, disk or Disk())
        must_be_a_file(path)
        with ExitStack() as on_failure:
            on_failure.callback(journal.close)
            if read_only:
                journal.read_only = "this window only watches the job"
            else:
                journal._open_to_write()
            journal._load()
            if journal._fd is not None:
                sidecars.write_holder(path)
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
        except OSError as error:
            raise LogUnusable(
                f"No log can be made in {path.parent} ({system_message(error)}). Choose another folder."
            ) from error
        with ExitStack() as on_failure:
            on_failure.callback(journal.close)
            try:
                if not lock.acquire(fd):  # the file is the other program's now, and stays
                    raise LogUnusable(f"Another program has just opened {path}. Try again.")
                on_failure.callback(remove_file, path)
                write_all(disk, fd, content)
                disk.sync(fd)
                disk.sync_folder(path.parent)
            except OSError as error:
                raise LogUnusable(
                    f"No log can be made in {path.parent} ({system_message(error)}). Choose another folder."
                ) from error
            except lock.LockingUnsupported as error:
                remove_file(path)
                raise LogUnusable(f"No log can be made in {path.parent}: {error}. Choose another folder.") from error
            sidecars.write_holder(path)
            journal._load()
            on_failure.pop_all()
        return journal

    def _open_to_write(self) -> None:
        """Open and lock the file, or set ``read_only`` to the reason why this is not possible."""
        try:
            fd = os.open(self.path, _WRITING)
        except OSError as error:
            if error.errno not in (errno.EACCES, errno.EPERM, errno.EROFS):
                raise unreadable_log(self.path, error) from error
            self.read_only = f"the log cannot be written ({system_message(error)})"
            return
        try:
            if lock.acquire(fd):
                self._fd = fd
                return
            self.held, holder = True, sidecars.read_holder(self.path)
            who = f" since {holder.started} ({holder.user} on {holder.host})" if holder else ""
            self.read_only = f"this job is open in another window{who}"
        except lock.LockingUnsupported as error:
            self.read_only = str(error)
        os.close(fd)

    def _load(self) -> None:
        data = read_bytes(self.path)
        parsed = read(data)
        self.damage, self.untrusted, self.changed = parsed.damage, parsed.untrusted, parsed.changed
        self._converted = parsed.converted
        content = data.replace(b"\r\n", b"\n") if parsed.converted else data
        self.lines = KeptLines(content[: parsed.length], parsed.lines)
        if parsed.converted and not self.read_only:
            self._make_read_only("its line ends were converted to CR LF by another program")
        if self._fd is None:
            return
        if parsed.damage:
            known = "at least what is shown was done, the rest is not known"
            self._make_read_only(f"line {parsed.damage.line} {parsed.damage.what}; {known}")
        elif parsed.tail:
            self._move_torn_line(self._fd, parsed.tail)
        elif parsed.open_end:
            self._end_last_line(self._fd)

    def _end_last_line(self, log: int) -> None:
        """Write the newline that the last event lacks."""
        try:
            write_all(self._disk, log, b"\n")
        except OSError as error:
            self._make_read_only(f"the newline that its last line lacks cannot be written ({system_message(error)})")
            return
        self.lines.add(b"\n")
        try:
            self._disk.sync(log)
        except OSError as error:
            self._make_read_only(f"the disk does not confirm what is written to it ({system_message(error)})")

    def _move_torn_line(self, log: int, tail: bytes) -> None:
        """Move an incomplete last line to a new file next to the log. It is synced there before it is cut here."""
        torn = first_free(self.path.with_name(f"{self.path.name}.torn-{number}") for number in count(1))
        try:
            fd = os.open(torn, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _BINARY, 0o666)
            with ExitStack() as on_failure:
                on_failure.callback(remove_file, torn)
                try:
                    write_all(self._disk, fd, tail)
                    self._disk.sync(fd)
                finally:
                    os.close(fd)
                self._disk.sync_folder(torn.parent)
                self._disk.truncate(log, len(self.lines.content))
                on_failure.pop_all()
        except OSError as error:
            self._make_read_only(
                f"its last line is incomplete and cannot be moved to a separate file ({system_message(error)})"
            )
            return
        self.torn = torn
        try:
            self._disk.sync(log)
        except OSError as error:
            self._make_read_only(f"the disk does not confirm what is written to it ({system_message(error)})")

    def _make_read_only(self, reason: str) -> None:
        self._release()
        self.read_only = reason

    # --- use ------------------------------------------------------------------------------------

    @property
    def head(self) -> str:
        """The hash of the last line, which is the fingerprint of the whole log; 64 zeros for an empty log."""
        return self.lines[-1].hash if self.lines else ZEROS

    def append(self, drafts: Sequence[Draft]) -> tuple[Line, ...]:
        """Write the events to disk, all or none. They are on disk when this method returns.

        Raises:
            NotSaved: they are not saved. The file is cut back to its last complete event. If that fails too, the log
                is opened and verified again before the next write.
            InternalError: an event cannot be logged, for example because it contains a float.
        """
        self._must_be_writable()
        if not drafts:
            return ()
        lines, data = seal(drafts, self.lines[-1] if self.lines else None)
        fd = self._fd
        if fd is None or self._failed or not self._is_unchanged(fd):
            fd = self._reopen()
        try:
            write_all(self._disk, fd, data)
            self._disk.sync(fd)
        except OSError as error:
            known = "was not saved" if self._cut_back(fd, data) else "may be in the log, or a part of it"
            raise NotSaved(f"The entry {known}. {write_failure(self.path, error)}") from error
        self.lines.add(data)
        return lines

    def _must_be_writable(self) -> None:
        if self.read_only:
            raise NotSaved(f"The entry was not saved, because {self.path} is open for reading only: {self.read_only}.")
        if self._closed:
            raise InternalError(f"{self.path} is closed.")

    def _is_unchanged(self, fd: int) -> bool:
        """True if the open file is still the one at ``path`` and has the expected size."""
        try:
            opened, at_path = os.fstat(fd), os.stat(self.path)
        except OSError:
            return False
        return os.path.samestat(opened, at_path) and opened.st_size == len(self.lines.content)

    def _reopen(self) -> int:
        """Open the file again, after a memory stick was removed or a failed write could not be cut off."""
        self._release()
        try:
            again = type(self).open(self.path, disk=self._disk)
        except LogUnusable as error:
            raise NotSaved(f"The entry was not saved. {error} Or choose another folder.") from error
        with ExitStack() as on_failure:
            on_failure.callback(again.close)
            fd = again._fd
            if fd is None or not self._can_continue(again.lines.content):
                raise NotSaved(
                    f"The entry was not saved. Another program changed {self.path} "
                    f"({again.read_only or 'it has other events'}). Leave the job and open it again, "
                    "or choose another folder."
                )
            try:
                self._disk.truncate(fd, len(self.lines.content))
                self._disk.sync(fd)
            except OSError as error:
                raise NotSaved(f"The entry was not saved. {write_failure(self.path, error)}") from error
            on_failure.pop_all()
        self._fd, self._failed = fd, b""
        self.torn = again.torn or self.torn
        return fd

    def _can_continue(self, content: bytearray) -> bool:
        """True if ``content`` is the known lines, followed at most by a part of the failed write."""
        return content.startswith(self.lines.content) and self._failed.startswith(content[len(self.lines.content) :])

    def _cut_back(self, fd: int, failed: bytes) -> bool:
        """Cut the bytes of a failed write from the file. If that fails, they are kept in ``_failed``: returns false."""
        try:
            self._disk.truncate(fd, len(self.lines.content))
            self._disk.sync(fd)
        except OSError:
            self._failed = failed
        return not self._failed

    def reread(self) -> tuple[Line, ...]:
        """Read the events that another program has added since. They are returned and added to ``lines``.

        Raises:
            LogChanged: the lines that were read before have changed.
            LogUnusable: the log no longer exists.
        """
        if not self.read_only or self._converted:
            return ()
        valid = self.lines.content
        last = valid[valid.rfind(b"\n", 0, -1) + 1 :]
        data = read_bytes(self.path, skip=len(valid) - len(last))
        if not data.startswith(last):
            raise LogChanged(f"{self.path} was replaced by another log. Open it again.")
        added = data[len(last) :]
        if last and not last.endswith(b"\n") and added.startswith(b"\n"):
            # The newline of the last event was written after the event was read.
            self.lines.add(b"\n")
            added = added[1:]
        parsed = read(added, self.lines[-1] if self.lines else None, growing=True)
        self.damage, self.untrusted, self.changed = parsed.damage, parsed.untrusted, parsed.changed
        self.lines.add(added[: parsed.length])
        return tuple(parsed.lines)

    def holder_left(self) -> bool:
        """True if another program had the log open, has left it, and did not move the job to another file."""
        return self.held and lock.current_holder(self.path) is None and sidecars.moved_to(self.path) is None

    def move_to(self, folder: Path) -> Self:
        """Continue in another folder, in a verified copy with the same name or the next free one.

        This journal becomes read-only, and its file stays unchanged.

        Raises:
            LogUnusable: the folder cannot be used either. This journal then stays as it is.
        """
        self._must_be_writable()
        stem, suffix = self.path.stem, self.path.suffix
        path = first_free(folder / f"{stem}{extra}{suffix}" for extra in chain([""], map("-{}".format, count(2))))
        moved = self._create(path, self._disk, bytes(self.lines.content))
        if moved.lines.content != self.lines.content:  # the copy differs from the original
            moved.close()
            raise LogUnusable(f"The copy {path} differs from the log. Choose another folder.")
        self._make_read_only(f"the session continues in {path}")
        sidecars.write_moved(self.path, path)
        return moved

    def close(self) -> None:
        """Unlock and close the log. Closing twice is allowed, and every saved event is on disk already."""
        self._closed = True
        self._release()

    def _release(self) -> None:
        if self._fd is None:
            return
        fd, self._fd = self._fd, None
        sidecars.remove_holder(self.path)
        # Every saved event is on disk already. Closing may fail after a memory stick was removed.
        with suppress(OSError):
            os.close(fd)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
