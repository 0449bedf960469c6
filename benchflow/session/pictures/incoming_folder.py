"""The folder that a phone or a camera puts its pictures into, and the pictures that have arrived there.

Nothing in it is changed. A picture that is attached is copied, not moved: if a file is moved away, the program that
synchronises the folder removes it from the phone too.
"""

import os
import stat
from contextlib import suppress
from pathlib import Path
from typing import Final

import msgspec
from msgspec import Struct

from benchflow.base.atomic_write import atomic_write
from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line, shown_path
from benchflow.base.regular_file import read_regular_file
from benchflow.session.pictures.other_jobs import OtherJobs
from benchflow.session.pictures.picture_file import PictureFacts, PictureRefused, UnfinishedPicture, read_picture
from benchflow.session.pictures.picture_kinds import ENDINGS

OFFERED_FOR: Final = 12 * 3600
"""Seconds after its arrival for which a picture is offered: one working day. (Own rule.)"""

_READ_AT_ONCE: Final = 4
"""The largest number of pictures that are read at once, so that it is quick."""
_CLOCK_STEP: Final = 2.0
"""Seconds within which two changes of a folder can have the same time, on a file system with coarse times."""
_SETTING: Final = "incoming.json"


class _Setting(Struct):
    folder: str


def incoming_folder(config: Path, data: Path) -> Path:
    """The incoming folder of this machine: as set, or ``incoming`` in the data folder. It may not exist."""
    with suppress(OSError, msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return Path(msgspec.json.decode(read_regular_file(config / _SETTING, 65_536), type=_Setting).folder)
    return data / "incoming"


def set_incoming_folder(config: Path, folder: Path) -> None:
    """Set the incoming folder. ``config`` must exist.

    Raises:
        BenchflowError: there is no such folder, or the setting cannot be written.
    """
    if not folder.is_dir():
        raise BenchflowError(f"There is no folder {shown_path(folder)}. Make it, or name another one.")
    try:
        text = str(folder.absolute()).encode().decode()
        atomic_write(config / _SETTING, msgspec.json.encode(_Setting(text)))
    except UnicodeEncodeError as error:
        raise BenchflowError(f"The name {shown_path(folder)} is not UTF-8. Name another folder.") from error
    except OSError as error:
        raise BenchflowError(f"{config / _SETTING} cannot be written: {error.strerror}.") from error


class IncomingPicture(Struct, frozen=True):
    """A whole picture in the incoming folder. ``arrived`` and ``made`` are seconds since 1970.

    ``made`` is when the file was written first: a copy often keeps the time of the exposure.
    """

    path: Path
    facts: PictureFacts
    arrived: float
    made: float = 0.0


class _Seen(Struct, frozen=True):
    """A file at the last look: its inode, size and time of change. ``found`` is what it contains.

    ``unfinished`` is true for a picture that is not whole: it may still grow. ``refused`` says why it is not offered.
    """

    inode: int
    size: int
    changed: int
    found: IncomingPicture | None = None
    read: bool = False
    unfinished: bool = False
    refused: str = ""


class RefusedFile(Struct, frozen=True):
    """A file in the incoming folder that cannot be attached. ``why`` is a message with what to do.

    ``unfinished`` is true if it may be whole later.
    """

    name: str
    why: str
    unfinished: bool = False


class IncomingWatch:
    """Looks into the incoming folder ``folder`` for pictures that arrived after ``since`` (seconds since 1970).

    ``others`` are the jobs that can have a picture already.

    A file counts once two looks have found it with the same size and time, and it is a whole picture: a file that is
    still being synchronised is not taken. ``unsettled`` is true if a file was found that the next look may take.
    """

    def __init__(self, folder: Path, since: float, others: OtherJobs | None = None) -> None:
        self.folder, self.since, self.others = folder, since, others
        self.unsettled = False
        self._seen: dict[str, _Seen] = {}
        self._unfinished = False
        self._folder_changed = -1  # st_mtime_ns of the folder at the last look
        self.skipped: set[str] = set()  # SHA-256 of the pictures that are not offered
        self.elsewhere: dict[str, str] = {}  # by the SHA-256 of a picture, the job that has it already

    @property
    def exists(self) -> bool:
        """True if there is such a folder."""
        return self.folder.is_dir()

    @property
    def missing(self) -> str:
        """What to do if there is no such folder; "" if there is one."""
        if self.exists:
            return ""
        return (
            f"There is no folder {shown_path(self.folder)}. Make it, and synchronise a phone's pictures into it. "
            "Or set another folder: benchflow where --incoming FOLDER"
        )

    @property
    def refused(self) -> tuple[RefusedFile, ...]:
        """The files of the last look that cannot be attached, or not yet, in the order of their names."""
        return tuple(
            RefusedFile(clean_line(shown_path(name)), one.refused, one.unfinished)
            for name, one in self._seen.items()
            if one.refused
        )

    def look(self, now: float) -> tuple[IncomingPicture, ...]:
        """The pictures that have arrived, the first one first. ``now`` is seconds since 1970."""
        since = max(self.since, now - OFFERED_FOR)
        if not self._is_unchanged(now):
            self._look_at_files(since)
        pictures = [one.found for one in self._seen.values() if one.found is not None and one.found.arrived >= since]
        if self.others is not None:
            having = {one.facts.sha256: self.others.job_with(one.facts) for one in pictures}
            self.elsewhere = {digest: job for digest, job in having.items() if job}
        return tuple(sorted(pictures, key=lambda one: (one.arrived, one.path.name)))

    def _is_unchanged(self, now: float) -> bool:
        """True if no file was added or removed since the last look, and no file found then can still grow."""
        try:
            changed = self.folder.stat().st_mtime_ns
        except OSError:
            changed = 0
        before, self._folder_changed = self._folder_changed, changed
        settled = changed / 1e9 < now - _CLOCK_STEP  # a later change gets another time
        return changed == before and settled and not self.unsettled and not self._unfinished

    def _look_at_files(self, since: float) -> None:
        seen: dict[str, _Seen] = {}
        self.unsettled = self._unfinished = False
        left = _READ_AT_ONCE
        for name, found in self._files(since):
            before = self._seen.get(name)
            one = _Seen(found.st_ino, found.st_size, found.st_mtime_ns)
            if before is None or (before.inode, before.size, before.changed) != (one.inode, one.size, one.changed):
                self.unsettled = True
            elif before.read:
                one = before
            elif left:
                left -= 1
                one = self._read(name, one, found)
            else:
                self.unsettled = True
            seen[name] = one
            self._unfinished = self._unfinished or one.unfinished
        self._seen = seen

    def _files(self, since: float) -> list[tuple[str, os.stat_result]]:
        """The files that have the ending of a picture and arrived after ``since``, in the order of their names."""
        files = []
        try:
            names = sorted(os.listdir(self.folder))
        except OSError:
            return []
        for name in names:
            if name.startswith(".") or os.path.splitext(name)[1].lower() not in ENDINGS:
                continue
            with suppress(OSError):
                found = os.lstat(self.folder / name)
                if stat.S_ISREG(found.st_mode) and _arrived(found) >= since:
                    files.append((name, found))
        return files

    def _read(self, name: str, one: _Seen, found: os.stat_result) -> _Seen:
        path = self.folder / name
        try:
            picture = IncomingPicture(path, read_picture(path).facts, _arrived(found), found.st_mtime)
        except PictureRefused as error:
            unfinished = isinstance(error, UnfinishedPicture)
            return msgspec.structs.replace(one, read=True, unfinished=unfinished, refused=str(error))
        return msgspec.structs.replace(one, found=picture, read=True)


def _arrived(found: os.stat_result) -> float:
    """When the file came into the folder. Its time of change can be earlier, because a copy often keeps that."""
    return max(found.st_ctime, found.st_mtime) if os.name != "nt" else found.st_ctime
