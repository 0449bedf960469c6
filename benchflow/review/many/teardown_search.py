"""Finds entries of teardowns: by words, such as a part, a mark or a bag; by a reading, a person or an instrument.

A teardown has no procedure, so its entries have no limits and no verdicts: they are listed, not ranked.
"""

import re
from collections.abc import Callable, Sequence

from msgspec import Struct

from benchflow.base.plaintext import folded
from benchflow.quantity import Quantity, QuantityError, base, dimension_of, parse_quantity
from benchflow.review.many.session_question import (
    FoundTeardown,
    InstrumentSubject,
    PersonSubject,
    Question,
    ReadingSubject,
    Subject,
    same_name,
)
from benchflow.session.teardown.searchable_entries import SearchableEntry, entries_of


class TracedTeardown(Struct, frozen=True):
    """One teardown with the entries that answer a question."""

    session: str
    unit: str
    what: str
    by: str
    opened_at: str
    closed: bool
    simulated: bool
    bench: str
    path: str
    entries: tuple[SearchableEntry, ...]


class TracedParts(Struct, frozen=True):
    """The teardowns with words in an entry, the latest first. ``looked_at`` counts the teardowns searched."""

    asked: str
    teardowns: tuple[TracedTeardown, ...]
    looked_at: int
    left_out: tuple[str, ...]


Matches = Callable[[SearchableEntry], bool]


def with_words(text: str) -> Matches:
    """The test for entries that say all words of ``text``. The name of the part and its place count too.

    A word with a digit counts only as a whole: ``bag 3`` does not find ``bag 13``.
    """
    words = _words(text)

    def matches(entry: SearchableEntry) -> bool:
        own = _words(f"{entry.what} {entry.place} {entry.text}")
        whole = [*own, *_words(entry.part)]
        return any(_is_said(word, own) for word in words) and all(_is_said(word, whole) for word in words)

    return matches


def _words(text: str) -> list[str]:
    return re.findall(r"\w+(?:\.\d+)?", folded(text))


def _is_said(word: str, words: Sequence[str]) -> bool:
    if any(char.isdigit() for char in word):
        return word in words
    return any(word in each for each in words)


def about(subject: Subject, low: Quantity | None = None, high: Quantity | None = None) -> Matches:
    """The test for entries about a person, an instrument or a reading. A teardown has no other subjects.

    With ``low`` or ``high``, a reading counts only below or above it.
    """
    match subject:
        case PersonSubject(name):
            return lambda entry: entry.what in ("part", "worked on it") and folded(entry.by) == folded(name)
        case InstrumentSubject() as instrument:
            names = {folded(name) for name in instrument.serials}
            return lambda entry: entry.reading is not None and folded(entry.reading.instrument) in names
        case ReadingSubject(name):
            return lambda entry: _is_reading(entry, folded(name)) and _is_outside(entry, low, high)
        case _:
            return lambda _: False


def trace_teardowns(
    found: Sequence[FoundTeardown], matches: Matches, since: str = "", until: str = ""
) -> tuple[TracedTeardown, ...]:
    """The teardowns with entries that match, the latest first. ``since`` and ``until`` are timestamps."""
    span = Question(PersonSubject(""), since, until)
    traced = []
    for one in found:
        record = one.record
        entries = tuple(entry for entry in entries_of(record) if matches(entry))
        if entries and span.covers(record.opened_at, record.last_at):
            traced.append(
                TracedTeardown(
                    one.session.session, record.unit, record.what, record.by, record.opened_at, record.closed,
                    record.simulated, one.bench, one.path, entries,
                )
            )  # fmt: skip
    return tuple(sorted(traced, key=lambda one: one.opened_at, reverse=True))


def _is_reading(entry: SearchableEntry, name: str) -> bool:
    """True for a reading of this name: alone, after the name of its part, or with its place."""
    reading = entry.reading
    if reading is None:
        return False
    longer = (f"{entry.part} {reading.name}", f"{reading.name} {reading.place}", f"{reading.place} {reading.name}")
    return same_name(name, folded(reading.name)) or name in map(folded, longer)


def _is_outside(entry: SearchableEntry, low: Quantity | None, high: Quantity | None) -> bool:
    """True if the reading is below ``low`` or above ``high``, or if neither is given."""
    if low is None and high is None:
        return True
    value = None if entry.reading is None else entry.reading.value
    if value is None:
        return False
    quantity = parse_quantity(f"{value.value} {value.unit}")
    below = low is not None and _same_kind(low, quantity) and base(quantity) < base(low)
    return below or (high is not None and _same_kind(high, quantity) and base(quantity) > base(high))


def _same_kind(one: Quantity, other: Quantity) -> bool:
    try:
        return dimension_of(one.unit) == dimension_of(other.unit)
    except QuantityError:
        return False


def reading_names(found: Sequence[FoundTeardown]) -> list[str]:
    """The names of all readings in teardowns, sorted."""
    entries = (entry for one in found for entry in entries_of(one.record))
    return sorted({entry.reading.name for entry in entries if entry.reading is not None})
