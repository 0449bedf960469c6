"""Decides what an intent of a teardown logs, or why it is refused. Pure: no clock, no file."""

from typing import assert_never, get_args

from msgspec.structs import replace

from benchflow.base.plaintext import folded
from benchflow.quantity.notation import parse_quantity
from benchflow.quantity.types import QuantityError
from benchflow.quantity.units import EXAMPLES
from benchflow.session.context import quantity_problem, refuse, unknown_name
from benchflow.session.pictures.picture_file import PictureFacts
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.rules.verdicts import to_stored
from benchflow.session.state.event_basics import Event, StoredQuantity
from benchflow.session.teardown import teardown_events as ev
from benchflow.session.teardown import teardown_intents as intents
from benchflow.session.teardown.checklist import checklist_for
from benchflow.session.teardown.entry_line import understand_details, understand_entry, with_details
from benchflow.session.teardown.fold_teardown import TeardownState
from benchflow.session.teardown.given_part import given_description
from benchflow.session.teardown.place_text import MAX_PLACES
from benchflow.session.teardown.teardown_record import (
    ChecklistItem,
    FoundKind,
    PartDescription,
    PartFate,
    TeardownLine,
    TeardownReading,
    TeardownRecord,
    valid_readings,
)

FATES: tuple[PartFate, ...] = tuple(each for each in get_args(PartFate) if each)
FOUND_KINDS: tuple[FoundKind, ...] = get_args(FoundKind)

LONGEST_NAME = 200
"""The largest number of characters of the name of a reading."""

TeardownDecision = Event | Refusal
"""The event to log, or a refusal."""

_AFTER_CLOSING = (
    intents.MeasureTogether, intents.DecideFate, intents.ReportFound, intents.NamePartner, intents.AddTeardownNote,
    intents.AttachTeardownPicture,
)  # fmt: skip


def open_teardown(intent: intents.OpenTeardown, unfilled: ev.TeardownOpened) -> TeardownDecision:
    """The first event of a log, or a refusal. ``unfilled`` has what the controller knows."""
    missing = [
        Reason("value-missing", message, name=name)
        for name, given, message in (
            ("by", intent.by, "Give your name"),
            ("unit", intent.unit, "Give the serial or job number of the unit"),
            ("what", intent.what, "Write what is taken apart, such as: five-speed gearbox"),
        )
        if not given
    ]
    if missing:
        return Refusal(tuple(missing))
    usual = checklist_for(intent.what)
    known = {folded(item.name) for item in usual}
    added = tuple(ChecklistItem(name, added=True) for name in intent.checks if name and folded(name) not in known)
    return replace(unfilled, unit=intent.unit, what=intent.what, checklist=(*usual, *added))


def decide_teardown(state: TeardownState, intent: intents.TeardownIntent) -> TeardownDecision:
    """The event that an intent logs, or a refusal. The intent must not be a query."""
    record = state.record
    if record.closed and not isinstance(intent, _AFTER_CLOSING):
        message = "The teardown is closed. Fates, findings, readings of lines and notes can still be added"
        return refuse("not-allowed", message)
    match intent:
        case intents.OpenTeardown():
            return refuse("already-open", f"The teardown is open already: {record.what}, {record.unit}")
        case intents.AskTeardown() | intents.AskUnderstood() | intents.AttachTeardownPicture():
            raise AssertionError("the controller answers queries, and reads the file of a picture first")
        case intents.MeasureTogether():
            return _measure(record, intent)
        case intents.SkipCheck():
            return _skip(record, intent)
        case intents.AddCheck():
            return _add_check(record, intent)
        case intents.TakeOff():
            return _take_off(record, intent)
        case intents.EditLine():
            return _edit(record, intent)
        case intents.AddToLine():
            return _add(record, intent)
        case intents.SplitLine():
            return _split(record, intent)
        case intents.PutPartBack():
            return _put_back(record, intent)
        case intents.TakeOffAgain():
            return _off_again(record, intent)
        case intents.RemoveLine():
            line = _line(record, intent.line)
            return line if isinstance(line, Refusal) else ev.LineRemoved(line.id, line.description, intent.reason)
        case intents.DecideFate() | intents.ReportFound() | intents.NamePartner():
            return _about_part(record, intent)
        case intents.DescribeState(text=text):
            return ev.AssemblyState(text) if text else refuse("value-missing", "Describe the state", name="text")
        case intents.AddTeardownNote():
            return _note(record, intent)
        case intents.UndoEntry():
            return _undo(state)
        case intents.CloseTeardown():
            return _close(record, intent)
        case _:
            assert_never(intent)


