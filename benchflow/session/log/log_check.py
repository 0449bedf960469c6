"""Checks every line of a log file, without changing it."""

from pathlib import Path

from msgspec import Struct

from benchflow.session.log.line_format import ZEROS, Damage, read
from benchflow.session.log.log_access import read_bytes


class LogCheck(Struct, frozen=True):
    """The result of checking a log.

    ``events`` is the number of valid events, ``head`` the hash of the last one. ``torn`` is true if an incomplete
    last line or group follows them. ``untrusted`` is the number of lines at or after the damage whose own hash fits.
    ``converted`` is true if all line ends were converted to CR LF, ``open_end`` if the last event lacks its newline.
    """

    events: int
    damage: Damage | None
    torn: bool
    head: str
    untrusted: int = 0
    converted: bool = False
    open_end: bool = False


def verify(path: Path) -> LogCheck:
    """Check every line of a log. The log is not changed.

    Raises:
        LogUnusable: the log cannot be read.
    """
    parsed = read(read_bytes(path))
    head = parsed.lines[-1].hash if parsed.lines else ZEROS
    return LogCheck(
        len(parsed.lines), parsed.damage, bool(parsed.tail), head, len(parsed.untrusted), parsed.converted,
        parsed.open_end,
    )  # fmt: skip
