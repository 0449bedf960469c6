"""Compares every stored picture of a job or a teardown with its log."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

import msgspec
from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.session.log.journal import Journal
from benchflow.session.log.line_format import Line
from benchflow.session.pictures.picture_file import PictureFacts
from benchflow.session.pictures.stored_pictures import remove_unnamed, stored_picture_problem, unnamed_files

PICTURE_KINDS: Final = frozenset({"attached", "picture-kept"})
"""The kinds of events that name a stored picture: of a job, and of a teardown."""


class PictureProblem(Struct, frozen=True):
    """A stored picture that was changed or is missing. ``line`` is that of the log; ``text`` says what to do."""

    line: int
    name: str
    what: str  # "missing", "changed" or "unreadable"
    path: Path
    text: str


class PictureCheck(Struct, frozen=True):
    """The result for one log: the number of its pictures, what is wrong, and stored files that no event names."""

    count: int
    problems: tuple[PictureProblem, ...]
    unnamed: tuple[Path, ...]


def pictures_of(lines: Sequence[Line]) -> Iterator[tuple[int, PictureFacts]]:
    """The line and the facts of each picture of a log, also of one that was withdrawn."""
    for line in lines:
        if line.kind in PICTURE_KINDS:
            try:
                yield line.seq, msgspec.convert(line.data, PictureFacts)
            except msgspec.ValidationError:
                continue  # the audit reports it


def check_pictures(path: Path) -> PictureCheck:
    """Check the pictures of the log at ``path``. Nothing is changed.

    Raises:
        BenchflowError: the log cannot be read.
    """
    with Journal.open(path, read_only=True) as journal:
        found = _pictures_of_journal(journal)
    problems = []
    for line, facts in found:
        problem = stored_picture_problem(path, facts)
        if problem is not None:
            problems.append(PictureProblem(line, facts.name, problem.what, problem.path, f"{problem.message}."))
    return PictureCheck(len(found), tuple(problems), tuple(unnamed_files(path, (facts for _, facts in found))))


def clean_pictures(path: Path) -> list[Path]:
    """Remove the stored files that no event of the log at ``path`` names. Returns them.

    Raises:
        BenchflowError: the log is damaged or open in another window, so that an event could name them after all.
    """
    with Journal.open(path) as journal:
        if journal.read_only:
            raise BenchflowError(f"No file beside {path} was removed: {journal.read_only}.")
        return remove_unnamed(unnamed_files(path, (facts for _, facts in _pictures_of_journal(journal))))


def _pictures_of_journal(journal: Journal) -> list[tuple[int, PictureFacts]]:
    """The pictures that any line names, also a line after damage."""
    return list(pictures_of([*journal.lines, *(each.line for each in journal.untrusted)]))
