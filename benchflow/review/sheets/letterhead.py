"""The letterhead of the build sheet: name, address and logo of the shop, from its register."""

import base64
from pathlib import Path
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.base.regular_file import read_regular_file

if TYPE_CHECKING:
    from benchflow.session.shop.register import Shop

MOST_LOGO_BYTES = 256 * 1024
"""A larger logo is refused: it is part of every sheet. (Own rule.)"""

_SIGNATURES: Final = {b"\x89PNG\r\n\x1a\n": "image/png", b"\xff\xd8\xff": "image/jpeg"}
"""The first bytes of a PNG file (ISO/IEC 15948, 5.2) and of a JPEG file (ITU-T T.81, B.1.1.3)."""


class LetterheadOnSheet(Struct, frozen=True):
    """The letterhead, ready to print. ``logo`` is a data URI, "" without a logo."""

    name: str = ""
    address: tuple[str, ...] = ()
    telephone: str = ""
    email: str = ""
    logo: str = ""


NO_LETTERHEAD = LetterheadOnSheet()


def letterhead_of(shop: "Shop | None", register: Path) -> LetterheadOnSheet:
    """The letterhead in ``shop``, whose file is ``register``. The logo is beside that file.

    Raises:
        BenchflowError: the logo cannot be read, is too large, or is neither a PNG nor a JPEG file.
    """
    if shop is None:
        return NO_LETTERHEAD
    head = shop.letterhead
    logo = logo_data_uri(register.parent / head.logo) if head.logo else ""
    return LetterheadOnSheet(shop.name, head.address, head.telephone, head.email, logo)


def logo_data_uri(path: Path) -> str:
    """The picture at ``path`` as a data URI.

    Raises:
        BenchflowError: as :func:`letterhead_of`.
    """
    change = "Change it with: benchflow shop letterhead logo=FILE"
    try:
        data = read_regular_file(path, MOST_LOGO_BYTES + 1)
    except OSError as error:
        raise BenchflowError(f"The logo {path} cannot be read: {error.strerror or error}. {change}") from error
    if len(data) > MOST_LOGO_BYTES:
        raise BenchflowError(f"The logo {path} has more than {MOST_LOGO_BYTES // 1024} KiB. Make it smaller. {change}")
    kind = next((kind for start, kind in _SIGNATURES.items() if data.startswith(start)), None)
    if kind is None:
        raise BenchflowError(f"The logo {path} is neither a PNG nor a JPEG file. {change}")
    return f"data:{kind};base64,{base64.b64encode(data).decode('ascii')}"
