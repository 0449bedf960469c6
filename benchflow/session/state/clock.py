"""Timestamps of events, the present time, and the seconds between the two."""

from msgspec import Struct

from benchflow.session.log.line_format import Line
from benchflow.session.log.timestamps import parse


class EventTime(Struct, frozen=True):
    """When the event ``seq`` was logged: ``at`` by the calendar (RFC 3339, UTC), ``ms`` by the monotonic clock.

    The monotonic clock counts milliseconds since the program run ``run`` began; ``run`` 0 means that there was none.
    """

    seq: int
    at: str
    run: int = 0
    ms: int = 0


class Now(Struct, frozen=True):
    """The present time, by the same two clocks. ``run`` is 0 in a simulated session."""

    at: str
    run: int = 0
    ms: int = 0


def event_time(line: Line) -> EventTime:
    """The time at which a line was logged."""
    clock = line.data.get("clock")
    if clock is None:
        return EventTime(line.seq, line.at)
    return EventTime(line.seq, line.at, clock["run"], clock["ms"])


def elapsed(since: EventTime, now: Now) -> float:
    """Seconds from ``since`` to ``now``: monotonic within one program run, by the calendar otherwise.

    Never negative: a clock that was set back proves nothing.
    """
    if since.run and since.run == now.run:
        return max(0, now.ms - since.ms) / 1000
    return max(0.0, (parse(now.at) - parse(since.at)).total_seconds())
