"""Writes a trace as lines of text for a terminal."""

from collections.abc import Iterator, Sequence

from benchflow.review.formatting import count, local_time_with_zone
from benchflow.review.many.teardown_text import traced_teardown_lines
from benchflow.review.many.trace_search import Trace, TracedSession


def trace_lines(result: Trace) -> Iterator[str]:
    """The jobs that a trace found, the weakest first, with their reasons."""
    affected = [session for session in result.touched if not session.only_mentioned]
    mentioned = [session for session in result.touched if session.only_mentioned]
    order = ", the weakest first" if len(affected) > 1 else ""
    yield f"{result.asked}: {len(affected)} of {count(result.looked_at, 'job')} affected{order}"
    yield from (f"NOTE  {note}" for note in result.notes)
    if affected:
        yield "The number before a line is its weight, from 0 to 100."
    yield from _affected_lines(affected)
    if mentioned:
        yield ""
        yield f"{count(len(mentioned), 'job')} only mentioned, because the instrument was allowed this error:"
        for session in mentioned:
            yield f"  {session.unit or session.session[:16]}  {session.reasons[0].words}"
    if result.teardowns:
        yield ""
        yield f"Also in {count(len(result.teardowns), 'teardown')}:"
        yield from traced_teardown_lines(result.teardowns)
    yield from _left_out_lines(result.left_out)


def _affected_lines(sessions: Sequence[TracedSession]) -> Iterator[str]:
    for session in sessions:
        where = f"{session.bench}: {session.path}" if session.bench else session.path
        yield ""
        state = "closed" if session.closed else "still open"
        opened = local_time_with_zone(session.opened_at)
        yield f"{session.unit or session.session[:16]}  {opened}, {session.by}, {state}"
        yield f"     {where}"
        for point in session.reasons[:6]:
            seq = f"  (log line {point.seq})" if point.seq is not None else ""
            yield f"     {point.grade:>3}  {point.title}: {point.words}{seq}"
        if len(session.reasons) > 6:
            yield f"          and {len(session.reasons) - 6} more"


def _left_out_lines(paths: tuple[str, ...]) -> Iterator[str]:
    if paths:
        yield ""
        yield f"{count(len(paths), 'file')} left out, and not searched:"
        yield from (f"  {path}" for path in paths)
