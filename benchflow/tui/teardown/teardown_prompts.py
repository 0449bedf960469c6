"""The prompts of the teardown screen: what the entry line asks for, and how its text is read."""

import re
from collections.abc import Callable
from typing import Literal, assert_never

from msgspec import Struct

from benchflow.session.teardown import prompt_text as read
from benchflow.session.teardown.prompt_text import ReadPrompt
from benchflow.session.teardown.teardown_record import ChecklistItem, TeardownLine, TeardownRecord

LinePrompt = Literal["add", "edit", "split", "fate", "found", "partner", "measured", "note", "put-back", "remove"]
"""What can be asked about a line."""

_READERS: dict[LinePrompt, Callable[[str, TeardownLine], ReadPrompt]] = {
    "add": read.read_details,
    "edit": read.read_edit,
    "split": read.read_split,
    "fate": read.read_fate,
    "found": read.read_found,
    "partner": read.read_partner,
    "measured": read.read_measured,
    "note": read.read_line_note,
    "put-back": read.read_put_back,
    "remove": read.read_removal,
}
_LABELS: dict[LinePrompt, str] = {
    "add": "ADD TO LINE", "edit": "CORRECT LINE", "split": "SPLIT LINE", "fate": "FATE OF LINE",
    "found": "FOUND AT LINE", "partner": "PARTNER OF LINE", "measured": "MEASURED AT LINE",
    "note": "NOTE ON LINE", "put-back": "PUT BACK LINE", "remove": "TAKE AWAY LINE",
}  # fmt: skip
FATE_HINT = "u use again, m machine, r replace, a ask the customer; then the reason."
"""The fates at the prompt for the fate of a line."""

HELP_HINTS = (
    "Fates, after the name and a comma: use again; replace or throw away; machine or to the machine shop; ask "
    "customer. A colon begins the reason: ask customer: which coolant. Or ↑ to the line, then f: " + FATE_HINT,
    "Also: 2x, 1..4, 8x M6x1 30 mm, bag 3, marked 2, lip up, with rod 2, lash 0.2 mm, pitted. note: keeps words.",
)
"""The words of the entry line, for the list of keys."""

_HINTS: dict[LinePrompt, str] = {
    "add": "For example: bag 3, marked 2 at the front, end float 0.12 mm",
    "edit": "The old words stay in the log.",
    "split": "Put a / with a space at both sides where the line is split. The first part keeps the number.",
    "fate": f"{FATE_HINT} 2 r pitted: place 2 only.",
    "found": "Debris, imprint of the gasket, insert, odd bolt, missing dowel, what broke. 2: swarf is about place 2.",
    "partner": "What it belongs with, such as: rod 2. With a place first: 2: rod 2",
    "measured": "A name and a value with its unit, such as: bore 80.02 mm. With a place first: 2: bore 80.02 mm",
    "note": "Words about this line.",
    "put-back": "Why it goes back for a while; Enter alone gives no reason. Take it off again with the same key (b).",
    "remove": "Only for a line that was logged by mistake. Why; Enter alone gives no reason. F4 undoes it.",
}


class EntryPrompt(Struct, frozen=True):
    """The entry line asks for what comes off. ``after`` is the line after which it is inserted; "" for the newest."""

    after: str = ""


class CheckPrompt(Struct, frozen=True):
    """The entry line asks for an item of the checklist."""

    item: ChecklistItem


class AboutLine(Struct, frozen=True):
    """The entry line asks something about a line."""

    what: LinePrompt
    line: str


class PicturePrompt(Struct, frozen=True):
    """The entry line asks for the path of a picture. ``line`` is "" for the whole."""

    line: str


class ClosingPrompt(Struct, frozen=True):
    """The entry line asks for the reason to close the teardown."""


class FolderPrompt(Struct, frozen=True):
    """The entry line asks for another folder, because the log cannot be written."""


Prompt = EntryPrompt | CheckPrompt | AboutLine | PicturePrompt | ClosingPrompt | FolderPrompt


def read_prompt(prompt: Prompt, text: str, record: TeardownRecord) -> ReadPrompt:
    """Reads the text at a prompt: how it is understood, and the intent to send."""
    match prompt:
        case EntryPrompt(after=after):
            return read.read_entry(text, record, after)
        case CheckPrompt(item=item):
            return read.read_check(text, item, record)
        case AboutLine(what=what, line=name):
            line = record.line(name)
            assert line is not None  # a line is never removed while a prompt is open
            return _READERS[what](text, line)
        case PicturePrompt(line=name):
            return read.read_picture_path(text, name)
        case ClosingPrompt():
            return read.read_closing(text)
        case FolderPrompt():
            return ReadPrompt()
        case _:
            assert_never(prompt)


