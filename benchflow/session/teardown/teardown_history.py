"""A teardown log as readable text: what was measured together, the lines as they are now, then every entry in order.

Times are local.
"""

import textwrap
from collections.abc import Iterator, Sequence
from datetime import tzinfo
from typing import assert_never

import msgspec

from benchflow.base.plaintext import clean_line
from benchflow.session.log.journal import Damage
from benchflow.session.log.line_format import Line, UntrustedLine
from benchflow.session.log.timestamps import local_time_of
from benchflow.session.teardown import teardown_events as ev
from benchflow.session.teardown.fold_teardown import TeardownState, fold_teardown
from benchflow.session.teardown.part_lists import lists_text, part_lists
from benchflow.session.teardown.part_text import (
    fate_text,
    finding_text,
    reading_text_of,
    understood_rows,
)
from benchflow.session.teardown.prompt_text import entry_text, line_rows
from benchflow.session.teardown.teardown_record import (
    PartDescription,
    PartFinding,
    TeardownRecord,
    valid_readings,
)

WIDTH = 100


def teardown_text(
    lines: Sequence[Line],
    *,
    zone: tzinfo | None = None,
    damage: Damage | None = None,
    untrusted: Sequence[UntrustedLine] = (),
) -> Iterator[str]:
    """The whole log as lines of text, ready to print. Damage comes last, with the readable lines after it."""
    state: TeardownState | None = None
    entries: list[str] = []
    for line in lines:
        event = known_teardown_event(line)
        text = "Event that this version cannot read" if event is None else teardown_event_text(event)
        if event is None and state is not None:
            text += f" ({line.kind})"
        if event is not None and (state is not None or isinstance(event, ev.TeardownOpened)):
            state = fold_teardown(state, event, line)
        entries += _wrapped(f"{line.seq:>5}  {local_time_of(line.at, zone):%d %b %H:%M}  ", f"{text} ({line.by})")
    if state is not None:
        yield from _record_text(state.record, zone)
    yield ""
    yield "EVERY ENTRY"
    yield from entries
    if damage is not None:
        yield ""
        yield f"THE LOG IS DAMAGED: line {damage.line} {damage.what}."
        for each in untrusted:
            event = known_teardown_event(each.line)
            text = "not readable" if event is None else teardown_event_text(event)
            yield from _wrapped("  ? ", f"NOT TRUSTED, line {each.number}: {text} ({each.line.by})")


def known_teardown_event(line: Line) -> ev.TeardownEvent | None:
    """The event of a line; ``None`` if this version cannot read it."""
    try:
        return ev.teardown_event(line)
    except msgspec.ValidationError:
        return None


def _record_text(record: TeardownRecord, zone: tzinfo | None) -> Iterator[str]:
    """The record as it is now."""
    state = "closed" if record.closed else "open"
    simulated = ", simulated" if record.simulated else ""
    opened = f"{local_time_of(record.opened_at, zone):%Y-%m-%d %H:%M}"
    yield from _wrapped("", f"Teardown of {record.what}, unit {record.unit}, begun {opened} by {record.by}: "
                            f"{state}{simulated}, {len(record.lines)} lines")  # fmt: skip
    yield ""
    yield "WHILE IT WAS TOGETHER"
    readings = valid_readings(record.together)
    for item in record.checklist:
        values = [each for each in readings if each.name == item.name]
        for each in values:
            later = f" (when {each.lines_off} lines were off)" if each.lines_off else ""
            yield from _wrapped("  ", reading_text_of(each) + later)
        if not values:
            yield from _wrapped("  ", f"{item.name}: {f'skipped, {item.skipped}' if item.skipped else 'open'}")
    names = {item.name for item in record.checklist}
    for each in readings:
        if each.name not in names:
            yield from _wrapped("  ", reading_text_of(each))
    yield ""
    yield "WHAT CAME OFF, IN ORDER"
    for line in record.lines:
        rows = line_rows(line)
        head = rows[0].text if rows else line.description.what
        rest = "; ".join(f"{row.label.lower()}: {row.text}" for row in rows[1:])
        yield from _wrapped(f"{line.id:>5}  ", f"{head}{'. ' if rest else ''}{rest}")
        described = {(each.name, each.place) for each in line.description.values}
        for reading in valid_readings(line.values):
            if (reading.name, reading.place) not in described:
                yield from _wrapped("       ", f"measured: {reading_text_of(reading)}")
    for note in record.notes:
        yield from _wrapped("       ", f"Note: {note.text}")
    yield ""
    yield from lists_text(part_lists(record), WIDTH)


