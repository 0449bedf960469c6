"""Timestamps of the log: RFC 3339, UTC, milliseconds, ``Z``."""

import re
from datetime import UTC, datetime, timedelta

from benchflow.base.errors import BenchflowError

WRITTEN = re.compile(r"\d{4}-[01]\d-[0-3]\dT[0-2]\d:[0-5]\d:[0-5]\d\.\d{3}Z", re.ASCII)
"""The one form that the log writes. :func:`parse` also checks the calendar."""

_ANY = re.compile(
    r"(?P<date>\d{4}-\d{2}-\d{2})[Tt](?P<hour>\d{2}):(?P<minute>\d{2}):(?P<second>\d{2})"
    r"(?:\.(?P<fraction>\d+))?(?:[Zz]|(?P<sign>[+-])(?P<off_hour>\d{2}):(?P<off_minute>\d{2}))",
    re.ASCII,
)
_LEAP = 60


class BadTimestamp(BenchflowError):
    """The text is not an RFC 3339 date and time."""


def parse(text: str) -> datetime:
    """The time in UTC. Accepts every form of RFC 3339 section 5.6, with any offset.

    A leap second (``23:59:60`` UTC on the last day of a month) becomes the first second of the next day,
    as in POSIX time. Digits beyond microseconds are dropped.

    Raises:
        BadTimestamp: the text is something else, or a day that does not exist.
    """
    try:
        if WRITTEN.fullmatch(text):
            return datetime.fromisoformat(text)
        return _parse_any(text)
    except (ValueError, OverflowError) as wrong:
        raise BadTimestamp(
            f"{text[:60]!r} is not a date and time ({wrong}). Write it like 2026-03-01T18:30:00Z."
        ) from wrong


def _parse_any(text: str) -> datetime:
    found = _ANY.fullmatch(text)
    if found is None:
        raise ValueError("it is not in the form of RFC 3339")
    second = int(found["second"])
    leap = second == _LEAP
    micro = int((found["fraction"] or "")[:6].ljust(6, "0"))
    local = datetime.fromisoformat(found["date"]).replace(
        hour=int(found["hour"]), minute=int(found["minute"]), second=59 if leap else second, microsecond=micro
    )
    moment = (local - _offset(found)).replace(tzinfo=UTC)
    if not leap:
        return moment
    after = moment.replace(microsecond=0) + timedelta(seconds=1)
    if (after.hour, after.minute, after.second, after.day) != (0, 0, 0, 1):
        raise ValueError("second 60 exists only at the end of a month, 23:59:60 UTC")
    return after


def _offset(found: re.Match[str]) -> timedelta:
    if found["sign"] is None:
        return timedelta(0)
    hours, minutes = int(found["off_hour"]), int(found["off_minute"])
    if hours > 23 or minutes > 59:
        raise ValueError("the offset is out of range")
    offset = timedelta(hours=hours, minutes=minutes)
    return offset if found["sign"] == "+" else -offset


def format(moment: datetime) -> str:
    """``2026-03-01T18:30:00.000Z``; fractions of a millisecond are cut off, so that no time is written
    as later than it was.

    Raises:
        ValueError: ``moment`` has no time zone.
    """
    if moment.tzinfo is None:
        raise ValueError("a time without its zone cannot be written to the log")
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
