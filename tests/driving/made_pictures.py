"""Pictures for tests, made with Pillow. They show coloured areas and nothing else."""

import struct
import zlib
from io import BytesIO
from pathlib import Path
from typing import Any

from PIL import Image

LEFT, RIGHT = (200, 30, 30), (30, 30, 200)
"""The colours of the left and the right half of every picture here: red and blue."""


def halves(width: int, height: int) -> Image.Image:
    """A picture with a red left half and a blue right half."""
    picture = Image.new("RGB", (width, height), RIGHT)
    picture.paste(LEFT, (0, 0, width // 2, height))
    return picture


def written(picture: Image.Image, kind: str, **options: Any) -> bytes:
    """A picture as the bytes of a file."""
    content = BytesIO()
    picture.save(content, kind, **options)
    return content.getvalue()


def jpeg(width: int = 64, height: int = 48, shade: int = 0, **options: Any) -> bytes:
    """A JPEG file. Each ``shade`` gives another content."""
    picture = halves(width, height)
    picture.putpixel((width - 1, height - 1), (shade % 256, 255, 255))
    return written(picture, "JPEG", comment=f"shade {shade}", **options)


def jpeg_at(path: Path, shade: int = 0) -> Path:
    """Write a JPEG file."""
    path.write_bytes(jpeg(shade=shade))
    return path


def rotated_jpeg(orientation: int, width: int = 64, height: int = 48) -> bytes:
    """A JPEG file with an EXIF orientation, a position and the name of a person in its EXIF data."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x013B] = "Robin Example"  # Artist
    exif.get_ifd(0x8825)[2] = (48.0, 8.0, 15.0)  # GPSLatitude
    return written(halves(width, height), "JPEG", exif=exif)


def heic(width: int = 64, height: int = 48, orientation: int = 1) -> bytes:
    """A HEIC file as a phone writes it, with a position in its EXIF data. The orientation turns the picture."""
    from pillow_heif import from_pillow

    exif = Image.Exif()
    exif[0x0112] = orientation
    exif.get_ifd(0x8825)[2] = (48.0, 8.0, 15.0)  # GPSLatitude
    content = BytesIO()
    from_pillow(halves(width, height)).save(content, quality=60, exif=exif.tobytes())
    return content.getvalue()


def png_header(width: int, height: int) -> bytes:
    """A PNG file of any pixel size with hardly any content: only its header is of that size."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"\0")) + chunk(b"IEND", b"")


PDF = b"%PDF-1.4\n1 0 obj\n<< /Type /Catalog >>\nendobj\nxref\n0 1\ntrailer\n<< /Root 1 0 R >>\nstartxref\n44\n%%EOF\n"
"""The smallest file that begins and ends as a PDF (ISO 32000-2, 7.5)."""


VIDEO_HEAD = b"\x00\x00\x00\x18ftypmp42\x00\x00\x00\x00mp42isom" + bytes(64)
"""The first box of an MP4 file (ISO/IEC 14496-14), and zeros."""
