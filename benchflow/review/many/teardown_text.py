"""Writes what a search found in teardowns as lines of text for a terminal."""

from collections.abc import Iterator, Sequence

from benchflow.review.formatting import count, local_time_with_zone
from benchflow.review.many.teardown_search import TracedParts, TracedTeardown
from benchflow.session.teardown.searchable_entries import SearchableEntry

_MOST_ENTRIES = 12


def part_lines(result: TracedParts) -> Iterator[str]:
    """The teardowns with the words, and the entries that say them."""
    yield f"“{result.asked}”: in {len(result.teardowns)} of {count(result.looked_at, 'teardown')}"
    yield from traced_teardown_lines(result.teardowns, most=None)
    if result.left_out:
        yield ""
        yield f"{count(len(result.left_out), 'file')} left out, and not searched:"
        yield from (f"  {path}" for path in result.left_out)


def traced_teardown_lines(teardowns: Sequence[TracedTeardown], most: int | None = _MOST_ENTRIES) -> Iterator[str]:
    """Each teardown with its entries, at most ``most`` of them."""
    for one in teardowns:
        state = "closed" if one.closed else "still open"
        simulated = ", simulated" if one.simulated else ""
        opened = local_time_with_zone(one.opened_at)
        yield ""
        yield f"{one.unit or one.session[:16]}  teardown of {one.what}, {opened}, {one.by}, {state}{simulated}"
        yield f"     {f'{one.bench}: ' if one.bench else ''}{one.path}"
        yield from (f"     {_entry_text(entry)}" for entry in one.entries[:most])
        if most is not None and len(one.entries) > most:
            yield f"     and {len(one.entries) - most} more"


def _entry_text(entry: SearchableEntry) -> str:
    where = f"line {entry.line}" if entry.line else "whole"
    part = f"{entry.part}, " if entry.part and entry.what != "part" else ""
    place = f"{entry.place}, " if entry.place and entry.reading is None else ""
    what = "" if entry.what == "part" else f"{entry.what}: "
    return f"{where}  {part}{place}{what}{entry.text}{f'  (log line {entry.event})' if entry.event else ''}"
