"""Small pictures for the sheets: turned upright, and without any data of the original but its pixels."""

import base64
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Final

from msgspec.structs import replace

from benchflow.base.regular_file import read_regular_file
from benchflow.session.pictures.heic_reader import small_heic
from benchflow.session.pictures.picture_file import (
    DAMAGED,
    MOST_BYTES,
    MOST_DECODED_PIXELS,
    MOST_PIXELS,
    PictureFacts,
    no_thumbnail,
    opened_picture,
)
from benchflow.session.pictures.picture_kinds import HEAD_BYTES, HEIC, picture_kind

if TYPE_CHECKING:
    from PIL.Image import Image

BOX: Final = 320
"""The longer side of a thumbnail has at most this many pixels: 5 cm on paper at 160 dpi. (Own rule.)"""

_QUALITY = 78


def thumbnail(path: Path, facts: PictureFacts, box: int = BOX) -> bytes | None:
    """A small JPEG of the stored file at ``path``, upright by its EXIF orientation; ``None`` if there is none.

    Only the pixels are copied: no EXIF data, comment, colour profile or position. For a moving picture it is the first
    frame. An SVG is never drawn.
    """
    if no_thumbnail(facts):
        return None
    try:
        content = read_regular_file(path, MOST_BYTES)
    except OSError:
        return None
    kind = picture_kind(content[:HEAD_BYTES])
    if kind is None or not kind.thumbnail:
        return None
    if kind.type == HEIC:
        upright = small_heic(content, MOST_DECODED_PIXELS, box)
        return None if upright is None else _jpeg(_plain(upright))
    from PIL import ImageOps

    try:
        with opened_picture(content, kind) as picture:
            real = replace(facts, type=kind.type, width=picture.width, height=picture.height)
            if picture.width * picture.height > MOST_PIXELS or no_thumbnail(real):
                return None
            picture.draft("RGB", (2 * box, 2 * box))
            small = _plain(picture)
            upright = ImageOps.exif_transpose(_with_orientation(small, picture))
            upright.thumbnail((box, box))
            return _jpeg(upright)
    except DAMAGED:
        return None


def thumbnail_uri(path: Path, facts: PictureFacts, box: int = BOX) -> str:
    """The thumbnail as a data URI, so that a sheet is one file; "" if there is none."""
    small = thumbnail(path, facts, box)
    return "" if small is None else f"data:image/jpeg;base64,{base64.b64encode(small).decode('ascii')}"


def _plain(picture: "Image") -> "Image":
    """A picture of 8 bits per colour on white."""
    from PIL import Image

    if picture.mode.startswith(("I", "F")):  # 16 or 32 bits of grey
        low, high = picture.getextrema()
        assert not isinstance(low, tuple)
        assert not isinstance(high, tuple)
        scale = 255 / (high - low) if high > low else 1
        return picture.convert("F").point(lambda value: value * scale - low * scale).convert("L").convert("RGB")
    if "A" in picture.getbands() or "transparency" in picture.info:
        coloured = picture.convert("RGBA")
        white = Image.new("RGBA", coloured.size, "white")
        white.alpha_composite(coloured)
        return white.convert("RGB")
    return picture.convert("RGB")


def _with_orientation(small: "Image", original: "Image") -> "Image":
    """``small`` with the EXIF orientation of ``original`` and nothing else."""
    orientation = original.getexif().get(_ORIENTATION, 1)
    exif = small.getexif()
    exif.clear()
    exif[_ORIENTATION] = orientation if orientation in range(1, 9) else 1
    return small


_ORIENTATION = 0x0112
"""The tag Orientation (Exif 3.0, 4.6.5)."""


def _jpeg(picture: "Image") -> bytes:
    """``picture`` as JPEG. Its pixels are copied to a new picture, so that comment and profile are left out."""
    from PIL import Image

    new = Image.new("RGB", picture.size)
    new.paste(picture)
    written = BytesIO()
    new.save(written, "JPEG", quality=_QUALITY, optimize=True)
    return written.getvalue()
