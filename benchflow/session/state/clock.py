"""The time of an event, the present time, and how many seconds are proven between them.

Each event has the wall clock and a boot clock, which counts also while the machine sleeps. Within one boot the boot
clock decides, since nobody can set it. Across boots the wall clock counts.
"""

from datetime import timedelta
from itertools import pairwise

from msgspec import Struct

from benchflow.session.log.line_format import Line
from benchflow.session.log.timestamps import format_timestamp, parse_timestamp

NOT_KNOWN = "?"
"""The boot of an event whose time nothing proves."""

NOTED = 2.0
"""Seconds by which the wall clock has to go back before it is noted. A time server moves it by less."""

TOLERANCE = 120.0
"""Seconds by which the wall clock may show less than the boot clocks prove. With more, the time is not known. Own rule:
a clock that a time server corrects after a start is rarely further out."""

PIN_WAIT = 2.0
"""Seconds after a wrong PIN in which no other PIN is accepted. Own rule: 1,800 tries an hour at most."""

BY_WALL_CLOCK = "computer clock, across a restart"
"""What follows a duration that only the wall clock shows."""

BOOT_LENGTH = 8
"""Number of characters of a boot id that each line keeps."""


class EventTime(Struct, frozen=True):
    """The time at which an event was logged, by the wall clock and by the boot clock."""

    seq: int  # of the event
    at: str  # wall clock, RFC 3339, UTC
    boot: str = ""  # start of the boot id; "" if the line has no boot clock
    ms: int = 0  # boot clock in milliseconds; without one, the wall clock in milliseconds


class Now(Struct, frozen=True):
    """The present time, by the wall clock and by the boot clock."""

    at: str  # wall clock, RFC 3339, UTC
    boot: str = ""  # start of the boot id; "" in a simulated session
    ms: int = 0  # boot clock in milliseconds


class BootSpan(Struct, frozen=True):
    """Events in a row whose boot clock ran on: the boot, the first event, and both clocks at both ends in ms.

    The last span of a log is still open: its end is the last event.
    """

    boot: str
    seq: int
    first: int  # boot clock
    last: int
    wall_first: int
    wall_last: int


class Elapsed(Struct, frozen=True):
    """The seconds between two times, at least 0.

    ``low`` counts for a lower end of a window, ``high`` for an upper end. ``known`` is false if the clocks contradict
    each other: ``low`` is then 0, and ``high`` the most that any clock shows. ``across`` is true if the wall clock had
    to be used, because the boot clock started again in between; without a boot clock it is false. ``wall`` (negative if
    that clock was set back) and ``proven`` are what the wall clock shows and the boot clocks prove; set only if
    the time is not known.
    """

    low: float
    high: float
    known: bool = True
    across: bool = False
    wall: float = 0.0
    proven: float = 0.0


def event_time(line: Line) -> EventTime:
    """The time at which a line was logged."""
    clock = line.data.get("clock")
    if clock is None:
        return EventTime(line.seq, line.at, "", wall_ms(line.at))
    # Before format 3 the clock counted from the start of the program run.
    boot = clock["boot"] if "boot" in clock else f"run {clock['run']}"
    return EventTime(line.seq, line.at, boot, clock["ms"])


def wall_ms(at: str) -> int:
    """A timestamp as milliseconds since 1970."""
    return round(parse_timestamp(at).timestamp() * 1000)


def wall_seconds(since: str, until: str) -> float:
    """The seconds from one timestamp to another; negative if the clock was set back."""
    return (parse_timestamp(until) - parse_timestamp(since)).total_seconds()


def boot_ms(now: Now) -> int:
    """The boot clock of ``now``; without one, the wall clock. In milliseconds."""
    return now.ms if now.boot else wall_ms(now.at)


def with_event(spans: tuple[BootSpan, ...], last: EventTime | None, new: EventTime) -> tuple[BootSpan, ...]:
    """The spans after the event at ``new``, which follows the event at ``last``."""
    if last is not None and last.boot == new.boot and last.ms <= new.ms:
        return spans
    closed = () if last is None else (*spans[:-1], _ended(spans[-1], last.ms, wall_ms(last.at)))
    wall = wall_ms(new.at)
    return (*closed, BootSpan(new.boot, new.seq, new.ms, new.ms, wall, wall))