def _wrapped(lead: str, text: str) -> list[str]:
    return textwrap.wrap(
        lead + clean_line(text), WIDTH, subsequent_indent=" " * len(lead), break_on_hyphens=False,
        drop_whitespace=True,
    ) or [lead]  # fmt: skip


def description_text(description: PartDescription) -> str:
    """A description in one phrase: its rows, without labels where they are plain."""
    rows = understood_rows(description)
    return "; ".join(row.text if row.label == "Thing" else f"{row.label.lower()}: {row.text}" for row in rows)


def teardown_event_text(event: ev.TeardownEvent) -> str:
    """One event in one sentence, without its time and person."""
    match event:
        case ev.TeardownOpened(what=what, unit=unit, continues=continues):
            begun = "started" if continues is None else f"continued from {continues.file}"
            return f"Teardown of {what}, unit {unit}, {begun}"
        case ev.TeardownResumed(version=version):
            return f"Program started again (benchflow {version})"
        case ev.ClockSetBack(before=before, now=now):
            return f"The clock of the computer went back, from {before} to {now}"
        case ev.CheckAdded(item=item):
            return f"Added to what is measured together: {item.name}"
        case ev.ReadingTaken(reading=reading, line=line):
            where = f"at line {line}" if line else "together"
            again = f", corrects event {reading.corrects}" if reading.corrects else ""
            return f"Measured {where}: {reading_text_of(reading)}{again}"
        case ev.ChecksSkipped(names=names, reason=reason):
            return f"Skipped: {', '.join(names)}. Reason: {reason}"
        case ev.CameOff(line=line, description=description, after=after):
            place = "" if after is None else f", inserted after {after}" if after else ", inserted before the first"
            return f"Line {line} off{place}: {description_text(description)}"
        case ev.LineCorrected(line=line, description=description, before=before_, reason=reason):
            why = f" Reason: {reason}." if reason else ""
            return f"Line {line} corrected: {description_text(description)}.{why} Before: {entry_text(before_)}"
        case ev.LineSplit(line=line, lines=lines, descriptions=descriptions):
            pieces = [f"{name}: {entry_text(each)}" for name, each in zip(lines, descriptions, strict=False)]
            return f"Line {line} split into {' / '.join(pieces)}"
        case ev.WasPutBack(line=line, reason=reason):
            return f"Line {line} put back{f': {reason}' if reason else ''}"
        case ev.CameOffAgain(line=line):
            return f"Line {line} off again"
        case ev.LineRemoved(line=line, before=before_, reason=reason):
            why = f" Reason: {reason}." if reason else ""
            return f"Line {line} taken away.{why} Before: {entry_text(before_)}"
        case ev.FateDecided(line=line, fate=fate, place=place, reason=reason):
            return f"Line {line}{_at(place)}: {fate_text(fate, reason)}"
        case ev.FoundAtPart(line=line, what=kind, text=text, place=place):
            return f"Line {line}{_at(place)}, found: {finding_text(PartFinding(kind, text))}"
        case ev.PartnerNamed(line=line, partner=partner, place=place):
            return f"Line {line}{_at(place)} goes with {partner}"
        case ev.AssemblyState(text=text):
            return f"State of the assembly: {text}"
        case ev.TeardownNoteAdded(text=text, line=line):
            return f"Note{f' on line {line}' if line else ''}: {text}"
        case ev.PictureKept(name=name, line=line, text=text, sha256=digest):
            about = f" of line {line}" if line else ""
            return f"Picture{about}: {name}{f', {text}' if text else ''} (SHA-256 {digest[:12]}…)"
        case ev.EntryUndone(event=seq, what=what, line=line):
            return f"Undone: event {seq} ({what}{f', line {line}' if line else ''})"
        case ev.TeardownClosed(reason=reason):
            return f"Teardown closed{f': {reason}' if reason else ''}"
        case _:
            assert_never(event)


def _at(place: str) -> str:
    return f", {place}" if place else ""