def _line(record: TeardownRecord, name: str) -> TeardownLine | Refusal:
    """The line with this id; the newest if ``name`` is ""."""
    if not record.lines:
        return refuse("unknown-name", "Nothing is off yet, so there is no line. Log a line first", name=name or "line")
    found = record.lines[-1] if not name else record.line(name.lower())
    return found or unknown_name("line", name, (each.id for each in record.lines))


# --- while it is together ------------------------------------------------------------------------------


def _measure(record: TeardownRecord, intent: intents.MeasureTogether) -> TeardownDecision:
    if not intent.name:
        return refuse("value-missing", "Name what is measured, such as: end float", name="name")
    if len(intent.name) > LONGEST_NAME:
        message = f"The name has {len(intent.name)} characters. Write at most {LONGEST_NAME}"
        return refuse("bad-intent", message, name="name")
    if bool(intent.value) == bool(intent.answer):
        return refuse("value-missing", "Give a value with its unit, or an answer in words", name="value")
    line: TeardownLine | None = None
    if intent.line:
        found = _line(record, intent.line)
        if isinstance(found, Refusal):
            return found
        line = found
        places = [part.place for part in line.parts if part.place]
        if intent.place and places and intent.place not in places:
            return unknown_name("place", intent.place, places)
    elif record.closed:
        return refuse("not-allowed", "The teardown is closed. Name the line of the part that you measured", name="line")
    item = next((each for each in record.checklist if folded(each.name) == folded(intent.name)), None)
    value: StoredQuantity | None = None
    if intent.value:
        dimension = item.dimension or None if item is not None and line is None else None
        quantity = read_value(intent.value, dimension, intent.name)
        if isinstance(quantity, Reason):
            return Refusal((quantity,))
        value = quantity
    name = intent.name if item is None else item.name
    reading = TeardownReading(name, value, intent.answer, intent.place, intent.instrument)
    same = same_readings(record, line, reading)
    if intent.instead and not same:
        return refuse("unknown-name", f"There is no earlier answer about “{name}” to replace", name="instead")
    if intent.answer and any(folded(each.answer) == folded(intent.answer) for each in same):
        return refuse("already-done", f"“{name}” has this answer already", name="answer")
    replaced = same and (value is not None or intent.instead)
    reading = replace(reading, corrects=same[-1].event if replaced else 0)
    return ev.ReadingTaken(reading, "" if line is None else line.id)


def same_readings(record: TeardownRecord, line: TeardownLine | None, reading: TeardownReading) -> list[TeardownReading]:
    """The valid readings before ``reading`` of the same kind, name and place.

    Readings of the assembly count only if as many parts were off: the end float without the cover is another reading.
    """
    earlier = valid_readings(record.together if line is None else line.values)
    key = (folded(reading.name), folded(reading.place), reading.value is None)
    return [
        each for each in earlier
        if (folded(each.name), folded(each.place), each.value is None) == key
        and (line is not None or each.lines_off == record.lines_off)
    ]  # fmt: skip


def read_value(text: str, dimension: str | None, name: str) -> StoredQuantity | Reason:
    """The quantity in ``text`` for the log, or why there is none. ``dimension`` is ``None`` if any is accepted."""
    try:
        return to_stored(parse_quantity(text, dimension=dimension))
    except QuantityError as error:
        return quantity_problem(error, name)


def _skip(record: TeardownRecord, intent: intents.SkipCheck) -> TeardownDecision:
    if not intent.reason:
        return refuse("value-missing", "Give the reason for skipping it", name="reason")
    if not intent.name:
        names = tuple(item.name for item in record.open_checks)
        return ev.ChecksSkipped(names, intent.reason) if names else refuse("already-done", "No item is open")
    item = next((each for each in record.checklist if folded(each.name) == folded(intent.name)), None)
    if item is None:
        return unknown_name("item", intent.name, (each.name for each in record.checklist))
    if item.answered:
        return refuse("already-done", f"“{item.name}” is answered already", name=item.name)
    return ev.ChecksSkipped((item.name,), intent.reason)


