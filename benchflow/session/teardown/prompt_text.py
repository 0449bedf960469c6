"""Reads the text typed at the prompts of the teardown screen, and makes an intent of it.

Each function returns the intent to send and rows that show how the text was understood, before anything is logged.
"""

import re
from typing import Any

from msgspec import Struct

from benchflow.base.plaintext import clean_line
from benchflow.quantity.types import printable
from benchflow.session.refusal import Code, Reason
from benchflow.session.teardown.condition_text import found_kind
from benchflow.session.teardown.entry_line import understand_details, understand_entry, with_details
from benchflow.session.teardown.fate_text import question_in
from benchflow.session.teardown.fate_text import read_fate as fate_in_words
from benchflow.session.teardown.measured_text import COMMA_IN_NUMBER, words_and_quantity
from benchflow.session.teardown.part_text import FATE_WORDS, UnderstoodRow, finding_text, understood_rows
from benchflow.session.teardown.teardown_record import (
    ChecklistItem,
    PartDescription,
    PartFate,
    PartFinding,
    TeardownLine,
    TeardownRecord,
)

_FATE_KEYS: dict[str, PartFate] = {
    "u": "use-again", "use again": "use-again", "reuse": "use-again", "m": "machine", "machine": "machine",
    "r": "replace", "replace": "replace", "new": "replace", "a": "ask-customer", "ask": "ask-customer",
    "ask the customer": "ask-customer", "ask customer": "ask-customer",
}  # fmt: skip


class ReadPrompt(Struct, frozen=True):
    """What a prompt understood: the intent (``None``: nothing can be sent), rows to show, and what is wrong."""

    intent: dict[str, Any] | None = None
    rows: tuple[UnderstoodRow, ...] = ()
    problems: tuple[Reason, ...] = ()


def read_entry(text: str, record: TeardownRecord, after: str = "") -> ReadPrompt:
    """A new line; ``, bag 3`` adds to the newest line; ``state: ...`` and ``note: ...`` are about the assembly."""
    plain = clean_line(text)
    if plain.startswith((",", ";")):
        return read_details(plain, record.lines[-1]) if record.lines else _problem("Log a line first, then add to it")
    about = re.fullmatch(r"(state|note)\s*:\s*(.*)", plain, re.IGNORECASE)
    if about is not None:
        kind = about[1].lower()
        if not about[2]:
            return _problem(f"Write the {kind} after the colon", "value-missing")
        return ReadPrompt({"intent": kind, "text": about[2]}, (UnderstoodRow(kind.capitalize(), about[2]),))
    if (question := question_in(plain)) is not None:
        if not question:
            return _problem("Write the question after ask customer:", "value-missing")
        asked = f"ask the customer: {question}"
        return ReadPrompt({"intent": "note", "text": asked}, (UnderstoodRow("Note", asked),))
    if command := re.match(r"(add|skip(?: all)?|instead)\s*:", plain, re.IGNORECASE):
        message = f"“{command[0]}” is about what is measured together. F2 shows that list; write it there"
        return _problem(message, "bad-intent")
    understood = understand_entry(plain)
    if understood.problems:
        return ReadPrompt(None, understood.rows, understood.problems)
    intent = {"intent": "off", "text": plain}
    return ReadPrompt(intent | ({"after": after} if after else {}), understood.rows)


def read_details(text: str, line: TeardownLine) -> ReadPrompt:
    """Details that are added to a line."""
    understood = understand_details(text)
    lead = UnderstoodRow("Adds to", f"{line.id} {line.description.what}")
    if understood.problems:
        return ReadPrompt(None, (lead, *understood.rows), understood.problems)
    merged = with_details(line.description, understood.description)
    if merged.places != line.description.places and line.description.places:
        lead = UnderstoodRow("Adds to", f"{line.id} {line.description.what}, with new places")
    text = text.lstrip(" ,;")
    return ReadPrompt({"intent": "add", "line": line.id, "text": text}, (lead, *understood.rows))


def read_edit(text: str, line: TeardownLine) -> ReadPrompt:
    """The new words of a line. They replace all of the old ones."""
    if about := re.match(r"(state|note)\s*:", clean_line(text), re.IGNORECASE):
        message = (
            f"“{about[0]}” is about the assembly, so it cannot be a line. Take the line away with x, and write it as a "
            "new entry"
        )
        return _problem(message, "bad-intent")
    understood = understand_entry(text)
    rows = (UnderstoodRow("Corrects", f"{line.id} {line.description.what}"), *understood.rows)
    if understood.problems:
        return ReadPrompt(None, rows, understood.problems)
    return ReadPrompt({"intent": "edit", "line": line.id, "text": clean_line(text)}, rows)


