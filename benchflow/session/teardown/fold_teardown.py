"""Folds the events of a teardown log into its record. Pure, but for :func:`load_teardown`, which reads the file.

An entry is undone by going back to the record before it, so ``undone`` has the same meaning for every kind.
"""

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import assert_never

import msgspec
from msgspec import Struct
from msgspec.structs import replace

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import folded
from benchflow.session.log.journal import Journal
from benchflow.session.log.line_format import Line
from benchflow.session.teardown import teardown_events as ev
from benchflow.session.teardown.teardown_record import (
    OldDescription,
    PartDescription,
    PartFinding,
    PutBack,
    StateSeen,
    TakenOffPart,
    TeardownLine,
    TeardownNote,
    TeardownPicture,
    TeardownReading,
    TeardownRecord,
)


class NoTeardown(BenchflowError):
    """The file is not a teardown log, or it has no start of a teardown."""


class UndoStep(Struct, frozen=True):
    """An entry that can be undone: its log line, its kind, the record before it, and the step before."""

    event: int
    what: str
    line: str
    before: TeardownRecord
    previous: "UndoStep | None"


class TeardownState(Struct, frozen=True):
    """The record, with what the controller needs beside it. ``intents`` is the number of the last intent."""

    record: TeardownRecord
    last: Line
    intents: int = 0
    undo: UndoStep | None = None


def load_teardown(path: Path) -> TeardownRecord:
    """The record of the teardown in the log at ``path``. A log in use by another program is read as it is now.

    Raises:
        NoTeardown: it is not a teardown log, or it is damaged in its first line.
        LogUnusable: it cannot be read.
        BenchflowError: it has an event that this version cannot read.
    """
    with Journal.open(path, read_only=True) as journal:
        return record_of_lines(tuple(journal.lines), path)


def record_of_lines(lines: tuple[Line, ...], path: Path) -> TeardownRecord:
    """The record of these log lines. ``path`` is for messages.

    Raises:
        NoTeardown: they do not begin a teardown.
        BenchflowError: one has an event that this version cannot read.
    """
    return replay_teardown(lines, path).record


def replay_teardown(lines: Iterable[Line], path: Path) -> TeardownState:
    """The state after these log lines. Raises as :func:`record_of_lines`."""
    state: TeardownState | None = None
    for line in lines:
        if state is None and line.kind != ev.OPENED_KIND:
            what = "the log of a job" if line.kind == "opened" else "no teardown log"
            raise NoTeardown(f"{path} is {what}. Name a log that was made with: benchflow teardown")
        try:
            event = ev.teardown_event(line)
        except msgspec.ValidationError as error:
            raise BenchflowError(
                f"{path}: line {line.seq} has wrong data: {error}. The log was changed, or a newer version wrote it."
            ) from error
        if event is None:
            raise BenchflowError(f"{path}: line {line.seq} has an unknown kind of event. A newer version wrote it.")
        if isinstance(event, ev.TeardownOpened):
            _refuse_opening(event, line, path, is_first=state is None)
        state = fold_teardown(state, event, line)
    if state is None:
        raise NoTeardown(f"{path} has no complete event. No teardown was started in it.")
    return state


def _refuse_opening(event: ev.TeardownOpened, line: Line, path: Path, *, is_first: bool) -> None:
    """Refuse a teardown that is opened a second time, or in a format that this version does not know."""
    if not is_first:
        raise BenchflowError(f"{path}: line {line.seq} opens the teardown again. The log was changed.")
    if event.format != ev.TEARDOWN_FORMAT:
        raise BenchflowError(f"{path} has the format {event.format} of a newer version. Use that version.")


def fold_teardown(state: TeardownState | None, event: ev.TeardownEvent, line: Line) -> TeardownState:
    """The state after one more event. ``state`` is ``None`` only before :class:`TeardownOpened`."""
    number = line.data.get("intent")
    intents = number if isinstance(number, int) else 0
    if isinstance(event, ev.TeardownOpened):
        return TeardownState(_opened(event, line), line, intents)
    assert state is not None  # the first event opens the teardown
    undo = state.undo
    if isinstance(event, ev.EntryUndone):
        record = replace(state.record if undo is None else undo.before, undone=state.record.undone + 1)
        undo = None if undo is None else undo.previous
    else:
        record = _after(state.record, event, line)
        if not isinstance(event, ev.TeardownResumed | ev.ClockSetBack | ev.TeardownClosed):
            named = str(line.data.get("line", ""))
            undo = UndoStep(line.seq, line.kind, named, state.record, undo)
    people = state.record.people if line.by in state.record.people else (*state.record.people, line.by)
    closed = record.closed or state.record.closed
    record = replace(record, events=line.seq, last_at=line.at, closed=closed, people=people)
    return TeardownState(record, line, max(intents, state.intents), undo)


