"""The files of the two copies of a build sheet beside its log. Another file with that name is never overwritten."""

from collections.abc import Mapping
from pathlib import Path
from typing import Final, Literal

from benchflow.base.atomic_write import Unconfirmed, atomic_write
from benchflow.base.errors import BenchflowError
from benchflow.base.regular_file import read_regular_file
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.sheets.build_sheet_html import build_sheet_html
from benchflow.review.sheets.customer_copy import CustomerCopy, customer_copy
from benchflow.review.sheets.customer_copy_html import customer_copy_html
from benchflow.review.sheets.letterhead import NO_LETTERHEAD, LetterheadOnSheet
from benchflow.review.sheets.pictures_on_sheet import links_to, stored_files
from benchflow.review.sheets.sheet_content import BuildSheet

Copy = Literal["customer", "shop"]
"""The two copies of the build sheet."""

_SUFFIX: Final[dict[Copy, str]] = {"customer": ".html", "shop": ".shop.html"}
_START = b"<title>Build sheet: "
_NEAR_START = 65_536  # bytes
_ELSEWHERE = "Name another file with: benchflow sheet -o FILE"


def sheet_path(log: Path, copy: Copy = "customer") -> Path:
    """The path of a copy beside ``log``: the same name with the suffix ``.html``, or ``.shop.html``.

    Raises:
        BenchflowError: there is a file with that name that is not a build sheet, or it cannot be read.
    """
    path = log.with_suffix(_SUFFIX[copy])
    try:
        free = not path.exists() or (path.is_file() and _START in read_regular_file(path, _NEAR_START))
    except OSError as error:
        raise BenchflowError(f"{path} cannot be read: {error.strerror}. {_ELSEWHERE}") from error
    if not free:
        raise BenchflowError(f"{path} exists and is not a build sheet. {_ELSEWHERE}")
    return path


def sheet_page(made: BuildSheet, customers: CustomerCopy | None, links: Mapping[int, str]) -> str:
    """The HTML page of the customer's copy; of the shop's copy ``made`` if there is none for the customer.

    ``links`` are the links to the whole pictures, by event.
    """
    return build_sheet_html(made, links) if customers is None else customer_copy_html(customers, links)


def own_links(made: BuildSheet, copy: Copy, path: Path) -> dict[int, str]:
    """The links of the shop's copy at ``path`` to the stored pictures. The customer's copy has none: they stay here."""
    return links_to(dict(stored_files(made.pictures)), path) if copy == "shop" else {}


def write_sheet(log: LoadedLog, made: BuildSheet, copy: Copy, letterhead: LetterheadOnSheet = NO_LETTERHEAD) -> Path:
    """Write a copy of the build sheet ``made`` beside the log, and return its path.

    Raises:
        BenchflowError: the file cannot be written, or is not a build sheet.
    """
    path = sheet_path(Path(log.path), copy)
    customers = customer_copy(log, made, letterhead) if copy == "customer" else None
    try:
        atomic_write(path, sheet_page(made, customers, own_links(made, copy, path)).encode())
    except Unconfirmed as error:
        raise BenchflowError(f"{path} was written, but the disk did not confirm it: {error.strerror}.") from error
    except OSError as error:
        raise BenchflowError(f"{path} cannot be written: {error.strerror}. {_ELSEWHERE}") from error
    return path
