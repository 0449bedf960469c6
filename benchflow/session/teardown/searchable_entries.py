"""The content of a teardown as single entries for a search."""

from collections.abc import Iterator

from msgspec import Struct

from benchflow.session.teardown.part_text import fasteners_text, fate_text, finding_text, reading_text_of
from benchflow.session.teardown.teardown_record import (
    PartDescription,
    TeardownLine,
    TeardownReading,
    TeardownRecord,
    valid_readings,
)


class SearchableEntry(Struct, frozen=True, omit_defaults=True):
    """One thing that a teardown says.

    ``what`` is the kind: ``part``, ``fasteners``, ``kept in``, ``marks``, ``measured``, ``found`` and so on. ``line``
    and ``part`` are "" for the whole assembly. ``event`` is the log line.
    """

    what: str
    text: str
    line: str = ""
    part: str = ""
    place: str = ""
    event: int = 0
    by: str = ""
    reading: TeardownReading | None = None


def entries_of(record: TeardownRecord) -> Iterator[SearchableEntry]:
    """The entries in force. Corrected and undone ones are left out."""
    yield from (SearchableEntry("worked on it", name, by=name) for name in record.people)
    for reading in valid_readings(record.together):
        text = reading_text_of(reading)
        yield SearchableEntry("measured", text, place=reading.place, event=reading.event, reading=reading)
    for line in record.lines:
        yield from _entries_of_line(line)
    for state in record.states:
        yield SearchableEntry("state", state.text, event=state.event)
    for note in record.notes:
        yield SearchableEntry("note", note.text, event=note.event)
    for picture in record.pictures:
        yield SearchableEntry("picture", _picture_text(picture.name, picture.text), event=picture.event)


def _entries_of_line(line: TeardownLine) -> Iterator[SearchableEntry]:
    description = line.description

    def entry(what: str, text: str, place: str = "", event: int = 0) -> SearchableEntry:
        return SearchableEntry(what, text, line.id, description.what, place, event or line.event, line.by)

    count = f"{description.count} × " if description.count > 1 else ""
    places = f": {', '.join(description.places)}" if description.places else ""
    yield entry("part", f"{count}{description.what}{places}")
    yield from (entry(what, text) for what, text in _words_of(description) if text)
    for part in line.parts:
        if part.fate:
            yield entry("fate", fate_text(part.fate, part.fate_reason), part.place)
        if part.partner:
            yield entry("goes with", part.partner, part.place)
        yield from (entry("found", finding_text(found), part.place, found.event) for found in part.found)
    for reading in valid_readings(line.values):
        text = reading_text_of(reading)
        yield SearchableEntry(
            "measured", text, line.id, description.what, reading.place, reading.event, line.by, reading
        )  # fmt: skip
    yield from (entry("put back", back.reason, event=back.event) for back in line.put_backs if back.reason)
    yield from (entry("note", note.text, event=note.event) for note in line.notes)
    for picture in line.pictures:
        yield entry("picture", _picture_text(picture.name, picture.text), event=picture.event)


def _words_of(description: PartDescription) -> Iterator[tuple[str, str]]:
    """The words of a description, each with its kind."""
    yield "fasteners", "; ".join(map(fasteners_text, description.fasteners))
    yield "kept in", description.container
    yield "marks", description.marks
    yield "faces", description.orientation
    yield "condition", description.condition
    yield "state after", description.state
    yield "words", description.remark


def _picture_text(name: str, text: str) -> str:
    return f"{name}, {text}" if text else name
