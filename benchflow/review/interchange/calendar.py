"""Exports follow-ups, and the steps left open, as to-dos for a calendar: iCalendar, RFC 5545."""

from collections.abc import Iterable, Iterator
from datetime import date, datetime
from typing import TYPE_CHECKING

from benchflow.base.plaintext import clean
from benchflow.ordering.wording import step_title
from benchflow.review.formatting import local_time_with_zone
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.sheets.build_sheet import follow_up
from benchflow.session.log.timestamps import parse_timestamp

if TYPE_CHECKING:
    from icalendar import Todo


def as_calendar(logs: Iterable[LoadedLog]) -> bytes:
    """A calendar with one VTODO per follow-up, and one per step that is not done.

    Exporting a session again gives the same UIDs. Timestamps are UTC; a due date is a day.
    """
    from icalendar import Calendar  # imported late: only this needs it

    calendar = Calendar()
    calendar.add("prodid", "-//benchflow//open items//EN")
    calendar.add("version", "2.0")
    for log in logs:
        for todo in (*_follow_ups(log), *_open_steps(log)):
            calendar.add_component(todo)
    return bytes(calendar.to_ical())


def _follow_ups(log: LoadedLog) -> "Iterator[Todo]":
    for number, item in enumerate(follow_up(log), 1):
        other = f"\nOr: {item.or_}" if item.or_ else ""
        todo = _todo(log, str(number), item.title, other)
        if item.due:
            todo.add("due", date.fromisoformat(item.due))
        todo.add("status", "NEEDS-ACTION")
        yield todo


def _open_steps(log: LoadedLog) -> "Iterator[Todo]":
    """The steps of the build that are not done, those in progress marked as such."""
    session = log.facts.session
    begun = {*log.state.paused, *((log.state.in_progress,) if log.state.in_progress else ())}
    for step in log.plan.steps:
        if step not in log.finished:
            why = f"\nReason: {session.why_open}" if session.why_open else ""
            todo = _todo(log, f"step-{step}", f"not done: {step_title(log.plan, step)}", why)
            todo.add("status", "IN-PROCESS" if step in begun else "NEEDS-ACTION")
            yield todo


def _todo(log: LoadedLog, ident: str, title: str, more: str) -> "Todo":
    """A VTODO about the job of ``log``; ``ident`` identifies it there."""
    from icalendar import Todo

    session = log.facts.session
    todo, stamp = Todo(), _timestamp(log)
    todo.add("uid", clean(f"{session.session[:32]}-{ident}@benchflow"))
    todo.add("dtstamp", stamp)
    todo.add("created", stamp)
    todo.add("summary", clean(f"{session.unit}: {title}" if session.unit else title))
    end = "Closed" if session.closed_at else "Open; last entry"
    built = f"{log.procedure.title}, revision {log.procedure.revision}"
    simulated = "\nSimulated: nothing was built." if session.simulated else ""
    when = local_time_with_zone(session.closed_at or session.last_at)
    todo.add("description", clean(f"{built}. {end} {when}.{more}{simulated}"))
    return todo


def _timestamp(log: LoadedLog) -> datetime:
    return parse_timestamp(log.facts.session.closed_at or log.facts.session.last_at)