def _add_check(record: TeardownRecord, intent: intents.AddCheck) -> TeardownDecision:
    if not intent.name:
        return refuse("value-missing", "Name what is to be measured", name="name")
    if any(folded(item.name) == folded(intent.name) for item in record.checklist):
        return refuse("already-done", f"“{intent.name}” is on the list already", name=intent.name)
    known = [each for each in EXAMPLES if each]
    if intent.dimension and intent.dimension not in known:
        return unknown_name("dimension", intent.dimension, known)
    return ev.CheckAdded(ChecklistItem(intent.name, intent.ask, intent.dimension, added=True))


# --- lines -----------------------------------------------------------------------------------------------


def _take_off(record: TeardownRecord, intent: intents.TakeOff) -> TeardownDecision:
    if record.open_checks:
        names = ", ".join(item.name for item in record.open_checks)
        message = f"Measure first what can be measured only while it is together: {names}. Or skip it with a reason"
        return refuse("value-missing", message, name=record.open_checks[0].name)
    description = given_description(intent, None)
    if isinstance(description, Refusal):
        return description
    if not intent.after:
        return ev.CameOff(next_id(record), description)
    if intent.after == "0":
        return ev.CameOff(id_after(record, "0"), description, "")
    after = _line(record, intent.after)
    if isinstance(after, Refusal):
        return after
    return ev.CameOff(id_after(record, after.id), description, after.id)


def next_id(record: TeardownRecord) -> str:
    """The id of the next line: one more than the highest number."""
    return str(1 + max((_number(each) for each in _used_ids(record)), default=0))


def id_after(record: TeardownRecord, name: str, taken: tuple[str, ...] = ()) -> str:
    """A free id for a line after the line ``name``: its number with the next free letters, such as ``12a``."""
    used = {*_used_ids(record), *taken}
    number = _number(name)
    return next(each for each in (f"{number}{_letters(n)}" for n in range(1, len(used) + 2)) if each not in used)


def _used_ids(record: TeardownRecord) -> tuple[str, ...]:
    """The ids of all lines, also of those that were taken away."""
    return (*(each.id for each in record.lines), *record.removed)


def _number(name: str) -> int:
    return int("".join(char for char in name if char.isdigit()) or 0)


def _letters(n: int) -> str:
    """``a`` to ``z``, then ``aa``."""
    n, rest = divmod(n - 1, 26)
    return (_letters(n) if n else "") + chr(ord("a") + rest)


def _edit(record: TeardownRecord, intent: intents.EditLine) -> TeardownDecision:
    line = _line(record, intent.line)
    if isinstance(line, Refusal):
        return line
    description = given_description(intent, line.description)
    if isinstance(description, Refusal):
        return description
    return _corrected(line, description, intent.reason)


def _add(record: TeardownRecord, intent: intents.AddToLine) -> TeardownDecision:
    line = _line(record, intent.line)
    if isinstance(line, Refusal):
        return line
    understood = understand_details(intent.text)
    if understood.problems:
        return Refusal(understood.problems)
    return _corrected(line, with_details(line.description, understood.description), "")


def _corrected(line: TeardownLine, description: PartDescription, reason: str) -> TeardownDecision:
    if description == line.description:
        return refuse("already-done", f"Line {line.id} says this already. Nothing is changed", name=line.id)
    return ev.LineCorrected(line.id, description, line.description, reason)


def _split(record: TeardownRecord, intent: intents.SplitLine) -> TeardownDecision:
    line = _line(record, intent.line)
    if isinstance(line, Refusal):
        return line
    if len(intent.into) < 2:
        return refuse("value-missing", "Write at least two lines to split it into", name="into")
    if len(intent.into) > MAX_PLACES:
        return refuse("bad-quantity", f"{len(intent.into)} lines. Split it into at most {MAX_PLACES}", name="into")
    understood = [understand_entry(text) for text in intent.into]
    problems = tuple(problem for each in understood for problem in each.problems)
    if problems:
        return Refusal(problems)
    ids = [line.id]
    for _ in understood[1:]:
        ids.append(id_after(record, line.id, tuple(ids)))
    return ev.LineSplit(line.id, tuple(ids), tuple(each.description for each in understood), line.description)


