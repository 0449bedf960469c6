"""Reads HEIC pictures, which phones write by default. Pillow does not read them; see :mod:`heic_process`."""

import subprocess
import sys
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Final

from benchflow.session.pictures.heic_process import NO_LIBRARY, SECONDS

if TYPE_CHECKING:
    from PIL.Image import Image

_PROGRAM: Final = Path(__file__).with_name("heic_process.py")


class UnreadableHeic(ValueError):
    """The library does not read the picture: it is damaged, or coded in a way that the library does not know."""


def heic_size(content: bytes, most_pixels: int) -> tuple[int, int]:
    """Width and height of a HEIC. It is decoded to its end, unless it has over ``most_pixels``.

    ``(0, 0)`` if the library is not installed.

    Raises:
        UnreadableHeic: it cannot be read.
    """
    return _decoded(content, most_pixels, 0)[0]


def small_heic(content: bytes, most_pixels: int, box: int) -> "Image | None":
    """The picture, upright, at most ``box`` by ``box`` pixels; ``None`` if it cannot be read or is too large."""
    from PIL import Image

    try:
        _, png = _decoded(content, most_pixels, box)
    except UnreadableHeic:
        return None
    return Image.open(BytesIO(png), formats=["PNG"]) if png else None


def _decoded(content: bytes, most_pixels: int, box: int) -> tuple[tuple[int, int], bytes]:
    command = [sys.executable, "-P", str(_PROGRAM), str(most_pixels), str(box)]
    try:
        done = subprocess.run(
            command, input=content, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, timeout=3 * SECONDS, check=False
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise UnreadableHeic(str(error)) from error
    if done.returncode == NO_LIBRARY:
        return (0, 0), b""
    line, _, png = done.stdout.partition(b"\n")
    sizes = line.split()
    if done.returncode != 0 or len(sizes) != 2:
        raise UnreadableHeic(f"the reader ended with {done.returncode}")
    return (int(sizes[0]), int(sizes[1])), png