def read_split(text: str, line: TeardownLine) -> ReadPrompt:
    """The new lines, with `` / `` between them."""
    pieces = [each.strip() for each in re.split(r"\s+/\s+|\s*\|\s*", clean_line(text)) if each.strip()]
    understood = [understand_entry(piece) for piece in pieces]
    rows = tuple(
        UnderstoodRow(f"Line {number}", "; ".join(row.text for row in each.rows))
        for number, each in enumerate(understood, 1)
    )
    problems = tuple(problem for each in understood for problem in each.problems)
    if problems:
        return ReadPrompt(None, rows, problems)
    if len(pieces) < 2:
        message = "Write a / with a space at both sides where the line is split: washer, bag 4 / bearing, bag 5"
        return ReadPrompt(None, rows, (Reason("value-missing", message, name="into"),))
    return ReadPrompt({"intent": "split", "line": line.id, "into": pieces}, rows)


def read_fate(text: str, line: TeardownLine) -> ReadPrompt:
    """``r``, ``replace: pitted`` or ``2 replace: pitted`` (place 2)."""
    place, rest = place_and_rest(text, line)
    words = sorted(_FATE_KEYS, key=len, reverse=True)
    found = re.fullmatch(rf"({'|'.join(words)})(?:\s*:\s*|\s+|$)(.*)", rest, re.IGNORECASE)
    in_words = None if found is not None else fate_in_words(rest, line.description.what, "")
    if in_words is not None and not in_words.other_part:
        fate, reason = in_words.fate, in_words.reason
    elif found is None:
        message = "Write u (use again), m (machine), r (replace) or a (ask the customer), then the reason"
        return _problem(message, "unknown-name" if rest else "value-missing")
    else:
        fate, reason = _FATE_KEYS[found[1].lower()], found[2].strip()
    rows = (_where(line, place), UnderstoodRow("Fate", FATE_WORDS[fate] + (f": {reason}" if reason else "")))
    return ReadPrompt({"intent": "fate", "line": line.id, "place": place, "fate": fate, "reason": reason}, rows)


def read_found(text: str, line: TeardownLine) -> ReadPrompt:
    """What was found, in words; its kind is read from them. ``2: swarf`` is about place 2."""
    place, rest = place_and_rest(text, line)
    if not rest:
        return _problem("Write what was found, such as: swarf in the oil way", "value-missing")
    kind = found_kind(rest) or "other"
    rows = (_where(line, place), UnderstoodRow("Found", finding_text(PartFinding(kind, rest)), kept=kind == "other"))
    return ReadPrompt({"intent": "found", "line": line.id, "place": place, "kind": kind, "text": rest}, rows)


def read_partner(text: str, line: TeardownLine) -> ReadPrompt:
    """What the part belongs with. ``2: rod 2`` is about place 2."""
    place, rest = place_and_rest(text, line)
    if not rest:
        return _problem("Write what it belongs with, such as: rod 2", "value-missing")
    rows = (_where(line, place), UnderstoodRow("Goes with", rest))
    return ReadPrompt({"intent": "partner", "line": line.id, "place": place, "partner": rest}, rows)


def read_line_note(text: str, line: TeardownLine) -> ReadPrompt:
    """A note about a line."""
    rest = clean_line(text)
    if not rest:
        return _problem("Write the note", "value-missing")
    return ReadPrompt(
        {"intent": "note", "line": line.id, "text": rest}, (_where(line, ""), UnderstoodRow("Note", rest))
    )


def read_measured(text: str, line: TeardownLine) -> ReadPrompt:
    """A name and a quantity, such as ``bore 80.02 mm``. ``2: bore 80.02 mm`` is about place 2."""
    place, rest = place_and_rest(text, line)
    measured = words_and_quantity(rest, None)
    if measured.problem is not None:
        return ReadPrompt(None, (), (measured.problem,))
    name, value = measured.words, measured.value
    if not name or not value:
        return _problem("Write what was measured and the value with its unit, such as: bore 80.02 mm", "value-missing")
    rows = (_where(line, place), UnderstoodRow("Measured", f"{name} {value}"))
    return ReadPrompt({"intent": "measure", "line": line.id, "place": place, "name": name, "value": value}, rows)


def read_put_back(text: str, line: TeardownLine) -> ReadPrompt:
    """The reason for putting a part back; it may be empty."""
    reason = clean_line(text)
    rows = (UnderstoodRow("Puts back", f"{line.id} {line.description.what}"), UnderstoodRow("Reason", reason or "none"))
    return ReadPrompt({"intent": "put-back", "line": line.id, "reason": reason}, rows)


def read_removal(text: str, line: TeardownLine) -> ReadPrompt:
    """The reason for taking a line away; it may be empty."""
    reason = clean_line(text)
    rows = (
        UnderstoodRow("Takes away", f"{line.id} {line.description.what}"),
        UnderstoodRow("Reason", reason or "none"),
    )
    return ReadPrompt({"intent": "remove", "line": line.id, "reason": reason}, rows)


