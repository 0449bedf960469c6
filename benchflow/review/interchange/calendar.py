"""Exports follow-ups as to-dos for a calendar: iCalendar, RFC 5545."""

from collections.abc import Iterable
from datetime import date

from benchflow.base.plaintext import clean
from benchflow.review.formatting import local_time_with_zone
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.sheets.build_sheet import follow_up
from benchflow.session.log.timestamps import parse_timestamp


def as_calendar(logs: Iterable[LoadedLog]) -> bytes:
    """A calendar with one VTODO per follow-up. Exporting a session again gives the same UIDs."""
    from icalendar import Calendar, Todo  # imported late: only this needs it

    calendar = Calendar()
    calendar.add("prodid", "-//benchflow//open items//EN")
    calendar.add("version", "2.0")
    for log in logs:
        session = log.facts.session
        stamp = parse_timestamp(session.closed_at or session.last_at)
        for number, item in enumerate(follow_up(log), 1):
            todo = Todo()
            todo.add("uid", f"{session.session[:32]}-{number}@benchflow")
            todo.add("dtstamp", stamp)
            todo.add("created", stamp)
            todo.add("summary", clean(f"{session.unit}: {item.title}" if session.unit else item.title))
            if item.due:
                todo.add("due", date.fromisoformat(item.due))
            built = f"{log.procedure.title}, revision {log.procedure.revision}"
            other = f"\nOr: {item.or_}" if item.or_ else ""
            simulated = "\nSimulated: nothing was built." if session.simulated else ""
            todo.add(
                "description",
                clean(
                    f"{built}. Closed {local_time_with_zone(session.closed_at or session.last_at)}.{other}{simulated}"
                ),
            )
            todo.add("status", "NEEDS-ACTION")
            calendar.add_component(todo)
    return bytes(calendar.to_ical())
