"""Reads a picture file, and checks that it is a whole picture of a size that can be stored.

Only the file's own bytes are stored. What is read here for the log is its digest, size, type and pixel size.
"""

import errno
import hashlib
import os
import stat
import struct
import zlib
from collections.abc import Mapping
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line, shown_path
from benchflow.session.pictures.heic_reader import UnreadableHeic, heic_size
from benchflow.session.pictures.picture_kinds import (
    HEAD_BYTES,
    HEIC,
    KIND_TITLES,
    KINDS,
    PictureKind,
    other_content,
    picture_kind,
)
from benchflow.session.pictures.whole_files import ends_too_early

if TYPE_CHECKING:
    from PIL.Image import Image

MOST_BYTES: Final = 64_000_000
"""A larger file is refused. A picture of a phone has 2 to 20 MB, with raw data up to 60 MB. (Own rule.)"""

MOST_PIXELS: Final = 120_000_000
"""A larger picture is refused: it would need over 360 MB of memory. Phones go up to 108 million by default."""

MOST_DECODED_PIXELS: Final = 50_000_000
"""A larger picture that is not a JPEG is stored, but never decoded: it has no thumbnail. (Own rule.)"""

DAMAGED: Final = (
    OSError, SyntaxError, ValueError, EOFError, OverflowError, IndexError, KeyError, TypeError, AttributeError,
    MemoryError, NotImplementedError, RuntimeError, struct.error, zlib.error,
)  # fmt: skip
"""What Pillow raises for a picture that it cannot read. Its documentation names only OSError; the others occur with
damaged files."""

_FLAGS: Final = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_NOFOLLOW", 0)


class PictureRefused(BenchflowError):
    """A file cannot be attached. The message names the file, the reason and what to do."""


class UnfinishedPicture(PictureRefused):
    """The file ends too early or is still being written. It may be whole later."""


class PictureFacts(Struct, frozen=True):
    """What the log says about a stored file. ``name`` is the name of the original file, safe to print.

    ``type`` is the media type. ``width`` and ``height`` are pixels as stored in the file (of a HEIC: as it is shown), 0
    if they are not known.
    """

    name: str
    sha256: str
    size: int
    type: str
    width: int = 0
    height: int = 0


class PictureFile(Struct, frozen=True):
    """A picture that was read, and its whole content."""

    facts: PictureFacts
    content: bytes


def no_thumbnail(facts: PictureFacts) -> str:
    """Why a stored file has no thumbnail, as a sentence; "" if it has one."""
    kind = KINDS.get(facts.type)
    if kind is None or not kind.thumbnail:
        return f"The sheets have no small picture of a {'file' if kind is None else kind.title}, only its name."
    if facts.type != "image/jpeg" and facts.width * facts.height > MOST_DECODED_PIXELS:
        return f"The {kind.title} is too large for a small picture. The sheets have only its name."
    return ""


def read_picture(path: Path) -> PictureFile:
    """Read and check the picture at ``path``. A symbolic link is not followed.

    Raises:
        UnfinishedPicture: it ends too early, or changed while it was read.
        PictureRefused: there is no such file, it is not a picture, or it is too large.
    """
    shown = shown_path(path)
    content = _content(path, shown)
    kind = picture_kind(content[:HEAD_BYTES])
    if not content:
        raise UnfinishedPicture(f"{shown} is empty (0 bytes). Send or copy it again.")
    if kind is None:
        raise PictureRefused(
            f"{shown} is not a picture: it contains {other_content(content[:HEAD_BYTES])}. Attach a {KIND_TITLES} file."
        )
    if ends_too_early(content, kind.type):
        raise UnfinishedPicture(_not_whole(shown, "document" if kind.type == "application/pdf" else "picture"))
    width = height = 0
    if kind.type == HEIC:
        width, height = _checked_heic(content, shown)
    elif kind.pillow:
        width, height = _checked_pixels(content, kind, shown)
    name = clean_line(shown_path(path.name)) or "picture"
    facts = PictureFacts(name, hashlib.sha256(content).hexdigest(), len(content), kind.type, width, height)
    return PictureFile(facts, content)


def _content(path: Path, shown: str) -> bytes:
    """The whole content of a regular file of at most :data:`MOST_BYTES`."""
    try:
        fd = os.open(path, _FLAGS)
    except ValueError as error:  # a null character in the name
        raise PictureRefused(f"{shown} is not the name of a file. Name an existing picture.") from error
    except OSError as error:
        raise PictureRefused(_open_error(path, shown, error)) from error
    try:
        before = os.fstat(fd)
        if stat.S_ISDIR(before.st_mode):
            raise PictureRefused(f"{shown} is a folder. Name a picture in it.")
        if not stat.S_ISREG(before.st_mode):
            raise PictureRefused(f"{shown} is a pipe or a device, not a file. Name a picture file.")
        if before.st_size > MOST_BYTES:
            raise PictureRefused(_too_large(shown, before.st_size))
        with open(fd, "rb", closefd=False) as file:
            content = file.read(MOST_BYTES + 1)
        after = os.fstat(fd)
    except OSError as error:
        why = (error.strerror or str(error)).lower()
        raise PictureRefused(f"{shown} cannot be read: {why}. Check its disk, and try again.") from error
    finally:
        os.close(fd)
    if (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns) or len(content) != after.st_size:
        raise UnfinishedPicture(f"{shown} is still being written. Wait until it is complete, and try again.")
    return content


