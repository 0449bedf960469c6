"""Reads one entry line of a teardown, such as ``rocker cover, 8x M6x1 30 mm, bag 3``, and shows how it is understood.

The segments are separated by commas. The first names the thing. Each other segment is one of: fasteners, places,
a bag, marks, orientation, condition, a measured value, a fate, a partner, the state, a finding. Any other
segment is kept as words, and is shown as words: nothing is guessed silently.
"""

import re
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from benchflow.base.plaintext import clean_line
from benchflow.quantity.notation import parse_quantity
from benchflow.quantity.types import printable
from benchflow.session.refusal import Code, Reason
from benchflow.session.rules.verdicts import to_stored
from benchflow.session.teardown.condition_text import CONDITION, found_kind
from benchflow.session.teardown.fastener_text import (
    begins_with_thread,
    is_about_fasteners,
    own_thread,
    read_fasteners,
)
from benchflow.session.teardown.fate_text import apart_from_fate, begins_with_fate, read_fate, replaced_part
from benchflow.session.teardown.measured_text import COMMA_IN_NUMBER, comma_reason, is_quantity, words_and_quantity
from benchflow.session.teardown.part_text import UnderstoodRow, understood_rows
from benchflow.session.teardown.place_text import is_side, read_places, trailing_places, two_sides
from benchflow.session.teardown.teardown_record import (
    PartDescription,
    PartFinding,
    TeardownReading,
)
from benchflow.session.teardown.thing_text import count_and_name, name_and_rest, no_name, unclear_count

MAX_ENTRY = 1000
"""The largest number of characters of an entry line."""

CONTAINERS = ("bag", "tray", "box", "tin", "bin", "rack", "shelf", "jar", "pot", "drawer", "crate", "cup", "carton")

_CONTAINER = re.compile(
    rf"(?:in |to )?({'|'.join(CONTAINERS)})(?:\s+(?:no\.?|nr\.?|number)\s*|\s*[:#]?\s*)((?!(?:it|them)$)\S.*)?",
    re.IGNORECASE,
)
_NAMES = "|".join(CONTAINERS)
_BAG_BEHIND = re.compile(rf"(\S.*?)\s+((?:{_NAMES})\s+\S*\d\S*)", re.IGNORECASE)
"""A bag after other words, without a comma between them."""
_TOO_MUCH = re.compile(rf"((?:in |to )?(?:{_NAMES})\s+\S*\d\S*)\s+(\S.*)", re.IGNORECASE)
"""A bag with other words after it."""
_FASTENERS_BEHIND = re.compile(
    r"([^\W\d].*?)\s+(\d{1,3}\s*[x×*]\s*(?:[^\W\d_]*\s*M\d|\d|[^\W\d_]+ M\d).*)", re.IGNORECASE
)
"""Fasteners after the name of a thing, without a comma between them."""
_MARKS = re.compile(r"(?:marks?|marked|stamped|punched|scribed|painted|engraved|etched|dots?)\b", re.IGNORECASE)
_FACING = re.compile(
    r"(?:facing|faces|towards?|arrow|orientation|lip|chamfer|step|"
    r"(?:open|closed|flat|stepped|chamfered?|numbered) side)\b"
    r"|.*\b(?:up|down|upwards?|downwards?|inwards?|outwards?|to (?:the )?(?:front|rear|left|right|top|bottom))$",
    re.IGNORECASE,
)
_PARTNER = re.compile(
    r"(?:goes with|belongs (?:with|to)|mates with|pairs? with|with|partner:?)\s+(\S.*)", re.IGNORECASE
)
_STATE = re.compile(r"state\s*:?\s+(\S.*)", re.IGNORECASE)
_NOTE = re.compile(r"(?:note|remark)\s*:\s*(\S.*)|\"([^\"]+)\"?", re.IGNORECASE)
_NAME_BEHIND = re.compile(
    r"([-+]?(?:\d+\.\d+|\.\d+|\d+) ?(?:mm|µm|um|in|thou|N·m|Nm|ft-lb|in-lb|°|bar|psi|%|g|kg)) (?:of )?([^\W\d_][^\d]*)"
)
"""A value with its name after it: ``0.05 mm end float``."""
_WORDS_BEHIND = re.compile(r"(\D*?((?:\d+\.\d+|\.\d+|\d+) ?[^\s\d]+))\s+([^\W\d_]{2,}[^\d]*)")
"""A value with words after it: ``shim 0.3 mm under it``."""
_VALUE_IN_NAME = re.compile(
    r"([^\W\d_].*?)\s+(\d*\.\d+ ?(?:mm|in)|\d+(?:\.\d+)? ?(?:µm|um|thou))(?:\s+([^\W\d_].*))?", re.IGNORECASE
)
"""A measured value after the name of a thing: ``shim input bearing 1.05 mm``. A size such as ``30 mm`` is a name."""
_ONLY_COUNT = re.compile(r"(\d{1,3})\s*(?:[x×*]|off|pieces?|pcs)|[x×]\s*(\d{1,3})", re.IGNORECASE)
"""A count as a part of its own: ``interlock pins, 2x``."""
_SIZES = re.compile(
    r"sizes? \d[\d.]*(?:\s*[x×]\s*\d[\d.]*){1,2}\s*(?:mm|in)?|\d[\d.]*(?:\s*[x×]\s*\d[\d.]*){2}\s*(?:mm|in)?",
    re.IGNORECASE,
)
"""The sizes of a seal or a bearing: ``35x52x7 mm``. They are kept as words."""
_NUMBER_OF_VALUE = re.compile(
    r"\d[.,]\d|(?<!\w)[.,]\d|\d\s?(?:mm|µm|um|thou|N·m|Nm|ft-lb|in-lb|°C?|bar|psi|%|g|kg)(?!\w)"
)
"""A number that is meant as a value: a decimal, or a number with a unit."""


