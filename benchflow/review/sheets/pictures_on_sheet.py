"""The pictures of a job on its sheets: thumbnails in the page, and whole copies in a folder."""

import csv
import os
import re
from collections.abc import Iterable, Iterator, Mapping
from io import StringIO
from pathlib import Path
from typing import Final
from urllib.parse import quote

from msgspec import Struct

from benchflow.base.atomic_write import atomic_write
from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import shown_path
from benchflow.base.regular_file import read_regular_file
from benchflow.review.formatting import count, local_time
from benchflow.review.interchange.event_rows import csv_cell
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.log.picture_facts import PictureFact
from benchflow.review.log.remarks import note_shown
from benchflow.session.history.log_titles import LogTitles
from benchflow.session.history.picture_text import picture_heading, picture_size
from benchflow.session.pictures.picture_file import PictureFacts, no_thumbnail
from benchflow.session.pictures.picture_kinds import KINDS
from benchflow.session.pictures.stored_pictures import digest_of, stored_path, stored_picture_problem
from benchflow.session.pictures.thumbnails import thumbnail_uri

MOST_FOR_CUSTOMER: Final = 12
"""The most pictures on the customer's copy, which has one or two pages. (Own rule.)"""

_UNSAFE: Final = re.compile(r"[^A-Za-z0-9._-]+")


class SheetPicture(Struct, frozen=True):
    """A picture on a sheet. ``title`` says what it shows, ``text`` is the caption, ``file`` where it is stored.

    ``problem`` says why it is not shown: the stored file is missing or was changed, or it has no thumbnail.
    """

    event: int
    operation: str
    title: str
    text: str
    about: str
    by: str
    at: str
    facts: PictureFacts
    file: str
    problem: str = ""

    @property
    def thumbnail(self) -> str:
        """The small picture as a data URI; "" if there is a problem."""
        return "" if self.problem else thumbnail_uri(Path(self.file), self.facts)


def pictures_on_sheet(log: LoadedLog) -> tuple[SheetPicture, ...]:
    """The pictures of the log that are not withdrawn, in the order of their events."""
    return tuple(_picture_of_job(log, fact) for fact in log.facts.pictures if fact.in_force)


def _picture_of_job(log: LoadedLog, fact: PictureFact) -> SheetPicture:
    heading = picture_heading(fact.operation, fact.target, LogTitles(log.plan), note_shown(log.facts, fact))
    return sheet_picture(
        Path(log.path), fact.file, event=fact.seq, operation=fact.operation, title=heading, text=fact.text, by=fact.by,
        at=local_time(fact.at),
    )  # fmt: skip


def sheet_picture(
    log: Path, facts: PictureFacts, *, event: int, operation: str, title: str, text: str, by: str = "", at: str = "",
) -> SheetPicture:  # fmt: skip
    """A picture that is stored beside ``log``, with its problem if the stored file is not as the log says."""
    found = stored_picture_problem(log, facts)
    problem = no_thumbnail(facts)
    if found is not None:
        problem = {"missing": "The stored file is missing.", "changed": "The stored file was changed."}.get(
            found.what, "The stored file cannot be read."
        )
    about, file = f"{facts.name}, {picture_size(facts)}", str(stored_path(log, facts.sha256, facts.type))
    return SheetPicture(event, operation, title, text, about, by, at, facts, file, problem)


# --- whole pictures -----------------------------------------------------------------------------


def copy_pictures(log: Path, folder: Path, pictures: Iterable[SheetPicture]) -> dict[int, Path]:
    """Make ``folder``, and copy the stored files of ``log`` into it with readable names. Returns the copies by event.

    A picture that is missing or changed is left out. Another file with the name of a copy is never overwritten.

    Raises:
        BenchflowError: the folder cannot be made, or a copy cannot be written.
    """
    copies: dict[int, Path] = {}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for picture in pictures:
            if stored_picture_problem(log, picture.facts) is not None:
                continue
            copy = folder / copy_name(picture.event, picture.facts)
            if not os.path.lexists(copy):
                atomic_write(copy, read_regular_file(Path(picture.file)))
            elif digest_of(copy) != picture.facts.sha256:
                raise BenchflowError(f"{shown_path(copy)} exists and differs. Name an empty folder for the pictures.")
            copies[picture.event] = copy
    except OSError as error:
        why = (error.strerror or str(error)).lower()
        raise BenchflowError(
            f"The pictures cannot be copied to {shown_path(folder)}: {why}. Name another folder."
        ) from error
    return copies


def copy_name(event: int, facts: PictureFacts) -> str:
    """The name of a copy: ``0012-IMG_0040.jpg``. It has only letters, digits, dots, dashes and underscores."""
    stem = _UNSAFE.sub("_", Path(facts.name).stem).strip("._")[:60] or "picture"
    kind = KINDS.get(facts.type)
    return f"{event:04d}-{stem}{'' if kind is None else kind.ending}"


def picture_list(pictures: Iterable[SheetPicture], copies: Mapping[int, Path]) -> str:
    """The pictures as CSV (RFC 4180): the name of the copy ("" if it is missing), what it shows, its SHA-256."""
    out = StringIO()
    rows = csv.writer(out)
    rows.writerow(("file", "event", "operation", "shows", "text", "original", "type", "size", "sha256", "by", "at"))
    for one in pictures:
        copy, facts = copies.get(one.event), one.facts
        cells = (
            "" if copy is None else copy.name, one.event, one.operation, one.title, one.text, facts.name, facts.type,
            facts.size, facts.sha256, one.by, one.at,
        )  # fmt: skip
        rows.writerow([csv_cell(cell) for cell in cells])
    return out.getvalue()


def links_to(files: Mapping[int, Path], sheet: Path) -> dict[int, str]:
    """Links from the file ``sheet`` to ``files``, by event: relative, so that both can be moved together."""
    start = sheet.absolute().parent
    return {event: quote(Path(os.path.relpath(file.absolute(), start)).as_posix()) for event, file in files.items()}


def stored_files(pictures: Iterable[SheetPicture]) -> Iterator[tuple[int, Path]]:
    """The stored file of each picture that is unchanged, by event."""
    return ((picture.event, Path(picture.file)) for picture in pictures if not _is_lost(picture))


def lost_pictures(pictures: Iterable[SheetPicture]) -> str:
    """How many stored files are missing or changed, as a sentence; "" if all are as they were stored."""
    lost = [picture.facts.name for picture in pictures if _is_lost(picture)]
    if not lost:
        return ""
    are = "is" if len(lost) == 1 else "are"
    return f"{count(len(lost), 'stored picture')} {are} missing, changed or unreadable. First: {lost[0]}."


def _is_lost(picture: SheetPicture) -> bool:
    return bool(picture.problem) and no_thumbnail(picture.facts) != picture.problem