def _opened(event: ev.TeardownOpened, line: Line) -> TeardownRecord:
    return TeardownRecord(
        unit=event.unit, what=event.what, by=line.by,
        opened_at=line.at if event.continues is None else event.continues.opened_at, last_at=line.at, events=line.seq,
        simulated=event.simulated, format=event.format, checklist=event.checklist, people=(line.by,),
    )  # fmt: skip


def _after(record: TeardownRecord, event: ev.TeardownEvent, line: Line) -> TeardownRecord:
    """The record after an event that neither opens a teardown nor undoes an entry."""
    match event:
        case ev.TeardownResumed() | ev.ClockSetBack() | ev.TeardownOpened() | ev.EntryUndone():
            return record
        case ev.CheckAdded(item=item):
            return replace(record, checklist=(*record.checklist, item))
        case ev.ReadingTaken():
            return _measured(record, event, line)
        case ev.ChecksSkipped(names=names, reason=reason):
            checklist = tuple(
                replace(item, skipped=reason) if item.name in names else item for item in record.checklist
            )
            return replace(record, checklist=checklist)
        case ev.CameOff():
            return _came_off(record, event, line)
        case ev.LineCorrected():
            return _changed(record, event.line, lambda each: _corrected(each, event, line))
        case ev.LineSplit():
            return _split(record, event, line)
        case ev.WasPutBack(line=name, reason=reason):
            back = PutBack(line.seq, record.last_off, reason)
            return _changed(record, name, lambda each: replace(each, is_off=False, put_backs=(*each.put_backs, back)))
        case ev.CameOffAgain(line=name):
            return _changed(record, name, lambda each: _off_again(each, record.last_off, line))
        case ev.LineRemoved(line=name):
            left = tuple(each for each in record.lines if each.id != name)
            return replace(record, lines=left, removed=(*record.removed, name))
        case ev.FateDecided() | ev.FoundAtPart() | ev.PartnerNamed():
            return _changed(record, event.line, lambda each: _with_parts(each, event, line.seq))
        case ev.AssemblyState(text=text):
            return replace(record, states=(*record.states, StateSeen(text, record.last_off, line.seq)))
        case ev.TeardownNoteAdded(text=text, line=name):
            note = TeardownNote(text, name, line.seq)
            if not name:
                return replace(record, notes=(*record.notes, note))
            return _changed(record, name, lambda each: replace(each, notes=(*each.notes, note)))
        case ev.PictureKept():
            return _picture_kept(record, event, line.seq)
        case ev.TeardownClosed():
            return replace(record, closed=True)
        case _:
            assert_never(event)


def _changed(record: TeardownRecord, name: str, change: Callable[[TeardownLine], TeardownLine]) -> TeardownRecord:
    """``record`` with one line changed."""
    return replace(record, lines=tuple(change(each) if each.id == name else each for each in record.lines))


def _measured(record: TeardownRecord, event: ev.ReadingTaken, line: Line) -> TeardownRecord:
    reading = replace(event.reading, event=line.seq, lines_off=record.lines_off)
    if event.line:
        return _changed(record, event.line, lambda each: replace(each, values=(*each.values, reading)))
    key = folded(reading.name)
    checklist = tuple(
        replace(item, answered=True, skipped="") if folded(item.name) == key else item for item in record.checklist
    )
    return replace(record, checklist=checklist, together=(*record.together, reading))


def _came_off(record: TeardownRecord, event: ev.CameOff, line: Line) -> TeardownRecord:
    new = TeardownLine(
        id=event.line, description=event.description, parts=parts_of(event.description, (), line.seq),
        event=line.seq, at=line.at, by=line.by, inserted=event.after is not None,
        values=_readings_of(event.description, record, line.seq),
    )  # fmt: skip
    lines = list(record.lines)
    if event.after is None:
        lines.append(new)
    else:
        lines.insert(_position_after(record, event.after), new)
    return replace(record, lines=tuple(lines))


def _position_after(record: TeardownRecord, name: str) -> int:
    return next((index for index, each in enumerate(record.lines, 1) if each.id == name), 0)


def _readings_of(description: PartDescription, record: TeardownRecord, event: int) -> tuple[TeardownReading, ...]:
    return tuple(replace(each, event=event, lines_off=record.lines_off) for each in description.values)