class Understood(Struct, frozen=True):
    """How an entry line is understood: the description, the same as rows to show, and what is wrong with it."""

    description: PartDescription
    rows: tuple[UnderstoodRow, ...] = ()
    problems: tuple[Reason, ...] = ()


def understand_entry(text: str) -> Understood:
    """How an entry line is understood. Its first segment names the thing that comes off."""
    return _understood(text, names_thing=True)


def understand_details(text: str) -> Understood:
    """How details are understood that are added to a line, such as ``bag 3``. ``what`` is "" in the description."""
    return _understood(text.lstrip(" ,;"), names_thing=False)


def _understood(text: str, *, names_thing: bool) -> Understood:
    plain = clean_line(text)
    if len(plain) > MAX_ENTRY:
        message = f"The line has {len(plain)} characters. Write at most {MAX_ENTRY}; use a note for the rest"
        return Understood(PartDescription(""), problems=(Reason("bad-intent", message, name="text"),))
    if comma := COMMA_IN_NUMBER.search(plain):
        return Understood(PartDescription(""), problems=(comma_reason(plain, comma),))
    segments = [each.strip() for each in re.split(r"[,;]", plain) if each.strip()]
    reader = _EntryReader()
    if names_thing:
        if not segments:
            reader.wrong("value-missing", "Write what comes off, such as: rocker cover, 8x M6x1 30 mm, bag 3", "what")
        else:
            segments = [*name_and_rest(segments[0]), *segments[1:]]
            reader.thing(segments.pop(0))
    elif not segments:
        reader.wrong("value-missing", "Write what to add, such as: bag 3", "text")
    for segment in segments:
        reader.detail(segment)
    description = replace(reader.description(), entered=plain)
    return Understood(description, understood_rows(description), tuple(reader.problems))


