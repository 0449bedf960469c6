"""Checks that a file ends where its format says it ends, without decoding it.

Sources: last chunk of a PNG ISO/IEC 15948, 11.2.5; boxes ISO/IEC 14496-12, 4.2 and ISO/IEC 23008-12, 6.2; RIFF RFC
9649, 2.3; blocks of a GIF 89a specification, 15 to 27; trailer of a PDF ISO 32000-2, 7.5.5. That other bytes may follow
the end of a file: common practice, no source.
"""

import re
from collections.abc import Callable, Mapping
from typing import Final

_PDF_TAIL: Final = 2048
"""The last bytes of a PDF, without blanks and zeros, in which its end must be. (Own rule.)"""

_PDF_END: Final = re.compile(rb"startxref\s+\d+\s+%%EOF")


def ends_too_early(content: bytes, type_: str) -> bool:
    """True if a file of a media type is cut off. A JPEG or TIFF is checked by reading it instead."""
    check = _CHECKS.get(type_)
    return check is not None and not check(content)


def _pdf_is_whole(content: bytes) -> bool:
    return _PDF_END.search(content.rstrip(b"\0 \t\r\n")[-_PDF_TAIL:]) is not None


def _png_is_whole(content: bytes) -> bool:
    return b"IEND\xaeB`\x82" in content  # the last chunk with its checksum


def _riff_is_whole(content: bytes) -> bool:
    return int.from_bytes(content[4:8], "little") + 8 <= len(content)


def _boxes_are_whole(content: bytes) -> bool:
    """True if every box ends within the file, and there are both boxes of a picture: its description and its data."""
    found: set[bytes] = set()
    at = 0
    while at + 8 <= len(content):
        size, name = int.from_bytes(content[at : at + 4], "big"), content[at + 4 : at + 8]
        if not name.isalnum():
            break  # bytes of another program after the last box
        if size == 1:
            size = int.from_bytes(content[at + 8 : at + 16], "big")
        elif size == 0:
            size = len(content) - at  # to the end of the file
        if size < 8 or at + size > len(content):
            return False
        if name == b"meta" and b"idat" in content[at : at + size]:
            found.add(b"mdat")  # the data is in the description
        found.add(name)
        at += size
    return {b"meta", b"mdat"} <= found or {b"moov", b"mdat"} <= found


def _gif_is_whole(content: bytes) -> bool:
    """True if the blocks lead to the trailer."""
    at = _after_colours(content, 13, 10)
    while at < len(content):
        match content[at]:
            case 0x3B:
                return True
            case 0x21:
                at = _after_data(content, at + 2)
            case 0x2C:
                at = _after_data(content, _after_colours(content, at + 10, at + 9) + 1)
            case _:
                return False
    return False


def _after_colours(content: bytes, at: int, flags: int) -> int:
    """The place after a colour table that begins at ``at``, if the byte at ``flags`` says that there is one."""
    packed = content[flags] if flags < len(content) else 0
    return at + (3 << ((packed & 7) + 1) if packed & 0x80 else 0)


def _after_data(content: bytes, at: int) -> int:
    """The place after the data blocks that begin at ``at``."""
    while at < len(content) and content[at]:
        at += content[at] + 1
    return at + 1


_CHECKS: Final[Mapping[str, Callable[[bytes], bool]]] = {
    "application/pdf": _pdf_is_whole,
    "image/png": _png_is_whole,
    "image/webp": _riff_is_whole,
    "image/heic": _boxes_are_whole,
    "image/avif": _boxes_are_whole,
    "image/gif": _gif_is_whole,
}