def parts_of(description: PartDescription, old: tuple[TakenOffPart, ...], event: int) -> tuple[TakenOffPart, ...]:
    """The parts of a line, one for each place. What is known of a place from ``old`` stays."""
    known = {part.place: part for part in old}
    found = tuple(replace(each, event=event) for each in description.found)
    parts = []
    for place in description.places or ("",):
        part = known.get(place) or TakenOffPart(place)
        parts.append(
            replace(
                part,
                fate=description.fate or part.fate,
                fate_reason=description.fate_reason if description.fate else part.fate_reason,
                partner=description.partner or part.partner,
                found=(*part.found, *(each for each in found if not _has(part.found, each))),
            )
        )
    return tuple(parts)


def _has(found: tuple[PartFinding, ...], each: PartFinding) -> bool:
    return any((known.kind, known.text) == (each.kind, each.text) for known in found)


def _corrected(old: TeardownLine, event: ev.LineCorrected, line: Line) -> TeardownLine:
    earlier = OldDescription(event.before, line.seq, event.reason)
    return replace(
        old,
        description=event.description,
        parts=parts_of(event.description, _without_entered(old), line.seq),
        earlier=(*old.earlier, earlier),
        values=(*_later_values(old), *(replace(each, event=line.seq) for each in event.description.values)),
    )


def _without_entered(line: TeardownLine) -> tuple[TakenOffPart, ...]:
    """The parts of a line without the details of its old description, which a correction replaces."""
    said = line.description
    return tuple(
        replace(
            part,
            fate="" if part.fate == said.fate else part.fate,
            partner="" if part.partner == said.partner else part.partner,
            found=tuple(each for each in part.found if not _has(said.found, each)),
        )
        for part in line.parts
    )


def _later_values(line: TeardownLine) -> tuple[TeardownReading, ...]:
    """The readings of a line that are not in its description."""
    said = {(each.name, each.place) for each in line.description.values}
    entered = {line.event, *(each.event for each in line.earlier)}
    return tuple(each for each in line.values if each.event not in entered or (each.name, each.place) not in said)


def _split(record: TeardownRecord, event: ev.LineSplit, line: Line) -> TeardownRecord:
    old = record.line(event.line)
    if old is None or len(event.lines) != len(event.descriptions):
        return record  # no program writes it
    pieces = []
    for number, (name, description) in enumerate(zip(event.lines, event.descriptions, strict=True)):
        first = number == 0
        pieces.append(
            replace(
                old,
                id=name,
                description=description,
                parts=parts_of(description, _without_entered(old), line.seq),
                split_from="" if first else event.line,
                values=(
                    *(_later_values(old) if first else ()),
                    *(replace(each, event=line.seq) for each in description.values),
                ),
                earlier=(*old.earlier, OldDescription(event.before, line.seq, "split")) if first else (),
                pictures=old.pictures if first else (),
                notes=old.notes if first else (),
            )
        )
    position = _position_after(record, event.line) - 1
    return replace(record, lines=(*record.lines[:position], *pieces, *record.lines[position + 1 :]))


def _off_again(old: TeardownLine, last: str, line: Line) -> TeardownLine:
    if not old.put_backs:
        return old  # no program writes it
    *before, back = old.put_backs
    again = replace(back, off_again=line.seq, off_again_after=last)
    return replace(old, is_off=True, put_backs=(*before, again))


def _with_parts(old: TeardownLine, event: ev.FateDecided | ev.FoundAtPart | ev.PartnerNamed, seq: int) -> TeardownLine:
    """The line with a change at one of its places, or at all of them."""

    def changed(part: TakenOffPart) -> TakenOffPart:
        match event:
            case ev.FateDecided(fate=fate, reason=reason):
                return replace(part, fate=fate, fate_reason=reason)
            case ev.FoundAtPart(what=what, text=text):
                return replace(part, found=(*part.found, PartFinding(what, text, seq)))
            case ev.PartnerNamed(partner=partner):
                return replace(part, partner=partner)

    return replace(old, parts=tuple(changed(part) if event.place in ("", part.place) else part for part in old.parts))


def _picture_kept(record: TeardownRecord, event: ev.PictureKept, seq: int) -> TeardownRecord:
    picture = TeardownPicture(
        event.name, event.sha256, event.size, event.type, event.width, event.height, event.line, event.text, seq
    )
    if not event.line:
        return replace(record, pictures=(*record.pictures, picture))
    return _changed(record, event.line, lambda each: replace(each, pictures=(*each.pictures, picture)))