class _EntryReader:
    """Collects the fields of one entry line."""

    def __init__(self) -> None:
        self.fields: dict[str, Any] = {"what": ""}
        self.problems: list[Reason] = []
        self._in_finding = False  # the segment before was ``found: ...``
        self._last_words = ""  # the segment, if it was kept as words; and the one before
        self._words_before = ""

    def description(self) -> PartDescription:
        fields = {name: tuple(value) if isinstance(value, list) else value for name, value in self.fields.items()}
        places = fields.get("places", ())
        if places and "count" not in fields:
            fields["count"] = len(places)
        elif places and fields["count"] != len(places):
            number = f"{len(places)} place{'' if len(places) == 1 else 's'}"
            message = f"{fields['count']} parts, but {number}. Write as many places, such as: left + right"
            self.wrong("bad-quantity", message, "places")
        return replace(PartDescription(""), **fields)

    def wrong(self, code: Code, message: str, name: str) -> None:
        self.problems.append(Reason(code, message, name=name))

    def thing(self, text: str) -> None:
        """Read the first segment: the name of the thing, with its count and places if they are there."""
        if self._lacks_comma(text):
            return
        if problem := no_name(text):
            self.problems.append(problem)
            return
        if behind := _FASTENERS_BEHIND.fullmatch(text):
            message = f"Write a comma before {behind[2]}: {printable(behind[1])}, {printable(behind[2])}"
            self.wrong("value-missing", message, "fasteners")
            return
        if own := own_thread(text):
            self.fields["what"] = own[0]
            self._fasteners(f"1x {own[1]}")
            return
        if begins_with_thread(text) or (is_about_fasteners(text) and _is_only_fasteners(text)):
            self.wrong("value-missing", f"Name the thing first, such as: cover, {printable(text)}", "what")
            return
        count, text, problem = count_and_name(text)
        self.problems += [] if problem is None else [problem]
        if count is not None:
            self.fields["count"] = count
        name, places, problem = trailing_places(text)
        if problem is not None:
            self.problems.append(problem)
        if places:
            self.fields["places"] = list(places)
        self.fields["what"] = name
        if value := _VALUE_IN_NAME.fullmatch(name):
            named = value[3] or "thickness"
            self.wrong("value-missing", f"Say what {value[2]} is: {value[1]}, {named} {value[2]}", "values")
        if problem is None and (problem := unclear_count(name)):
            self.problems.append(problem)
        if opposite := two_sides(name):
            self.wrong("bad-intent", f"Write {' + '.join(opposite)} if these are two places", "places")
        if not re.search(r"[^\W\d_]", name):
            self.wrong("value-missing", "Write what comes off in words", "what")

    def _lacks_comma(self, text: str) -> bool:
        """True if a bag is after other words without a comma. It would then be part of the words."""
        if _NOTE.fullmatch(text) or _CONTAINER.fullmatch(text):
            found = _TOO_MUCH.fullmatch(text)
            if found is not None:
                self.wrong("bad-intent", f"Write a comma after {found[1]}: {found[1]}, {found[2]}", "container")
            return found is not None
        found = _BAG_BEHIND.fullmatch(text)
        if found is None:
            return False
        self.wrong("bad-intent", f"Write a comma before {found[2]}: {printable(found[1])}, {found[2]}", "container")
        return True

    def detail(self, text: str) -> None:
        """Read one of the other segments."""
        if self._lacks_comma(text):
            return
        goes_on = self._in_finding
        self._words_before, self._last_words = self._last_words, ""
        self._in_finding = re.match(r"found\b", text, re.IGNORECASE) is not None
        if (rest := re.sub(r"^with\s+", "", text, flags=re.IGNORECASE)) != text and is_about_fasteners(rest):
            text = rest
        if (count := _ONLY_COUNT.fullmatch(text)) and "count" not in self.fields:
            self.fields["count"] = int(count[1] or count[2])
            if not self.fields["count"]:
                self.wrong("bad-quantity", f"{text} is not a possible count. Write 1 to 999", "count")
        elif _SIZES.fullmatch(text):
            self._append("remark", text)
        elif kept := _NOTE.fullmatch(text):
            self._append("remark", (kept[1] or kept[2]).strip())
        elif container := _CONTAINER.fullmatch(text):
            self._container(text, container)
        elif state := _STATE.fullmatch(text):
            self._append("state", state[1])
        elif not (
            self._fate(text)
            or self._fate_behind(text)
            or self._found(text)
            or self._places(text)
            or self._fasteners(text)
        ):
            self._words(text, of_finding=goes_on)

    def _words(self, text: str, *, of_finding: bool) -> None:
        """Read words. ``of_finding`` is true after ``found: ...``, where more words are part of the finding."""
        if _MARKS.match(text):
            self._append("marks", text)
        elif _FACING.fullmatch(text) or _FACING.match(text):
            self._append("orientation", text)
        elif partner := _PARTNER.fullmatch(text):
            self._append("partner", partner[1])
        elif self._value(text):
            return
        elif condition := CONDITION.fullmatch(text):
            self._append("condition", condition[1] or condition[2])
        elif of_finding:
            before = self.fields["found"].pop()
            self.fields["found"].append(replace(before, text=f"{before.text}, {text}"))
            self._in_finding = True
        else:
            self._append("remark", text)
            self._last_words = text

    def _append(self, name: str, text: str) -> None:
        before = self.fields.get(name, "")
        self.fields[name] = f"{before}; {text}" if before else text

    def _container(self, text: str, found: re.Match[str]) -> None:
        if found[2] is None:
            kind = found[1].lower()
            self.wrong("value-missing", f"Which {kind}? Write its number or name, such as {kind} 3", "container")
            return
        self._append("container", f"{found[1].lower()} {found[2]}")

    def _fate(self, text: str) -> bool:
        read = read_fate(text, self.fields["what"], self._words_before)
        if read is None:
            if undecided := begins_with_fate(text) and not is_about_fasteners(text):
                self._append("remark", text)  # replace if worn
            return undecided
        if read.other_part:
            self._append("remark", text if read.other_part in text else f"{text} {read.other_part}")
            return True
        if self.fields.get("fate", read.fate) != read.fate:
            self.wrong("bad-intent", "Two different fates. Write one; set others by place afterwards", "fate")
        self.fields["fate"] = read.fate
        if read.reason:
            self._append("fate_reason", read.reason)
        return True

    def _fate_behind(self, text: str) -> bool:
        """Read a fate after other words: ``worn replace``. Without a comma, another name could be the one meant."""
        apart = None if _MARKS.match(text) or is_about_fasteners(text) else apart_from_fate(text)
        if apart is None:
            return False
        if CONDITION.fullmatch(apart[0]) or found_kind(apart[0]):
            self.detail(apart[0])
            self.detail(apart[1])
            return True
        if replaced_part(text) == apart[0]:
            return False  # words about another part, which the lists show
        words = f"{printable(apart[0])}, {printable(apart[1])}"
        self.wrong(
            "bad-intent", f"Write a comma before {printable(apart[1])} if it is about this line: {words}", "fate"
        )
        return True

    def _found(self, text: str) -> bool:
        kind = found_kind(text)
        if kind is None:
            return False
        words = re.sub(r"^found:?\s+", "", text, flags=re.IGNORECASE)
        self.fields.setdefault("found", []).append(PartFinding(kind, words))
        return True

    def _fasteners(self, text: str) -> bool:
        if not is_about_fasteners(text):
            return False
        thread = ""
        for piece in re.split(r"\s*\+\s*", text):
            read = read_fasteners(piece)
            self.problems += read.problems
            if read.group is None:
                continue
            if begins_with_fate(read.group.where):
                words, kind = read.group.where, read.group.kind or "bolt"
                message = f"“{words}” is not read in fasteners. Write a comma before it: , {words}"
                self.wrong("bad-intent", f"{message}. For the fasteners only: , {words} {kind}s", "fate")
            # After a +, only the length differs. The thread is shown with the group before anything is logged.
            alike = bool(thread) and not read.group.thread and not read.group.kind
            group = replace(read.group, thread=thread) if alike else read.group
            thread = group.thread
            self.fields.setdefault("fasteners", []).append(group)
        return True

    def _places(self, text: str) -> bool:
        places = read_places(text)
        if places is None:
            return False
        if isinstance(places, Reason):
            self.problems.append(places)
        elif "places" in self.fields and is_side(text) and all(is_side(each) for each in self.fields["places"]):
            self.fields["places"] += [each for each in places if each not in self.fields["places"]]
        elif "places" in self.fields:
            message = "Places are written twice. Write all of them in one part of the line, such as: left + right"
            self.wrong("bad-intent", message, "places")
        else:
            self.fields["places"] = list(places)
        return True

    def _value(self, text: str) -> bool:
        """Read ``end float 0.12 mm``. A number with a decimal point, or after ``=``, must have a unit."""
        if behind := _NAME_BEHIND.fullmatch(text):
            text = f"{behind[2]} {behind[1]}"
        equals = "=" in text
        measured = words_and_quantity(text.replace("=", " "), None)
        if measured.problem is not None:
            # Words may have numbers (hole 3 of 5), but not a decimal or a unit.
            if not equals and not _NUMBER_OF_VALUE.search(text):
                return False
            message = f"{measured.problem.message} Or keep it as words: note: {printable(text)}"
            if (behind := _WORDS_BEHIND.fullmatch(text)) and is_quantity(behind[2]):
                message = f"Write a comma after the value: {printable(behind[1])}, {printable(behind[3])}"
            self.problems.append(replace(measured.problem, message=message, at=None))
            return True
        if not measured.value:
            return False
        if not measured.words:
            self.wrong(
                "value-missing", f"Name what {printable(text)} is, such as: thickness {printable(text)}", "values"
            )
            return True
        stored = to_stored(parse_quantity(measured.value))
        self.fields.setdefault("values", []).append(TeardownReading(measured.words, stored))
        return True


def _is_only_fasteners(text: str) -> bool:
    """True if a segment has only fasteners, so that it does not name a thing."""
    read = read_fasteners(text)
    return read.group is None or not re.search(r"[^\W\d_]", read.group.where)


def with_details(line: PartDescription, details: PartDescription) -> PartDescription:
    """The description of a line with details added. Words are added; fate and places replace the earlier ones."""

    def joined(*texts: str) -> str:
        return "; ".join(text for text in texts if text)

    return replace(
        line,
        count=len(details.places) if details.places else line.count,
        fasteners=(*line.fasteners, *details.fasteners),
        places=details.places or line.places,
        values=(*line.values, *details.values),
        found=(*line.found, *details.found),
        fate=details.fate or line.fate,
        fate_reason=details.fate_reason if details.fate else line.fate_reason,
        entered=_joined_entry(line.entered, details.entered),
        **{name: joined(getattr(line, name), getattr(details, name)) for name in _WORD_FIELDS},
    )


_WORD_FIELDS = ("marks", "orientation", "container", "condition", "state", "partner", "remark")


def _joined_entry(*texts: str) -> str:
    return ", ".join(text for text in texts if text)
