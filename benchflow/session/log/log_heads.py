"""Remembered heads of logs, and how a log compares with one: the same, grown, behind, or forked.

The chain of hashes shows a change only to somebody who knows a later hash. A remembered head is such a hash, with the
start of the hash of every line before it, so that the first line that differs can be named.
"""

from collections.abc import Sequence
from typing import Literal

from msgspec import Struct

from benchflow.session.log.line_format import Line

START_LENGTH = 8
"""Bytes of each line's hash that are kept. They find the line that differs; the whole head proves it."""

HeadStatus = Literal["same", "grown", "behind", "forked"]
"""``behind``: the log ends before the remembered head, as a restored backup does. ``forked``: a line differs."""


class KnownHead(Struct, frozen=True, omit_defaults=True):
    """The head of a log as it was remembered.

    ``session`` is the hash of the first line, ``head`` that of the last of ``events`` lines. ``starts`` has the first
    bytes of the hash of each line. ``at`` is when it was remembered (RFC 3339).
    """

    session: str
    events: int
    head: str
    starts: bytes
    unit: str = ""
    opened_at: str = ""
    path: str = ""
    bench: str = ""
    at: str = ""


class HeadComparison(Struct, frozen=True):
    """How a log compares with a remembered head. ``line`` is the first line that differs; 0 if none does."""

    status: HeadStatus
    line: int = 0


def hash_starts(lines: Sequence[Line]) -> bytes:
    """The first bytes of the hash of each line."""
    return b"".join(bytes.fromhex(line.hash[: 2 * START_LENGTH]) for line in lines)


def head_of_log(lines: Sequence[Line], *, path: str = "", bench: str = "", at: str = "") -> KnownHead:
    """The head of a log with at least one line."""
    first, unit = lines[0], lines[0].data.get("unit")
    return KnownHead(
        session=first.hash,
        events=len(lines),
        head=lines[-1].hash,
        starts=hash_starts(lines),
        unit=unit if isinstance(unit, str) else "",
        opened_at=first.at,
        path=path,
        bench=bench,
        at=at,
    )


def compare_heads(log: KnownHead, known: KnownHead) -> HeadComparison:
    """How the log with the head ``log`` compares with the remembered head ``known``."""
    for number in range(min(log.events, known.events)):
        place = slice(number * START_LENGTH, (number + 1) * START_LENGTH)
        if log.starts[place] != known.starts[place]:
            return HeadComparison("forked", number + 1)
    if log.events == known.events:
        return HeadComparison("same") if log.head == known.head else HeadComparison("forked", log.events)
    return HeadComparison("grown" if log.events > known.events else "behind")


def is_same_log(log: KnownHead, known: KnownHead) -> bool:
    """True if both are of one log: by the session, or by unit and opening time. The path is another reason."""
    by_unit = bool(log.unit) and (log.unit, log.opened_at) == (known.unit, known.opened_at)
    return log.session == known.session or by_unit


def comparison_text(log: KnownHead, known: KnownHead, found: HeadComparison, where: str) -> str:
    """The comparison as sentences for people. ``where`` names what remembers the head, such as ``this machine``."""
    later = f" The later copy was at {known.path}." if known.path and known.path != log.path else ""
    match found.status:
        case "same":
            return f"It is the log that {where} remembers ({known.events} events)."
        case "grown":
            return f"It has grown since {where} remembered it: from {known.events} to {log.events} events."
        case "behind":
            return (
                f"It is BEHIND: {where} remembers {known.events} events of this log, and it has only the first "
                f"{log.events}, as a restored backup would.{later}"
            )
        case "forked":
            return (
                f"It is FORKED at line {found.line}: from there on it is not the log that {where} remembers "
                f"({known.events} events, fingerprint {known.head[:16]}…). Keep both copies."
            )
