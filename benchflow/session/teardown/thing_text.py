"""Reads the first segment of an entry line: what follows a colon or a fate in it, and the count in a name."""

import re

from benchflow.quantity.types import printable
from benchflow.session.refusal import Reason
from benchflow.session.teardown.fate_text import apart_from_fate, begins_with_fate, named_after_fate

_COLON = re.compile(r"([^\W\d_][^:]*?)\s*:\s+(\S.*)")
"""A name with a colon after it: ``cover: 8x M6x1 30 mm``."""
_COUNT_X = re.compile(r"(\d{1,6})(?:\s*[x×*]\s*|\s+off\s+)(?=\D)", re.IGNORECASE)
_COUNT_PLURAL = re.compile(r"(\d{1,3})\s+(?=\D.*s$)")
_COUNT_BEHIND = re.compile(
    r"(\S.*?)\s+(?:\(?(\d{1,6})\s*[x×*]\)?|\(?[x×*]\s?(\d{1,6})\)?|(\d{1,6})\s+(?:off|pcs|pieces?))", re.IGNORECASE
)
"""A count after a name: ``dowels 2x``."""
_UNCLEAR = re.compile(
    r"(?:^|\s)([-+]?\d+\s*[x×*](?!\s?\d)\S*|-\d+\s*[x×*]\S*)|^((?!4\s?[x×]\s?4\b)\d+\s*[x×*]\s*\d+)(?=\s)"
    r"|^(\d+\s*(?:\.\.+|…)\s*\d+)|(\d+\s*(?:\.\.+|…)\s*\d+)$",
    re.IGNORECASE,
)
"""A count or a range that was not read, and would be part of a name."""
_LABELS = re.compile(r"(?:found|condition|marks?|partner|fate|measured|bag|tray|box|question)\s*:", re.IGNORECASE)


def name_and_rest(text: str) -> tuple[str, ...]:
    """The first segment of a line as segments: a colon or a fate after the name begins the next one."""
    if begins_with_fate(text) or _LABELS.match(text) or re.match(r"(?:note|remark|state)\s*:|\"", text, re.IGNORECASE):
        return (text,)
    if found := apart_from_fate(text):
        return (*name_and_rest(found[0]), found[1])
    if (found_colon := _COLON.fullmatch(text)) is not None:
        return found_colon[1], found_colon[2]
    return (text,)


def no_name(text: str) -> Reason | None:
    """Why ``text`` names no thing that comes off; ``None`` if it may be a name."""
    if begins_with_fate(text) or _LABELS.match(text):
        example = named_after_fate(text)
        message = f"Name the thing first, such as: {printable(example)}. A comma first adds to the newest line"
        return Reason("value-missing", message, name="what")
    return None


def count_and_name(text: str) -> tuple[int | None, str, Reason | None]:
    """The count before or after a name (``None`` if there is none), the name, and what is wrong with the count."""
    before = _COUNT_X.match(text) or _COUNT_PLURAL.match(text)
    name = text if before is None else text[before.end() :]
    behind = _COUNT_BEHIND.fullmatch(name)
    if before is None and behind is None:
        return None, text, None
    if before is not None and behind is not None:
        return None, text, Reason("bad-quantity", f"“{printable(text)}” has two counts. Write one", name="count")
    digits = "" if before is None else before[1]
    if behind is not None:
        name, digits = behind[1], next(each for each in behind.groups()[1:] if each)
    count = int(digits)
    if not 1 <= count <= 999:
        return count, name, Reason("bad-quantity", f"{digits} is not a possible count. Write 1 to 999", name="count")
    return count, name, None


def unclear_count(name: str) -> Reason | None:
    """Why a name has a count or a range in it that is not clear; ``None`` if it has none."""
    found = _UNCLEAR.search(name)
    if found is None:
        return None
    if found[3] or found[4]:
        rest = re.sub(r"\s+", " ", name.replace(found[0], " ")).strip()
        example = f"{rest} 1..4" if found[4] else f"{rest} {found[3]}"
        message = (
            f"“{found[0].strip()}” is not read here. Write places after the name, at most 64: {printable(example)}"
        )
        return Reason("bad-quantity", message, name="places")
    part = next(each for each in found.groups() if each)
    message = f"“{part}” is not a count. Write one count before the name (2x gear), and fasteners after a comma"
    return Reason("bad-quantity", message, name="count")