def read_closing(text: str) -> ReadPrompt:
    """The reason for closing the teardown; it may be empty."""
    reason = clean_line(text)
    return ReadPrompt({"intent": "close", "reason": reason}, (UnderstoodRow("Closes", reason or "the teardown"),))


def read_check(text: str, item: ChecklistItem, record: TeardownRecord | None = None) -> ReadPrompt:
    """The answer to an item of the checklist: ``0.12 mm``, ``input shaft 0.12 mm``, or words.

    A line that begins with the name of another item of ``record`` is about that one. ``skip: reason`` skips the item,
    ``skip all: reason`` all that are open, ``add: name`` adds one, ``instead: words`` replaces the last words.
    """
    plain = clean_line(text)
    instead = re.fullmatch(r"instead\s*:\s*(\S.*)", plain, re.IGNORECASE)
    plain = instead[1] if instead is not None else plain
    if record is not None:
        item = next((each for each in record.checklist if _rest_after(each.name, plain)), item)
    command = re.fullmatch(r"(skip(?: all)?|add)\b\s*:?\s*(.*)", plain, re.IGNORECASE)
    if command is not None:
        return _check_command(command[1].lower(), command[2], item)
    if problem := _not_one_answer(plain, item):
        return ReadPrompt(None, (UnderstoodRow("Item", item.name),), (problem,))
    if not plain:
        return _problem(f"Write the answer about “{item.name}”, or skip: and the reason", "value-missing")
    measured = words_and_quantity(plain, item.dimension or None)
    if measured.problem is not None and (item.dimension or COMMA_IN_NUMBER.search(plain)):
        return ReadPrompt(None, (UnderstoodRow("Item", item.name),), (measured.problem,))
    value = measured.value
    place = re.sub(rf"^{re.escape(item.name)}\b\s*", "", measured.words, flags=re.IGNORECASE)
    if not value:
        if item.dimension:
            message = f"“{printable(plain)}” has no value with a unit. Write it, or skip: and the reason"
            return _problem(message, "bad-quantity")
        plain = _rest_after(item.name, plain) or plain
        rows = (UnderstoodRow("Item", item.name), UnderstoodRow("Answer", plain, kept=True))
        added = {"instead": True} if instead is not None else {}
        return ReadPrompt({"intent": "measure", "name": item.name, "answer": plain, **added}, rows)
    if not (place or item.dimension or item.added):
        message = f"“{item.name}” is answered in words. For a value write its item first, such as: lash {value}"
        return _problem(message, "bad-quantity")
    rows = (UnderstoodRow("Item", item.name), *((UnderstoodRow("Place", place),) if place else ()))
    intent = {"intent": "measure", "name": item.name, "place": place, "value": value}
    return ReadPrompt(intent, (*rows, UnderstoodRow("Value", value)))


_COUNTED_THREAD = re.compile(r"\d{1,3}\s*[x×*]\s*(?:[^\W\d_]+ )?(M\s?\d.*)", re.IGNORECASE)


def _not_one_answer(text: str, item: ChecklistItem) -> Reason | None:
    """Why ``text`` is no answer to an item: it is a line of what comes off, or it has several readings."""
    if found := _COUNTED_THREAD.search(text):
        message = (
            f"“{printable(found[0])}” looks like fasteners that come off. Answer or skip first what is measured while "
            "it is together"
        )
        if item.dimension == "torque":
            message = f"Leave the count out: {printable(found[1])}"
        return Reason("bad-intent", message, name="value")
    if not item.dimension or COMMA_IN_NUMBER.search(text):
        return None
    readings = [part.strip() for part in re.split(r"[,;]\s", text) if re.search(r"\d*\.\d|\d\s?%", part)]
    if len(readings) < 2:
        return None
    return Reason("bad-quantity", f"These are {len(readings)} readings. Log each alone: {printable(readings[0])}",
                  name="value")  # fmt: skip


def _rest_after(name: str, text: str) -> str:
    """The text after the name of an item at the start of ``text``; "" if it does not begin with the name."""
    found = re.match(rf"{re.escape(name)}(?:\s*[:=]\s*|\s+)(?=\S)", text, re.IGNORECASE)
    return "" if found is None else text[found.end() :]


def _check_command(command: str, rest: str, item: ChecklistItem) -> ReadPrompt:
    if not rest:
        what = "the name after add:" if command == "add" else f"the reason after {command}:"
        return _problem(f"Write {what}", "value-missing")
    if command == "add":
        return ReadPrompt({"intent": "add-check", "name": rest}, (UnderstoodRow("New item", rest),))
    which = {} if command == "skip all" else {"name": item.name}
    row = UnderstoodRow("Skips", item.name if which else "every open item")
    return ReadPrompt({"intent": "skip", **which, "reason": rest}, (row, UnderstoodRow("Reason", rest)))


