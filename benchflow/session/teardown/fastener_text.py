"""Reads fasteners as the trade writes them, such as ``8x M6x1 30 mm`` or ``4x 5/16-18 x 1 in at front``."""

import re

from msgspec import Struct
from msgspec.structs import replace

from benchflow.quantity.notation import parse_quantity
from benchflow.quantity.types import QuantityError, printable
from benchflow.session.context import quantity_problem
from benchflow.session.refusal import Reason
from benchflow.session.rules.verdicts import to_stored
from benchflow.session.state.event_basics import StoredQuantity
from benchflow.session.teardown.teardown_record import FastenerGroup
from benchflow.trade.calculations.thread_series import METRIC_PITCHES, thread_problem
from benchflow.trade.calculations.threads import ThreadError, parse_thread

KINDS = {
    "bolt": "bolt", "capscrew": "screw", "setscrew": "set screw", "screw": "screw", "nut": "nut", "stud": "stud",
    "washer": "washer", "circlip": "circlip", "clip": "clip", "clamp": "clamp", "pin": "pin", "plug": "plug",
    "rivet": "rivet", "key": "key",
}  # fmt: skip
"""Words for a fastener, each with the kind in the record. A plural has an s."""

ADJECTIVES = (
    "roll", "split", "cotter", "taper", "dowel", "banjo", "shoulder", "set", "cap", "grub", "lock", "spring", "drain",
    "filler", "woodruff", "reach", "hose",
)  # fmt: skip
"""Words before a kind of fastener that belong to its name."""

MAX_COUNT = 999

_COUNT = re.compile(r"(\d{1,6})(?:\s*[x×*]\s*|\s+(?=\D)|\s+(?=\d+/\d|\d{1,2}-\d{2}\b))")
_NUMBER = r"\d+(?:\.\d+)?"
_TIMES = r"\s*[x×*]\s*"
_METRIC = re.compile(
    rf"(?<![\w.])M\s?({_NUMBER})(?:{_TIMES}({_NUMBER}))?(?:{_TIMES}({_NUMBER})(?!\s*(?:mm|cm|in)\b))?(?![\w.])",
    re.IGNORECASE,
)
_UNIFIED = re.compile(
    r"(?<![\w./])(?:#\d{1,2}|\d{1,2}[ -]\d{1,2}/\d{1,2}|\d{1,2}/\d{1,2}|\d{1,2})\"?-\d{1,2}(?![\d./])"
    r"(?:\s?(?:UN[A-Z]{0,3}|NC|NF)\b)?",
    re.IGNORECASE,
)
_LENGTH = re.compile(
    rf"(?<![\w./])((?:\d{{1,3}} )?\d+/\d+|{_NUMBER}|\.\d+)\s*(mm|cm|inch(?:es)?|in|thou|\"|'')(?![\w])", re.IGNORECASE
)
_FEWEST_BARE_THREADS = 24
"""Threads per inch from which two numbers, such as ``10-32``, are a thread without more words (ASME B1.1)."""
_ANY_NUMBER = re.compile(r"(?<![\w./-])\d+(?:[./]\d+)?(?![\w/-])")


class ReadFasteners(Struct, frozen=True):
    """Fasteners in a text, with what is wrong with it."""

    group: FastenerGroup | None
    problems: tuple[Reason, ...] = ()


def is_about_fasteners(text: str) -> bool:
    """True if a text is about fasteners: it has a thread, or a count with a word for a fastener or with a length."""
    count = _COUNT.match(text)
    thread = _METRIC.search(text) or _unified(text)
    if thread is not None:
        return count is not None or not _has_words_before(text, thread)
    if count is None:
        return False
    rest = text[count.end() :]
    return _kind_word(rest) is not None or (_LENGTH.match(rest) is not None)


