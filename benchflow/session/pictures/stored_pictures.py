"""Stores the pictures of a job in a folder beside its log, ``<log>.pictures``, each under its SHA-256.

A file is on the disk before the log names it. A file that the log does not name is harmless: the program was stopped
between the two. Only :func:`remove_unnamed` removes files.
"""

import errno
import hashlib
import os
import re
import stat
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Final, Literal

from msgspec import Struct

from benchflow.base.atomic_write import Unconfirmed, atomic_write
from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import shown_path
from benchflow.base.regular_file import read_regular_file
from benchflow.session.log.disk import Disk
from benchflow.session.pictures.picture_file import PictureFacts, PictureFile
from benchflow.session.pictures.picture_kinds import KINDS

_OWN_NAME: Final = re.compile(r"[0-9a-f]{64}(\.[a-z]{3,4})?", re.ASCII)
_OWN_PART: Final = re.compile(r"\.[0-9a-f]{40}\.[0-9a-f]{16}\.part", re.ASCII)


class PictureNotStored(BenchflowError):
    """A picture could not be stored. Nothing was logged."""


def pictures_folder(log: Path) -> Path:
    """The folder of the pictures of ``log``. It may not exist."""
    return log.with_name(log.name + ".pictures")


def stored_path(log: Path, sha256: str, type_: str) -> Path:
    """Where a picture of ``log`` is stored. ``type_`` is its media type."""
    kind = KINDS.get(type_)
    return pictures_folder(log) / f"{sha256}{'' if kind is None else kind.ending}"


def store_picture(log: Path, picture: PictureFile, disk: Disk | None = None) -> Path:
    """Store ``picture`` beside ``log``. It is on the disk when this returns. Returns where it is.

    A whole copy that is there already is not written again. A copy that was changed is replaced.

    Raises:
        PictureNotStored: it cannot be stored, for example because the disk is full.
    """
    disk = disk or Disk()
    path = stored_path(log, picture.facts.sha256, picture.facts.type)
    try:
        _make_folder(path.parent, disk)
        if not _is_whole(path, picture.facts):
            atomic_write(path, picture.content, sync=disk.sync, sync_names=disk.sync_folder)
        else:
            disk.sync_folder(path.parent)  # an earlier run may have been stopped before this
    except Unconfirmed as error:
        raise PictureNotStored(
            f"The disk does not confirm that {picture.facts.name} is stored ({_reason(error)}). Nothing was entered. "
            "Try again, or choose another folder."
        ) from error
    except OSError as error:
        raise PictureNotStored(_not_stored(picture.facts.name, path.parent, error)) from error
    return path


def _make_folder(folder: Path, disk: Disk) -> None:
    try:
        folder.mkdir()
    except FileExistsError:
        if not stat.S_ISDIR(folder.lstat().st_mode):
            raise NotADirectoryError(errno.ENOTDIR, "a file or a link has its name") from None
        return
    disk.sync_folder(folder.parent)


def _is_whole(path: Path, facts: PictureFacts) -> bool:
    """True if the file at ``path`` is the one that the log describes.

    Raises:
        OSError: something that is not a regular file has this name.
    """
    try:
        found = path.lstat()
    except FileNotFoundError:
        return False
    if stat.S_ISDIR(found.st_mode):
        raise IsADirectoryError(errno.EISDIR, f"{path.name} is a folder")
    return stat.S_ISREG(found.st_mode) and found.st_size == facts.size and digest_of(path) == facts.sha256


def digest_of(path: Path) -> str:
    """The SHA-256 of a file.

    Raises:
        OSError: it cannot be read, or is not a regular file.
    """
    return hashlib.sha256(read_regular_file(path)).hexdigest()


def _not_stored(name: str, folder: Path, error: OSError) -> str:
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return (
            f"{name} was not attached: the disk of {shown_path(folder)} is full. Free some space and try again, or "
            "choose another folder."
        )
    return (
        f"{name} was not attached: it cannot be stored in {shown_path(folder)} ({_reason(error)}). Check the folder "
        "and its permissions, and try again."
    )


def _reason(error: OSError) -> str:
    return (error.strerror or str(error)).lower()


def copy_stored_pictures(before: Path, after: Path, disk: Disk | None = None) -> int:
    """Copy the pictures of the log ``before`` to the log ``after``. Returns how many could not be copied."""
    disk, failed = disk or Disk(), 0
    for path in _own_files(before):
        if not _OWN_NAME.fullmatch(path.name):
            continue
        copy = pictures_folder(after) / path.name
        try:
            _make_folder(copy.parent, disk)
            atomic_write(copy, read_regular_file(path), sync=disk.sync, sync_names=disk.sync_folder)
        except OSError:
            failed += 1
    return failed


# --- checking -------------------------------------------------------------------------------------


class StoredPictureProblem(Struct, frozen=True):
    """A stored file that differs from the log. ``message`` has its place and what to do."""

    what: Literal["missing", "changed", "unreadable"]
    path: Path
    message: str


def stored_picture_problem(log: Path, facts: PictureFacts) -> StoredPictureProblem | None:
    """What is wrong with the stored file of a picture; ``None`` if it is as it was stored. Nothing is changed."""
    path = stored_path(log, facts.sha256, facts.type)
    copy = f"Copy the original {facts.name} or a backup there under this name"
    try:
        size = path.lstat().st_size
        if stat.S_ISREG(path.lstat().st_mode) and size != facts.size:
            text = f"has {size} bytes, not {facts.size}: it was changed. {copy}"
            return StoredPictureProblem("changed", path, f"{shown_path(path)} {text}")
        if digest_of(path) == facts.sha256:
            return None
    except FileNotFoundError:
        return StoredPictureProblem("missing", path, f"{shown_path(path)} is missing. {copy}")
    except OSError as error:
        text = f"cannot be read: {_reason(error)}. Check its permissions and its disk"
        return StoredPictureProblem("unreadable", path, f"{shown_path(path)} {text}")
    return StoredPictureProblem(
        "changed", path, f"{shown_path(path)} was changed: its SHA-256 is not the one in the log. {copy}"
    )


def file_remark(log: Path, facts: PictureFacts) -> str:
    """A remark if the stored file of a picture is not there or has another size, else "". `verify` compares digests."""
    try:
        found = stored_path(log, facts.sha256, facts.type).lstat()
    except OSError:
        return "its file is not beside this log"
    whole = stat.S_ISREG(found.st_mode) and found.st_size == facts.size
    return "" if whole else "its file was changed"


def unnamed_files(log: Path, named: Iterable[PictureFacts]) -> list[Path]:
    """The files in the folder of ``log`` that this program stored there, but that no event of the log names.

    Other files in the folder are left alone.
    """
    known = {stored_path(log, facts.sha256, facts.type).name for facts in named}
    return [path for path in _own_files(log) if path.name not in known]


def _own_files(log: Path) -> list[Path]:
    """The files that this program stored beside ``log``, also those of a copy that was not finished."""
    try:
        names = sorted(os.listdir(pictures_folder(log)))
    except OSError:
        return []
    own = (name for name in names if _OWN_NAME.fullmatch(name) or _OWN_PART.fullmatch(name))
    return [pictures_folder(log) / name for name in own]


def remove_unnamed(paths: Iterable[Path]) -> list[Path]:
    """Remove files that :func:`unnamed_files` has found. Returns those that were removed."""
    removed = []
    for path in paths:
        with suppress(OSError):
            path.unlink()
            removed.append(path)
    return removed
