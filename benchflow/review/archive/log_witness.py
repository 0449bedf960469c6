"""Compares a log with a head that is known elsewhere: a fingerprint, a build sheet, an archive, or this machine."""

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Literal

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.base.regular_file import read_regular_file
from benchflow.session.log.line_format import Line
from benchflow.session.log.log_heads import KnownHead, compare_heads, comparison_text, head_of_log, is_same_log

SHORTEST = 12
"""The fewest digits of a fingerprint that are compared."""

_FINGERPRINT = re.compile(rb"(?<![0-9a-f])(?:[0-9a-f]{8}\s*){7}[0-9a-f]{8}(?![0-9a-f])")
_EVENTS = re.compile(
    rb"(?:All|first|intact:|DAMAGED\*\*:) ([0-9]+) events\b|\"events\": ?([0-9]+)|of the record:? \(?([0-9]+) entries\b"
)
_TAG = re.compile(rb"<[^>]*>")

WitnessStatus = Literal["same", "grown", "behind", "forked", "unknown"]
"""``unknown``: the given fingerprint is in no line of the log, so the log was changed or ends before it."""


class WitnessAnswer(Struct, frozen=True):
    """How a log compares with what is known elsewhere. ``line`` is the line with the known head, or the first that
    differs; 0 if there is none."""

    status: WitnessStatus
    line: int
    text: str

    @property
    def ok(self) -> bool:
        """True if no line of the log is known to differ."""
        return self.status in ("same", "grown", "behind")


def compare_with(lines: Sequence[Line], path: Path, against: str) -> WitnessAnswer:
    """Compare a log with ``against``: a fingerprint (or its first digits), a build sheet, or an archive.

    Raises:
        BenchflowError: ``against`` is none of them, or cannot be compared with this log.
    """
    if not lines:
        raise BenchflowError(f"{path} has no event, so it cannot be compared.")
    plain = "".join(against.split()).lower()  # the sheet prints the fingerprint in groups
    if SHORTEST <= len(plain) <= 64 and set(plain) <= set("0123456789abcdef") and not Path(against).exists():
        return _with_fingerprint(lines, plain, 0, "the given fingerprint")
    if "://" not in against:
        sheet = _sheet_in(Path(against))
        if sheet is not None:
            head, events = sheet
            return _with_fingerprint(lines, head, events, f"the sheet {against}")
    return _with_archive(lines, path, against)


def _with_fingerprint(lines: Sequence[Line], head: str, events: int, where: str) -> WitnessAnswer:
    """Compare with a fingerprint. ``events`` is the number of events that belong to it; 0 if that is not known."""
    number = next((line.seq for line in lines if line.hash.startswith(head)), 0)
    if number == len(lines):
        return WitnessAnswer("same", number, f"It is the log of {where} ({number} events).")
    if number:
        return WitnessAnswer("grown", number, f"It has grown since {where}: from {number} to {len(lines)} events.")
    if events > len(lines):
        text = (
            f"It is BEHIND {where}: that had {events} events, and this log has {len(lines)}. A fingerprint alone does "
            "not show whether these are the same."
        )
        return WitnessAnswer("behind", 0, text)
    if events:
        text = f"It is FORKED: line {events} of this log is not that of {where}. Lines up to there were changed."
        return WitnessAnswer("forked", events, text)
    text = f"No line of this log has {where}. The log was changed, or it ends before that line."
    return WitnessAnswer("unknown", 0, text)


def _sheet_in(path: Path) -> tuple[str, int] | None:
    """The fingerprint and the number of events on a build sheet; ``None`` if the file is an archive.

    Raises:
        BenchflowError: the file cannot be read, or has no fingerprint, or several.
    """
    try:
        data = read_regular_file(path)
    except OSError as error:
        message = (
            f"{path} is neither a fingerprint of at least {SHORTEST} digits, nor a file that can be read "
            f"({error.strerror or error}). Give a fingerprint, a build sheet or an archive."
        )
        raise BenchflowError(message) from error
    if data.startswith(b"SQLite format 3\0"):
        return None
    text = re.sub(rb"\s+", b" ", _TAG.sub(b" ", data))
    found = {re.sub(rb"\s", b"", match).decode() for match in _FINGERPRINT.findall(text)}
    events = {int(b"".join(groups)) for groups in _EVENTS.findall(text)}
    if len(found) != 1:
        what = "no fingerprint" if not found else "several fingerprints"
        raise BenchflowError(f"{path} has {what}. Give the fingerprint itself: benchflow verify LOG --against HASH.")
    return found.pop(), events.pop() if len(events) == 1 else 0


def _with_archive(lines: Sequence[Line], path: Path, against: str) -> WitnessAnswer:
    from benchflow.review.archive.database import open_database
    from benchflow.review.archive.known_heads import remembered_heads

    database = open_database(against, existing=True)
    try:
        log = head_of_log(lines, path=str(path.absolute()))
        return against_heads(log, remembered_heads(database, log), "the archive")
    finally:
        database.close()


def against_heads(log: KnownHead, heads: Sequence[KnownHead], where: str) -> WitnessAnswer:
    """Compare with remembered heads of the same log, in the order in which they were remembered.

    The first one with the same session counts: a fork that was filed later does not prove anything.

    Raises:
        BenchflowError: none of them is of this log.
    """
    same = [head for head in heads if is_same_log(log, head) or head.path == log.path]
    if not same:
        raise BenchflowError(f"{where[:1].upper()}{where[1:]} does not remember this log. Nothing was compared.")
    known = next((head for head in same if head.session == log.session), same[0])
    found = compare_heads(log, known)
    line = found.line or min(log.events, known.events)
    return WitnessAnswer(found.status, line, comparison_text(log, known, found, where))