def elapsed(spans: tuple[BootSpan, ...], last: EventTime, since: EventTime, now: Now) -> Elapsed:
    """The seconds from ``since`` to ``now``. ``last`` is the last event of the log, whose clocks are in ``spans``.

    Across boots the wall clock counts. If it was set within a boot, as the boot clock shows, a lower end gets the wall
    clock with or without that step, whichever is less, and an upper end whichever is more. (Own rule.)
    """
    wall, end = wall_seconds(since.at, now.at), boot_ms(now)
    if since.boot == NOT_KNOWN:
        return Elapsed(0.0, max(0.0, wall), known=False, across=True)
    begin = max((index for index, span in enumerate(spans) if span.seq <= since.seq), default=0)
    runs_on = last.boot == now.boot and last.ms <= end
    in_span = since.boot == spans[begin].boot  # false for an operation that was done under an earlier log
    if (runs_on and in_span and begin == len(spans) - 1) or (now.boot and _ran_on(spans, last, since, now)):
        by_boot = (end - since.ms) / 1000
        return Elapsed(by_boot, max(by_boot, wall))
    until = (end, wall_ms(now.at)) if runs_on else (last.ms, wall_ms(last.at))
    first = BootSpan(since.boot, since.seq, since.ms, spans[begin].last, wall_ms(since.at), spans[begin].wall_last)
    passed = (first, *spans[begin + 1 :])
    if not in_span:
        wall_then = wall_ms(since.at)
        passed = (BootSpan(since.boot, since.seq, since.ms, since.ms, wall_then, wall_then), *spans[begin:])
    passed = (*passed[:-1], _ended(passed[-1], *until))
    proven = sum(span.last - span.first for span in passed) / 1000
    if not runs_on:
        passed = (*passed, BootSpan(now.boot, last.seq, end, end, wall_ms(now.at), wall_ms(now.at)))
    steps = proven + sum(_wall_between(*pair) for pair in pairwise(passed))
    across = bool(since.boot)
    if wall < proven - TOLERANCE:
        return Elapsed(0.0, max(wall, steps), known=False, across=across, wall=wall, proven=proven)
    if abs(wall - steps) <= TOLERANCE:
        steps = wall
    return Elapsed(max(0.0, min(wall, steps)), max(0.0, wall, steps), across=across)


def elapsed_between(spans: tuple[BootSpan, ...], since: EventTime, until: EventTime) -> Elapsed:
    """The seconds from one event of the log to a later one, as they were known then."""
    then = tuple(span for span in spans if span.seq <= until.seq)
    return elapsed(then, until, since, Now(until.at, until.boot, until.ms))


def shown_seconds(since: EventTime, until: EventTime) -> float:
    """The seconds between two events for display, by the boot clock if it ran on, else by the wall clock."""
    if since.boot == until.boot and since.ms <= until.ms:
        return (until.ms - since.ms) / 1000
    return max(0.0, wall_seconds(since.at, until.at))


def crosses_restart(since: EventTime, until: EventTime) -> bool:
    """True if :func:`shown_seconds` has to use the wall clock, because the boot clock started again in between."""
    return bool(since.boot) and (since.boot != until.boot or since.ms > until.ms)


def set_back_from(last: EventTime, now: Now) -> str:
    """The time from which the wall clock was set back after the event at ``last``; "" if it was not.

    Within one boot it is what the wall clock would show now, so that a step is found also after a long pause.
    """
    by_boot = (now.ms - last.ms) / 1000 if now.boot and now.boot == last.boot and now.ms >= last.ms else 0.0
    if by_boot - wall_seconds(last.at, now.at) < NOTED:
        return ""
    return format_timestamp(parse_timestamp(last.at) + timedelta(seconds=by_boot))


def _ran_on(spans: tuple[BootSpan, ...], last: EventTime, since: EventTime, now: Now) -> bool:
    """True if the boot clock of ``since`` and ``now`` is one clock that never went back (the log was elsewhere)."""
    if since.boot != now.boot or since.ms > now.ms:
        return False
    ended = (*spans[:-1], _ended(spans[-1], last.ms, wall_ms(last.at)))
    marks = [mark for span in ended if span.boot == now.boot for mark in (span.first, span.last)]
    return marks == sorted(marks) and (not marks or marks[-1] <= now.ms)


def _wall_between(before: BootSpan, after: BootSpan) -> float:
    """The seconds that the wall clock shows between two spans; 0 if it was set back there by more than the tolerance.

    That step is then no reason to take off what other spans show.
    """
    seconds = (after.wall_first - before.wall_last) / 1000
    return seconds if seconds >= -TOLERANCE else 0.0


def _ended(span: BootSpan, last: int, wall_last: int) -> BootSpan:
    return BootSpan(span.boot, span.seq, span.first, last, span.wall_first, wall_last)
