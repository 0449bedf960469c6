"""Timestamps of the log: RFC 3339, UTC, milliseconds, ``Z``."""

import re
from datetime import UTC, date, datetime, timedelta, tzinfo
from functools import lru_cache

from benchflow.base.errors import BenchflowError

LOG_FORM = re.compile(r"\d{4}-[01]\d-[0-3]\dT[0-2]\d:[0-5]\d:[0-5]\d\.\d{3}Z", re.ASCII)
"""The form of every timestamp that is written to a log. The calendar is checked by :func:`parse_timestamp`."""

_ANY = re.compile(
    r"(?P<date>\d{4}-\d{2}-\d{2})[Tt](?P<hour>\d{2}):(?P<minute>\d{2}):(?P<second>\d{2})"
    r"(?:\.(?P<fraction>\d+))?(?:[Zz]|(?P<sign>[+-])(?P<off_hour>\d{2}):(?P<off_minute>\d{2}))",
    re.ASCII,
)
_LEAP = 60


class BadTimestamp(BenchflowError):
    """The text is not an RFC 3339 date and time."""


@lru_cache(1024)  # the events of one intent have one time, which is compared with many
def parse_timestamp(text: str) -> datetime:
    """The time in UTC. Every form of RFC 3339 section 5.6 is accepted, with any offset.

    A leap second (``23:59:60`` UTC on the last day of a month) becomes the first second of the next day,
    as in POSIX time. Digits beyond microseconds are dropped.

    Raises:
        BadTimestamp: the text is not a timestamp, or the day does not exist.
    """
    try:
        if LOG_FORM.fullmatch(text):
            return datetime.fromisoformat(text)
        return _parse_any(text)
    except (ValueError, OverflowError) as error:
        raise BadTimestamp(
            f"{text[:60]!r} is not a date and time ({error}). Write it like 2026-03-01T18:30:00Z."
        ) from error


def local_time_of(text: str, zone: tzinfo | None = None) -> datetime:
    """A timestamp in local time. ``zone`` replaces the time zone of the machine.

    At the ends of the calendar, in year 1 and year 9999, the local time may not exist. Then the time is in UTC.

    Raises:
        BadTimestamp: the text is not a timestamp, or the day does not exist.
    """
    time = parse_timestamp(text)
    try:
        return time.astimezone(zone)
    except (OverflowError, ValueError, OSError):  # the type depends on the system
        return time


def local_date(text: str, zone: tzinfo | None = None) -> date:
    """The local date of a timestamp. ``zone`` replaces the time zone of the machine.

    Raises:
        BadTimestamp: the text is not a timestamp, or the day does not exist.
    """
    return local_time_of(text, zone).date()


def clock_time_after(now: str, seconds: float, zone: tzinfo | None = None, *, round_up: bool = False) -> str:
    """The local clock time ``seconds`` after the timestamp ``now``, to the minute: ``16:04``, ``Sun 16:04``.

    It has the weekday if it is not on the day of ``now``, and the date (``2026-03-08 16:04``) if it is a week or more
    away. Beyond year 9999 it is empty. ``round_up`` is for the end of a wait, which must not be shown too early.
    ``zone`` replaces the time zone of the machine.

    Raises:
        BadTimestamp: the text is not a timestamp, or the day does not exist.
    """
    try:
        time = parse_timestamp(now) + timedelta(seconds=seconds, minutes=1 if round_up else 0)
    except OverflowError:
        return ""
    if round_up and not (time.second or time.microsecond):
        time -= timedelta(minutes=1)
    local = local_time_of(format_timestamp(time), zone)
    days = (local.date() - local_date(now, zone)).days
    return f"{local:%H:%M}" if not days else f"{local:%a %H:%M}" if 0 < days < 7 else f"{local:%Y-%m-%d %H:%M}"


def _parse_any(text: str) -> datetime:
    match = _ANY.fullmatch(text)
    if match is None:
        raise ValueError("it is not in the form of RFC 3339")
    second = int(match["second"])
    leap = second == _LEAP
    micro = int((match["fraction"] or "")[:6].ljust(6, "0"))
    local = datetime.fromisoformat(match["date"]).replace(
        hour=int(match["hour"]), minute=int(match["minute"]), second=59 if leap else second, microsecond=micro
    )
    utc = (local - _offset(match)).replace(tzinfo=UTC)
    if not leap:
        return utc
    next_second = utc.replace(microsecond=0) + timedelta(seconds=1)
    if (next_second.hour, next_second.minute, next_second.second, next_second.day) != (0, 0, 0, 1):
        raise ValueError("second 60 is allowed only at 23:59:60 UTC on the last day of a month")
    return next_second


def _offset(match: re.Match[str]) -> timedelta:
    if match["sign"] is None:
        return timedelta(0)
    hours, minutes = int(match["off_hour"]), int(match["off_minute"])
    if hours > 23 or minutes > 59:
        raise ValueError("the offset is out of range")
    offset = timedelta(hours=hours, minutes=minutes)
    return offset if match["sign"] == "+" else -offset


def format_timestamp(time: datetime) -> str:
    """``2026-03-01T18:30:00.000Z``. Fractions of a millisecond are cut off, so that no time is written too late.

    Raises:
        ValueError: ``time`` has no time zone.
    """
    if time.tzinfo is None:
        raise ValueError("a time without a time zone cannot be written to the log")
    return time.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