def read_fasteners(text: str) -> ReadFasteners:
    """The fasteners in ``text``, which has one group."""
    count = _COUNT.match(text)
    if count is None and not text[:1].isdigit() and _is_one(text):
        text = f"1x {text}"  # nut M24x1.5 is one nut
        count = _COUNT.match(text)
    if count is None and (stray := re.match(r"[-+]?\d+\s*[x×*]", text)):
        message = f"{stray[0].rstrip(' x×*')} is not a possible count. Write 1 to {MAX_COUNT}"
        return ReadFasteners(None, (Reason("bad-quantity", message, name="fasteners"),))
    if count is None or (_unified_at_start(text) and not re.match(r"\d{1,6}\s*[x×*]", text)):
        example = f"Write the count first, such as: 1x {printable(text)}"
        return ReadFasteners(None, (Reason("value-missing", f"How many? {example}", name="fasteners"),))
    number = int(count[1])
    if not 1 <= number <= MAX_COUNT:
        message = f"{count[1]} is not a possible count. Write 1 to {MAX_COUNT}"
        return ReadFasteners(None, (Reason("bad-quantity", message, name="fasteners"),))
    rest = text[count.end() :]
    thread, length, rest, problems = _thread(rest)
    own, *apart = re.split(r"(?:^|\s)with\s+", rest, maxsplit=1)  # a spring beside a plug has its own length
    if length is None:
        length, own, more = _length(own)
        problems += more
    rest = own
    kind, rest = _kind(rest)
    where = re.sub(r"(?<!\S)[x×*](?!\S)", " ", rest.replace(":", " "))  # a lone x between figures that were read
    where = " ".join(where.split())
    with_words = f"with {apart[0].strip()}" if apart else ""
    stray = _ANY_NUMBER.match(where)
    second = _LENGTH.search(where)
    if second is not None:
        message = f"“{second[0]}” is a second length. Write each length with its own count, with + between them"
        problems += (Reason("bad-quantity", message, name="fasteners"),)
    elif stray is not None:
        message = f"“{stray[0]}” has no unit. Write a length as {stray[0]} mm, a pitch as M8x{stray[0]}"
        problems += (Reason("bad-quantity", message, name="fasteners"),)
    where = " ".join(each for each in (where, with_words) if each)
    return ReadFasteners(FastenerGroup(number, kind, thread, length, where), problems)


def _is_one(text: str) -> bool:
    """True if the word of a fastener in ``text`` is no plural."""
    found = _kind_word(text)
    return found is not None and not found[0].lower().endswith("s")


def _unified(text: str) -> re.Match[str] | None:
    """The first unified thread. A bare ``3-4`` names gears; ``10-32`` and ``1-8`` after a count are threads."""
    for found in _UNIFIED.finditer(text):
        bare = re.fullmatch(r"\d{1,2}-(\d{1,2})", found[0].strip())
        if bare is None or int(bare[1]) >= _FEWEST_BARE_THREADS or re.search(r"\d\s*[x×*]\s*$", text[: found.start()]):
            return found
    return None


def _unified_at_start(text: str) -> bool:
    found = _unified(text)
    return found is not None and found.start() == 0


def _has_words_before(text: str, thread: re.Match[str]) -> bool:
    """True if words before a thread do not name a fastener: ``thread insert M6`` is not about fasteners."""
    before = text[: thread.start()]
    return re.search(r"[^\W\d_]{2}", before) is not None and _kind_word(before) is None


def is_kind(text: str) -> bool:
    """True for the word of a fastener alone, such as ``nuts`` or ``split pin``."""
    found = _kind_word(text.strip())
    return found is not None and found[0] == text.strip()


def own_thread(text: str) -> tuple[str, str] | None:
    """The name and the thread of one thing that is its own fastener: ``drain plug M14x1.5``; ``None`` for another text.

    A kind alone, such as ``bolt M6``, is not a name. A plural needs a count.
    """
    found = re.fullmatch(r"([^\W\d_][^\d]*?[ -]([^\W\d_]+))\s+(.*\d.*)", text)
    if found is None or found[2].lower() not in KINDS or _COUNT.match(text):
        return None
    thread = _METRIC.fullmatch(found[3]) or _unified(found[3])
    return (found[1], found[3]) if thread is not None and thread[0] == found[3] else None


