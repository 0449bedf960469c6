"""The lists after a teardown: to order, for the machine shop, to ask the customer, not decided yet."""

import textwrap
from collections.abc import Iterator, Sequence

from msgspec import Struct

from benchflow.base.plaintext import clean_line
from benchflow.session.teardown.fate_text import question_in, replaced_part
from benchflow.session.teardown.part_text import fasteners_text, finding_text, reading_text_of
from benchflow.session.teardown.renewed_parts import is_pin_renewed, is_seal, is_used_once
from benchflow.session.teardown.teardown_record import (
    PartFate,
    TakenOffPart,
    TeardownLine,
    TeardownRecord,
    valid_readings,
)


class ListedPart(Struct, frozen=True, omit_defaults=True):
    """One entry of a list: a part of a line, with its places that have the same fate and reason.

    ``line`` is "" for a question about the assembly; ``part`` is then the question.
    ``reason`` is that of the fate or else the condition, or why the part is in the list. ``found`` and
    ``measured`` are about these places.
    """

    line: str
    part: str
    count: int = 1
    places: tuple[str, ...] = ()
    reason: str = ""
    found: tuple[str, ...] = ()
    measured: tuple[str, ...] = ()
    marks: str = ""
    container: str = ""
    pictures: int = 0

    @property
    def name(self) -> str:
        """``2 × thrust washer: left, right``."""
        count = f"{self.count} × " if self.count > 1 else ""
        return f"{count}{self.part}" + (f": {', '.join(self.places)}" if self.places else "")


class PartLists(Struct, frozen=True):
    """The lists of a teardown.

    ``renewed`` are seals and other parts that are not used again, if nobody has decided about them. ``found`` are parts
    with a finding and no fate. ``undecided`` has the lines with a part without a fate.
    """

    unit: str
    what: str
    order: tuple[ListedPart, ...]
    renewed: tuple[ListedPart, ...]
    machine: tuple[ListedPart, ...]
    ask: tuple[ListedPart, ...]
    found: tuple[ListedPart, ...]
    undecided: tuple[str, ...]
    lines: int
    simulated: bool = False


def part_lists(record: TeardownRecord) -> PartLists:
    """The lists of a teardown, each in the order of the lines."""
    lines = record.lines
    return PartLists(
        record.unit, record.what,
        order=tuple(part for line in lines for part in (*_with_fate(line, "replace"), *_in_words(line))),
        renewed=tuple(part for line in lines for part in _renewed(line)),
        machine=tuple(part for line in lines for part in _with_fate(line, "machine")),
        ask=(*(part for line in lines for part in _with_fate(line, "ask-customer")), *_questions(record)),
        found=tuple(part for line in lines for part in _with_fate(line, "") if part.found),
        undecided=tuple(line.id for line in lines if any(not part.fate for part in line.parts)),
        lines=len(lines), simulated=record.simulated,
    )  # fmt: skip


def _with_fate(line: TeardownLine, fate: PartFate) -> Iterator[ListedPart]:
    """The parts of a line with this fate, those with the same reason together."""
    by_reason: dict[str, list[TakenOffPart]] = {}
    for part in line.parts:
        if part.fate == fate:
            by_reason.setdefault(part.fate_reason, []).append(part)
    for reason, parts in by_reason.items():
        places = tuple(part.place for part in parts if part.place)
        texts = ((f"{part.place}: " if len(parts) > 1 and part.place else "") + finding_text(each)
                 for part in parts for each in part.found)  # fmt: skip
        measured = tuple(
            reading_text_of(each) for each in valid_readings(line.values)
            if not each.place or not places or each.place in places
        )  # fmt: skip
        each = line.description
        yield ListedPart(
            line.id, each.what, len(places) or each.count, places, reason or each.condition,
            tuple(dict.fromkeys(texts)), measured, each.marks, each.container, len(line.pictures),
        )  # fmt: skip


def _renewed(line: TeardownLine) -> Iterator[ListedPart]:
    """The parts of a line that are not used again: the thing itself, its fasteners, or a seal in its words."""
    each = line.description
    if (is_seal(each.what) or is_used_once(each.what)) and not all(part.fate for part in line.parts):
        open_places = tuple(part.place for part in line.parts if part.place and not part.fate)
        yield ListedPart(line.id, each.what, len(open_places) or each.count, open_places, container=each.container)
    for group in each.fasteners:
        named = f"{group.where} {group.kind}"  # copper washer
        if is_used_once(group.kind) or is_pin_renewed(group.kind) or is_seal(named):
            yield ListedPart(line.id, fasteners_text(group), reason=f"of {each.what}")
    for words in each.remark.split("; "):
        replaced = [each.part for each in _in_words(line)]
        if words and is_seal(words) and not replaced_part(words) and not any(each in words for each in replaced):
            yield ListedPart(line.id, words, reason=f"of {each.what}")


def _in_words(line: TeardownLine) -> Iterator[ListedPart]:
    """Other parts that the words of a line say to replace."""
    for words in line.description.remark.split("; "):
        if part := replaced_part(words):
            yield ListedPart(line.id, part, reason=f"of {line.description.what}")


def _questions(record: TeardownRecord) -> Iterator[ListedPart]:
    """The questions to the customer in notes and in the words of a line."""
    for note in record.notes:
        if question := question_in(note.text):
            yield ListedPart("", question)
    for line in record.lines:
        for words in (*line.description.remark.split("; "), *(note.text for note in line.notes)):
            if question := question_in(words):
                yield ListedPart(line.id, line.description.what, reason=question)


WIDTH = 100
NOTHING = "nothing"


def lists_text(lists: PartLists, width: int = WIDTH) -> Iterator[str]:
    """The lists as lines of text, without the title of the teardown."""
    for title, parts in titled_lists(lists):
        yield title.upper()
        yield from (row for part in parts for row in _rows(part, width))
        if not parts:
            yield f"  {NOTHING}"
        yield ""
    if lists.undecided:
        text = f"{len(lists.undecided)} of {lists.lines} lines have a part without a fate: "
        yield from textwrap.wrap(text + ", ".join(lists.undecided), width, break_on_hyphens=False)
    else:
        yield "Every part has its fate." if lists.lines else "Nothing is off yet."


def titled_lists(lists: PartLists) -> Iterator[tuple[str, Sequence[ListedPart]]]:
    """The lists with their titles, without the optional ones that are empty."""
    yield "To order", lists.order
    if lists.renewed:
        yield "Not used again, and nothing decided", lists.renewed
    yield "For the machine shop", lists.machine
    yield "Ask the customer", lists.ask
    if lists.found:
        yield "Found, and nothing decided", lists.found


def _rows(part: ListedPart, width: int) -> list[str]:
    """One entry: its name with the reason, then what was found and measured."""
    lead = f"  {(f'line {part.line}' if part.line else '').ljust(9)} "
    return textwrap.wrap(
        lead + clean_line(entry_text_of(part)), width, subsequent_indent=" " * len(lead), break_on_hyphens=False
    )


def entry_text_of(part: ListedPart) -> str:
    """An entry in one phrase: ``2 × thrust washer: left, right (worn); measured: thickness 2.41 mm``."""
    texts = [part.name + (f" ({part.reason})" if part.reason else "")]
    texts += [f"found: {'; '.join(part.found)}"] if part.found else []
    texts += [f"measured: {'; '.join(part.measured)}"] if part.measured else []
    texts += [part.marks] if part.marks else []
    texts += [f"in {part.container}"] if part.container else []
    texts += [f"{part.pictures} picture{'' if part.pictures == 1 else 's'}"] if part.pictures else []
    return "; ".join(texts)
