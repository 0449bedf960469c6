"""The time of an event, the present time, and the seconds between them."""

from msgspec import Struct

from benchflow.session.log.line_format import Line
from benchflow.session.log.timestamps import parse_timestamp


class EventTime(Struct, frozen=True):
    """The time at which an event was logged, by the wall clock and by the monotonic clock."""

    seq: int  # of the event
    at: str  # wall clock, RFC 3339, UTC
    run: int = 0  # number of the program run; 0 if the log line has no monotonic time
    ms: int = 0  # monotonic clock: milliseconds since the start of the program run


class Now(Struct, frozen=True):
    """The present time, by the wall clock and by the monotonic clock."""

    at: str  # wall clock, RFC 3339, UTC
    run: int = 0  # number of the program run; 0 in a simulated session
    ms: int = 0  # monotonic clock: milliseconds since the start of the program run


def event_time(line: Line) -> EventTime:
    """The time at which a line was logged."""
    clock = line.data.get("clock")
    if clock is None:
        return EventTime(line.seq, line.at)
    return EventTime(line.seq, line.at, clock["run"], clock["ms"])


def elapsed(since: EventTime, now: Now) -> float:
    """Return the seconds from ``since`` to ``now``, at least 0.

    Within one program run the monotonic clock decides, otherwise the wall clock.
    """
    if since.run and since.run == now.run:
        return max(0, now.ms - since.ms) / 1000
    return max(0.0, (parse_timestamp(now.at) - parse_timestamp(since.at)).total_seconds())
