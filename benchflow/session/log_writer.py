"""What the controllers of a job and of a teardown share: the answer, the time of an intent, the line of an event."""

from collections.abc import Collection
from typing import Any

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.session.context import refuse
from benchflow.session.log.line_format import Draft, Line
from benchflow.session.log.timestamps import format_timestamp, parse_timestamp
from benchflow.session.machine_clock import Clock
from benchflow.session.refusal import Refusal
from benchflow.session.state.clock import Now
from benchflow.session.state.event_basics import Event, logged_fields


class Accepted(Struct, frozen=True):
    """The answer to an accepted intent.

    ``lines`` are the new log lines; they are on disk. ``answer`` is the answer of a query, under its name.
    """

    lines: tuple[Line, ...]
    answer: dict[str, Any] = {}


Answer = Accepted | Refusal


def time_of_intent(
    message: dict[str, Any], clock: Clock, *, simulated: bool, queries: Collection[str], last_at: str
) -> Now | Refusal:
    """The time of the intent in ``message``: now, or in a simulated session its field ``at``, which is removed.

    A query without ``at`` has the time of the last event, ``last_at``.
    """
    if not simulated:
        if "at" in message:
            text = "The field at is for simulated sessions only (drive --simulated). Leave it out."
            return refuse("not-allowed", text, name="at")
        return clock.now()
    at = message.pop("at", None)
    if at is None:
        if message.get("intent") in queries:
            return Now(last_at)
        text = "Give the time of this intent in the field at (RFC 3339), because the session is simulated."
        return refuse("value-missing", text, name="at")
    try:
        return Now(format_timestamp(parse_timestamp(str(at))))
    except BenchflowError as error:
        return refuse("bad-intent", str(error), name="at")


def line_of_event(event: Event, by: str, now: Now, group: dict[str, Any]) -> Draft:
    """The log line of an event. ``group`` has the number of its intent, and the number of lines of that."""
    data = logged_fields(event) | group
    if now.boot:
        data["clock"] = {"boot": now.boot, "ms": now.ms}
    return Draft(now.at, by, str(event.__struct_config__.tag), data)