def place_and_rest(text: str, line: TeardownLine) -> tuple[str, str]:
    """The place at the start of ``text`` ("" if there is none), and the rest: ``2: pitted``, ``left worn``."""
    plain = clean_line(text)
    for place in sorted((part.place for part in line.parts if part.place), key=len, reverse=True):
        number = re.search(r"\d+$", place)
        for name in (place, number[0]) if number else (place,):
            found = re.match(rf"{re.escape(name)}(?:\s*:\s*|\s+|$)", plain, re.IGNORECASE)
            if found is not None:
                return place, plain[found.end() :]
    return "", plain


def _where(line: TeardownLine, place: str) -> UnderstoodRow:
    places = [part.place for part in line.parts if part.place]
    where = place or ("all places" if len(places) > 1 else "")
    return UnderstoodRow("Line", f"{line.id} {line.description.what}{f', {where}' if where else ''}")


def _problem(message: str, code: Code = "not-allowed") -> ReadPrompt:
    return ReadPrompt(None, (), (Reason(code, message),))


def entry_text(description: PartDescription) -> str:
    """A description as an entry line to edit."""
    each = description
    count = f"{each.count}x " if each.count > 1 and not each.places else ""
    groups = []
    for group in each.fasteners:
        length = "" if group.length is None else f"{group.length.value} {group.length.unit}"
        parts = (f"{group.count}x", group.kind, group.thread, length, group.where)
        groups.append(" ".join(part for part in parts if part))
    segments = [
        f"{count}{each.what}",
        _places_text(each.places),
        " + ".join(groups),
        each.container,
        each.marks,
        each.orientation,
        each.condition and f"condition {each.condition}",
        *(f"{value.name} = {value.value.value} {value.value.unit}" for value in each.values if value.value is not None),
        each.state and f"state: {each.state}",
        FATE_WORDS[each.fate] + (f": {each.fate_reason}" if each.fate_reason else ""),
        each.partner and f"with {each.partner}",
        *(found.text for found in each.found),
        each.remark and f"note: {each.remark}",
    ]
    return ", ".join(segment.replace(", ", " ") for segment in segments if segment)


def _places_text(places: tuple[str, ...]) -> str:
    """``cylinder 1..4``, or the places with ``and``."""
    numbered = [re.fullmatch(r"(.*?)\s*(\d+)", place) for place in places]
    words = {found[1] for found in numbered if found is not None}
    if len(places) < 2 or None in numbered or len(words) != 1:
        return " and ".join(places)
    numbers = [int(found[2]) for found in numbered if found is not None]
    word = words.pop()
    if numbers == list(range(numbers[0], numbers[-1] + 1)):
        return f"{word} {numbers[0]}..{numbers[-1]}".strip()
    return f"{word} {'+'.join(map(str, numbers))}".strip()


def line_rows(line: TeardownLine) -> tuple[UnderstoodRow, ...]:
    """Everything known about a line, as rows."""
    own = [row for row in understood_rows(line.description) if row.label not in ("Fate", "Goes with", "Found")]
    for label, texts in (
        ("Fate", [(part.place, FATE_WORDS[part.fate] + (f": {part.fate_reason}" if part.fate_reason else ""))
                  for part in line.parts if part.fate]),
        ("Goes with", [(part.place, part.partner) for part in line.parts if part.partner]),
        ("Found", [(part.place, finding_text(found)) for part in line.parts for found in part.found]),
    ):  # fmt: skip
        grouped: dict[str, list[str]] = {}
        for place, text in texts:
            grouped.setdefault(text, []).append(place)
        all_places = len(line.parts)
        shown = [
            text if len(places) == all_places or not any(places) else f"{', '.join(places)}: {text}"
            for text, places in grouped.items()
        ]
        if shown:
            own.append(UnderstoodRow(label, "; ".join(shown)))
    own += [UnderstoodRow("Note", note.text) for note in line.notes]
    own += [UnderstoodRow("Picture", picture.text or picture.name) for picture in line.pictures]
    if not line.is_off:
        own.append(UnderstoodRow("Put back", line.put_backs[-1].reason or "for a while"))
    if line.earlier:
        own.append(UnderstoodRow("Before", "; ".join(entry_text(old.description) for old in line.earlier[-1:])))
    return tuple(own)


def read_picture_path(text: str, line_id: str) -> ReadPrompt:
    """The path of a picture file."""
    path = text.strip().strip("'\"")
    if not path:
        return _problem("Write the path of the picture file", "value-missing")
    about = {"line": line_id} if line_id else {}
    rows = (UnderstoodRow("Picture", path), UnderstoodRow("Of", f"line {line_id}" if line_id else "the whole"))
    return ReadPrompt({"intent": "attach", "file": path, **about}, rows)