def begins_with_thread(text: str) -> bool:
    """True if ``text`` begins with a count and a thread, so that it names no thing: ``8x M6x1 30 mm cover``."""
    count = _COUNT.match(text)
    if count is None:
        return False
    rest = text[count.end() :]
    kind = _kind_word(rest)
    if kind is not None and kind.start() == 0:
        rest = rest[kind.end() :].lstrip()
    thread = _METRIC.match(rest) or _unified(rest)
    return thread is not None and thread.start() == 0


def read_length(text: str, name: str) -> StoredQuantity | Reason:
    """The length in ``text``, or the reason why there is none."""
    try:
        found = parse_quantity(text, dimension="length")
    except QuantityError as error:
        return replace(quantity_problem(error, name), at=None)
    if found.value <= 0:
        return Reason("bad-quantity", f"“{printable(text)}” is not a possible length. It has to be above 0", name=name)
    return to_stored(found)


def thread_reason(text: str) -> Reason | None:
    """Why ``text`` is not a standard thread; ``None`` if it is one. ``special`` at its end allows any thread."""
    try:
        wrong = thread_problem(parse_thread(text))
    except ThreadError as error:
        return Reason("bad-quantity", str(error), name="thread")
    if not wrong:
        return None
    return Reason("bad-quantity", f"{wrong[:1].upper()}{wrong[1:]}. Or write {text} special", name="thread")


def _thread(text: str) -> tuple[str, StoredQuantity | None, str, tuple[Reason, ...]]:
    """The thread in ``text``, the length if it is part of the designation, the rest, and what is wrong."""
    special = re.search(r"\bspecial\b", text)
    found = _METRIC.search(text)
    if found is not None:
        name, length = _metric_name(found)
        stored = None if not length else StoredQuantity(length, "mm", length)
    else:
        found = _unified(text)
        if found is None:
            return "", None, text, ()
        name, stored = re.sub(r"\s+", " ", found[0].replace('"', "")).upper(), None
    behind = re.sub(r"^\s*mm\b", "", text[found.end() :])  # the unit of M6 x 30 mm, which the designation has
    rest = f"{text[: found.start()]} {behind}".strip()
    if special:
        rest = re.sub(r"\bspecial\b", " ", rest).strip()
        name += " special"
    wrong = thread_reason(name)
    return name, stored, rest, () if wrong is None else (wrong,)


def _metric_name(found: re.Match[str]) -> tuple[str, str]:
    """The metric thread, and the length in mm ("" if there is none): ``M6x1x30`` has both.

    The second number is a pitch if it is at most the coarse pitch of ISO 261, otherwise a length.
    """
    diameter, second, third = found.groups()
    size = f"{float(diameter):g}"
    if second is None:
        return f"M{size}", ""
    pitches = METRIC_PITCHES.get(size, "").split()
    is_pitch = float(second) <= (float(pitches[0]) if pitches else float(size) / 4)
    if third is not None or is_pitch:
        return f"M{size}x{float(second):g}", "" if third is None else f"{float(third):g}"
    return f"M{size}", f"{float(second):g}"


def _length(text: str) -> tuple[StoredQuantity | None, str, tuple[Reason, ...]]:
    found = _LENGTH.search(text)
    if found is None:
        return None, text, ()
    rest = f"{text[: found.start()]} {text[found.end() :]}"
    length = read_length(found[0], "fasteners")
    if isinstance(length, Reason):
        return None, rest, (length,)
    return length, rest, ()


def _kind_word(text: str) -> re.Match[str] | None:
    """The first word for a fastener in ``text``, with the word before it that names its kind."""
    return re.search(rf"\b(?:(?:({'|'.join(ADJECTIVES)})[ -])?({'|'.join(KINDS)})e?s?)\b", text, re.IGNORECASE)


def _kind(text: str) -> tuple[str, str]:
    """The kind of the fasteners, and the text without its word."""
    found = _kind_word(text)
    if found is None:
        return "", text
    kind = KINDS[found[2].lower()]
    named = f"{found[1].lower()} {kind}" if found[1] else kind
    return named, f"{text[: found.start()]} {text[found.end() :]}"