def _put_back(record: TeardownRecord, intent: intents.PutPartBack) -> TeardownDecision:
    line = _line(record, intent.line)
    if isinstance(line, Refusal):
        return line
    if not line.is_off:
        message = f"Line {line.id} ({line.description.what}) is put back already. Take it off again first"
        return refuse("already-done", message, name=line.id)
    return ev.WasPutBack(line.id, intent.reason)


def _off_again(record: TeardownRecord, intent: intents.TakeOffAgain) -> TeardownDecision:
    line = _line(record, intent.line)
    if isinstance(line, Refusal):
        return line
    if line.is_off:
        return refuse("already-done", f"Line {line.id} ({line.description.what}) is off already", name=line.id)
    return ev.CameOffAgain(line.id)


# --- parts, notes, the end -------------------------------------------------------------------------------


def _about_part(
    record: TeardownRecord, intent: intents.DecideFate | intents.ReportFound | intents.NamePartner
) -> TeardownDecision:
    line = _line(record, intent.line)
    if isinstance(line, Refusal):
        return line
    places = [part.place for part in line.parts if part.place]
    if intent.place and intent.place not in places:
        if not places:
            return refuse("unknown-name", f"Line {line.id} has no places. Leave the place out", name=intent.place[:200])
        return unknown_name("place", intent.place, places)
    match intent:
        case intents.DecideFate(reason=reason):
            fate = next((each for each in FATES if each == intent.fate), None)
            if fate is None:
                return unknown_name("fate", intent.fate, FATES)
            return ev.FateDecided(line.id, fate, intent.place, reason)
        case intents.ReportFound(text=text):
            kind = next((each for each in FOUND_KINDS if each == intent.kind), None)
            if kind is None:
                return unknown_name("kind of finding", intent.kind, FOUND_KINDS)
            if kind == "other" and not text:
                return refuse("value-missing", "Write what was found", name="text")
            return ev.FoundAtPart(line.id, kind, text, intent.place)
        case intents.NamePartner(partner=partner):
            if not partner:
                return refuse("value-missing", "Name the partner, such as: rod 2", name="partner")
            return ev.PartnerNamed(line.id, partner, intent.place)
        case _:
            assert_never(intent)


def _note(record: TeardownRecord, intent: intents.AddTeardownNote) -> TeardownDecision:
    if not intent.text:
        return refuse("value-missing", "Write the note", name="text")
    if not intent.line:
        return ev.TeardownNoteAdded(intent.text)
    line = _line(record, intent.line)
    return line if isinstance(line, Refusal) else ev.TeardownNoteAdded(intent.text, line.id)


def attach_picture(
    record: TeardownRecord, intent: intents.AttachTeardownPicture, facts: PictureFacts
) -> TeardownDecision:
    """The event of a picture that was read. A picture can be attached after closing too."""
    line_id = ""
    if intent.line:
        line = _line(record, intent.line)
        if isinstance(line, Refusal):
            return line
        line_id = line.id
    return ev.PictureKept(
        facts.name, facts.sha256, facts.size, facts.type, facts.width, facts.height, line_id, intent.text
    )


def _undo(state: TeardownState) -> TeardownDecision:
    step = state.undo
    if step is None:
        return refuse("not-allowed", "There is nothing to undo")
    return ev.EntryUndone(step.event, step.what, step.line)


def _close(record: TeardownRecord, intent: intents.CloseTeardown) -> TeardownDecision:
    back = [each for each in record.lines if not each.is_off]
    if back and not intent.reason:
        names = ", ".join(f"{each.id} {each.description.what}" for each in back)
        return refuse("temporary-left", f"These parts are put back: {names}. Take them off again, or give a reason")
    if record.open_checks and not intent.reason:
        names = ", ".join(item.name for item in record.open_checks)
        return refuse("value-missing", f"These items are open: {names}. Answer or skip them, or give a reason")
    return ev.TeardownClosed(intent.reason)