def _open_error(path: Path, shown: str, error: OSError) -> str:
    if error.errno in (errno.ELOOP, errno.EMLINK):  # by O_NOFOLLOW
        return f"{shown} is a link to {shown_path(os.path.realpath(path))}. Name that file itself."
    if error.errno in (errno.ENOENT, errno.ENOTDIR):
        return f"There is no file {shown}. Check its name, or whether its disk is connected."
    if error.errno in (errno.EACCES, errno.EPERM):
        return f"{shown} cannot be read by this user. Change its permissions, or copy it."
    if error.errno == errno.ENAMETOOLONG:
        return f"{shown[:80]}… is too long for the name of a file. Check the name."
    if error.errno in (errno.ENXIO, errno.ENODEV):
        return f"{shown} is a pipe, a socket or a device, not a file. Name a picture file."
    return f"{shown} cannot be read: {(error.strerror or str(error)).lower()}. Check its disk, and try again."


def _too_large(shown: str, size: int) -> str:
    return (
        f"{shown} has {size / 1e6:.0f} MB. The limit is {MOST_BYTES / 1e6:.0f} MB. Make it smaller, or keep it "
        "elsewhere and name it in a note."
    )


def _checked_pixels(content: bytes, kind: PictureKind, shown: str) -> tuple[int, int]:
    """Width and height. The pixel size in the header is checked before anything is decoded."""
    try:
        picture = opened_picture(content, kind)
        width, height = picture.size
    except DAMAGED as error:
        raise UnfinishedPicture(
            f"{shown} begins like a {kind.title}, but cannot be read as one. It is damaged, not complete, or raw data. "
            "Send or copy it again."
        ) from error
    _refuse_large(shown, width, height)
    try:
        with picture:
            _decode(picture, kind, len(content))
    except DAMAGED as error:
        raise UnfinishedPicture(_not_whole(shown, "picture")) from error
    return width, height


def _not_whole(shown: str, what: str) -> str:
    return (
        f"{shown} ends in the middle of the {what}, or is damaged. Wait until it is complete, or send or copy it again."
    )


def _refuse_large(shown: str, width: int, height: int) -> None:
    if width * height > MOST_PIXELS:
        raise PictureRefused(
            f"{shown} has {width} × {height} pixels, {width * height / 1e6:.0f} million. The limit is "
            f"{MOST_PIXELS / 1e6:.0f} million. Make it smaller."
        )


def _checked_heic(content: bytes, shown: str) -> tuple[int, int]:
    """Width and height of a HEIC, as it is shown."""
    try:
        width, height = heic_size(content, MOST_DECODED_PIXELS)
    except UnreadableHeic as error:
        raise PictureRefused(
            f"{shown} is a HEIC that cannot be read: it is damaged, or of a rare kind. Send it again, or send it as "
            "JPEG."
        ) from error
    _refuse_large(shown, width, height)
    return width, height


def opened_picture(content: bytes, kind: PictureKind) -> "Image":
    """The picture with its header read and nothing decoded.

    Raises:
        DAMAGED: it cannot be read.
    """
    import logging  # imported late, as Pillow: together they take 40 ms, and few entries need them
    import warnings

    from PIL import Image

    Image.MAX_IMAGE_PIXELS = None  # the limit here is MOST_PIXELS
    warnings.filterwarnings("ignore", module="PIL")  # about damaged EXIF data, which is not used
    logging.getLogger("PIL").setLevel(logging.CRITICAL)  # or its messages are written across the screen
    return Image.open(BytesIO(content), formats=["JPEG", "MPO"] if kind.pillow == "JPEG" else [kind.pillow])


def _decode(picture: "Image", kind: PictureKind, size: int) -> None:
    """Read the picture of ``size`` bytes to its end, as cheaply as its format allows.

    Raises:
        DAMAGED: it is not whole.
    """
    if kind.pillow == "JPEG":
        picture.draft("RGB", (320, 320))
        picture.load()
    elif kind.pillow == "TIFF":
        _check_strips(picture, size)
    elif kind.pillow == "PNG":
        picture.verify()  # the checksum of each chunk to the end, without decoding
    elif picture.size[0] * picture.size[1] <= MOST_DECODED_PIXELS:
        picture.load()


def _check_strips(picture: "Image", size: int) -> None:
    """Check that the strips or tiles of a TIFF end within the file of ``size`` bytes (TIFF 6.0, sections 8 and 15).

    A TIFF is not decoded: the library for its compressions writes messages about damage to the terminal itself.

    Raises:
        DAMAGED: it is not whole.
    """
    tags: Mapping[int, tuple[int, ...]] = getattr(picture, "tag_v2", {})
    for offsets, counts in ((273, 279), (324, 325)):
        for offset, count in zip(tags.get(offsets, ()), tags.get(counts, ()), strict=True):
            if offset + count > size:
                raise EOFError("a strip ends after the end of the file")