def prompt_label(prompt: Prompt, record: TeardownRecord) -> str:
    """What a prompt asks, in capitals."""
    match prompt:
        case EntryPrompt(after="") if record.closed:
            return "CLOSED"
        case EntryPrompt(after=""):
            return "WHAT COMES OFF"
        case EntryPrompt(after="0"):
            return "FORGOTTEN, BEFORE THE FIRST LINE"
        case EntryPrompt(after=after):
            return f"FORGOTTEN, AFTER LINE {after}"
        case CheckPrompt(item=item):
            return f"WHILE IT IS TOGETHER: {item.name.upper()}"
        case AboutLine(what=what, line=name):
            return f"{_LABELS[what]} {name}"
        case PicturePrompt(line=name):
            return f"PICTURE OF LINE {name}" if name else "PICTURE OF THE ASSEMBLY"
        case ClosingPrompt():
            return "CLOSE THE TEARDOWN"
        case FolderPrompt():
            return "CONTINUE THE LOG IN ANOTHER FOLDER"
        case _:
            assert_never(prompt)


def prompt_hint(prompt: Prompt, record: TeardownRecord) -> tuple[str, ...]:
    """Hints under an empty entry line."""
    match prompt:
        case EntryPrompt() if record.closed:
            return (
                "The teardown is closed. ↑ selects a line: fate, found, measured, picture and note can be added.",
                "For a note about the assembly, write note: and the words.",
            )
        case EntryPrompt(after=""):
            newest = f" A comma first adds to line {record.last_off}: , bag 3" if record.lines else ""
            return (
                "Name, fasteners, bag: rocker cover, 8x M6x1 30 mm + 2x 45 mm front, bag 3",
                "Places: rod caps 1..4. Also: marked 2, lip up, lash 0.2 mm",
                "Fates: use again, replace: pitted, to the machine shop, ask customer: why",
                "About the assembly: state: 3rd gear in (state: none ends it); or note: words",
                f"A scanned code is the bag.{newest}",
            )
        case EntryPrompt():
            return ("Write the line that was forgotten. Esc goes back.",)
        case CheckPrompt(item=item):
            return (
                *((item.ask,) if item.ask else ()),
                f"{_example(item)}Enter alone: next item. skip: reason, skip all: reason, add: name",
                *(("More words are added. To replace the last: instead: words",) if _has_words(item, record) else ()),
            )
        case AboutLine(what=what):
            return (_HINTS[what],)
        case PicturePrompt(line=name):
            other = f"line {record.last_off}" if not name else "the assembly"
            again = (f"F7 again: a picture of {other}.",) if record.lines else ()
            return (
                "The path of the picture file, such as: pictures/dsc-0042.jpg. It is copied beside the log.",
                *again,
            )
        case ClosingPrompt():
            return (
                "Enter closes it; write a reason if something is open. Then only fates, findings, readings of lines, "
                "pictures and notes can be added.",
            )
        case FolderPrompt():
            return ("The path of a folder on another disk. The log continues there in a copy.",)
        case _:
            assert_never(prompt)


_ITEM_EXAMPLES = {"length": "input shaft 0.12 mm", "torque": "input shaft 1.4 N·m", "fraction": "cylinder 2 8 %"}


def _example(item: ChecklistItem) -> str:
    """An example of an answer with a place, in the unit of the item."""
    example = _ITEM_EXAMPLES.get(item.dimension, "")
    return f"With a place: {example}. " if example else ""


def _has_words(item: ChecklistItem, record: TeardownRecord) -> bool:
    return any(each.answer for each in record.answers(item.name))


def first_text(prompt: Prompt, record: TeardownRecord) -> str:
    """The text with which a prompt opens: the words of the line for a correction or a split."""
    if not isinstance(prompt, AboutLine) or prompt.what not in ("edit", "split"):
        return ""
    line = record.line(prompt.line)
    return "" if line is None else read.entry_text(line.description)


def reason_missing(text: str) -> str:
    """The start of a command of the checklist that lacks only its words, such as ``skip: ``; "" for another text."""
    found = re.fullmatch(r"\s*(skip(?: all)?|add)\s*:?\s*", text, re.IGNORECASE)
    return "" if found is None else f"{found[1].lower()}: "
