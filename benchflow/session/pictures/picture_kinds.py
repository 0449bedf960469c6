"""Recognises a picture by its first bytes, whatever the ending of its name.

Signatures: JPEG ITU-T T.81, B.1.1.3; PNG ISO/IEC 15948, 5.2; GIF 89a specification, 17; TIFF 6.0, section 2; WebP
RFC 9649, 2.4 and 2.5; HEIF and AVIF ISO/IEC 14496-12, 4.3 (box ``ftyp``) with the brands of ISO/IEC 23008-12, annex B,
and of the AVIF specification 1.1; PDF ISO 32000-2, 7.5.2. The brands of videos are from memory.
"""

from typing import Final

from msgspec import Struct


class PictureKind(Struct, frozen=True):
    """A kind of file that can be attached. ``pillow`` is the name of its reader in Pillow; "" if it has none.

    ``thumbnail`` is true if the sheets show it small.
    """

    type: str  # media type, such as image/jpeg
    ending: str  # of the stored file, such as .jpg
    title: str
    pillow: str = ""
    thumbnail: bool = False


HEIC: Final = "image/heic"
"""The media type of a HEIC. :mod:`heic_reader` reads it, not Pillow itself."""

_KINDS: Final = (
    PictureKind("image/jpeg", ".jpg", "JPEG", "JPEG", thumbnail=True),
    PictureKind("image/png", ".png", "PNG", "PNG", thumbnail=True),
    PictureKind("image/webp", ".webp", "WebP", "WEBP", thumbnail=True),
    PictureKind("image/gif", ".gif", "GIF", "GIF", thumbnail=True),
    PictureKind("image/tiff", ".tif", "TIFF", "TIFF"),
    PictureKind("image/avif", ".avif", "AVIF", "AVIF", thumbnail=True),
    PictureKind(HEIC, ".heic", "HEIC", thumbnail=True),
    PictureKind("application/pdf", ".pdf", "PDF"),
)

KINDS: Final[dict[str, PictureKind]] = {kind.type: kind for kind in _KINDS}
"""The kinds of files that can be attached, by media type."""

KIND_TITLES: Final = "JPEG, PNG, WebP, GIF, TIFF, AVIF, HEIC or PDF"

ENDINGS: Final = frozenset({*(kind.ending for kind in _KINDS), ".jpeg", ".tiff", ".heif", ".hif"})
"""The endings of names, in small letters, with which a file in the incoming folder is offered."""

_HEIC_BRANDS: Final = frozenset({b"heic", b"heix", b"heim", b"heis", b"mif1", b"msf1"})
_AVIF_BRANDS: Final = frozenset({b"avif", b"avis"})

_OTHERS: Final = (
    (b"\x1a\x45\xdf\xa3", "a video"),
    (b"RIFF", "a video or a sound"),
    (b"PK\x03\x04", "a ZIP file or an office document"),
    (b"\x1f\x8b", "a compressed file"),
    (b"BM", "a BMP picture"),
)

HEAD_BYTES = 512
"""The number of first bytes that the functions here need."""


def picture_kind(head: bytes) -> PictureKind | None:
    """The kind of the file that begins with ``head``; ``None`` if it cannot be attached."""
    found = ""
    if head.startswith(b"\xff\xd8\xff"):
        found = "image/jpeg"
    elif head.startswith(b"\x89PNG\r\n\x1a\n"):
        found = "image/png"
    elif head.startswith((b"GIF87a", b"GIF89a")):
        found = "image/gif"
    elif head.startswith((b"II*\x00", b"MM\x00*")):
        found = "image/tiff"
    elif head.startswith(b"RIFF") and head[8:12] == b"WEBP":
        found = "image/webp"
    elif head[4:8] == b"ftyp":
        found = _boxed_kind(head)
    elif head.startswith(b"%PDF-"):
        found = "application/pdf"
    return KINDS.get(found)


def _boxed_kind(head: bytes) -> str:
    """HEIC or AVIF by the brands in the box ``ftyp``; "" for a video."""
    length = min(int.from_bytes(head[:4], "big"), len(head))
    brands = [head[8:12], *(head[at : at + 4] for at in range(16, length - 3, 4))]
    if brands[0] in _AVIF_BRANDS or (brands[0] in _HEIC_BRANDS and _AVIF_BRANDS & set(brands)):
        return "image/avif"
    return HEIC if brands[0] in _HEIC_BRANDS else ""


def other_content(head: bytes) -> str:
    """What a file seems to be that cannot be attached, with its article: ``a video``, ``a text``."""
    if head[4:8] == b"ftyp":
        return "a video"
    for start, what in _OTHERS:
        if head.startswith(start):
            return what
    text = head.lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if text.startswith((b"<svg", b"<?xml")) or b"<svg" in text:
        return "an SVG drawing" if b"<svg" in text else "an XML text"
    if b"\x00" not in head and _is_text(head):
        return "a text"
    return "data of an unknown kind"


def _is_text(head: bytes) -> bool:
    for cut in range(4):  # the last character may be cut
        try:
            head[: len(head) - cut].decode()
        except UnicodeDecodeError:
            continue
        return True
    return False
