"""Finds the quantity in an entry such as ``cylinder 2 inlet 0.20 mm``. An ambiguous number is refused, not guessed."""

import re

from msgspec import Struct
from msgspec.structs import replace

from benchflow.quantity.notation import parse_quantity
from benchflow.quantity.types import QuantityError, printable
from benchflow.quantity.units import EXAMPLES
from benchflow.session.context import quantity_problem
from benchflow.session.refusal import Reason

_NUMBER = re.compile(r"(?<![\w.,/-])[-+±]?(?:[.,]?\d[\d.,]*|[½¼¾⅛⅜⅝⅞])")
_ORDINAL = re.compile(r"\d{1,2}(?:st|nd|rd|th)\b", re.IGNORECASE)
_GEARS = re.compile(
    r"\d{1,2}[-–]\d{1,2}\s+(?!(?:mm|µm|um|thou|in|N·m|Nm|ft-lb|in-lb|°C?|bar|psi|kPa|%|rpm|g|kg|min|s|h)\b)[^\W\d_]",
    re.IGNORECASE,
)
"""The gears in a name, such as ``3-4 pad``. They are not a quantity."""
_WHOLE = re.compile(r"\d{1,3}(?=\s|:|$)")
_OTHER_VALUE = re.compile(
    r"\d\.\d+|(?<!\w)\d+\s?(?:mm|µm|um|thou|N·m|Nm|ft-lb|in-lb|°C?|bar|psi|kPa|%|rpm|g|kg|min|s|h)(?!\w)"
)
"""A value in the words before the value."""
COMMA_IN_NUMBER = re.compile(r"\d,\d|(?:^|\s),\s?\d")
"""A comma that can be a decimal point, or separates digits in groups: ``0,10``, `` ,5``."""


class MeasuredWords(Struct, frozen=True):
    """The words before the quantity, the quantity as text ("" if there is none), and the problem."""

    words: str
    value: str = ""
    problem: Reason | None = None


def words_and_quantity(text: str, dimension: str | None) -> MeasuredWords:
    """The words and the quantity at the end of ``text``. ``dimension`` is ``None`` if any will do.

    The quantity is the first number and everything after it. Only a place may have a number before it: ``3rd gear``,
    ``cylinder 2``; then the value has a decimal point, or words or a colon are between the two numbers.
    """
    if comma := COMMA_IN_NUMBER.search(text):
        return MeasuredWords(text, problem=comma_reason(text, comma))
    first: Reason | None = None
    for found in _NUMBER.finditer(text):
        start = found.start()
        if _ORDINAL.match(text, start) or _GEARS.match(text, start):
            continue
        words, value = text[:start].strip(" =:,"), text[start:].strip()
        if first is not None and not _is_apart(text[:start], value):
            return MeasuredWords(text, problem=first)
        try:
            parse_quantity(value, dimension=dimension)
        except QuantityError as error:
            problem = replace(quantity_problem(error, "value"), at=None)
            if re.fullmatch(r"[-+±]?\d*\.?\d+", value):
                unit = EXAMPLES.get(dimension or "length", "40 N·m").split()[-1]
                problem = replace(problem, message=f"“{value}” has no unit. Write it, such as: {value} {unit}")
            if first is not None or not _WHOLE.match(text, start):
                return MeasuredWords(text, problem=problem)
            first = problem
            continue
        if other := _OTHER_VALUE.search(words):
            message = f"“{other[0]}” and “{printable(value)}” are two values. Enter each of them by itself"
            return MeasuredWords(text, problem=Reason("bad-quantity", message, name="value"))
        return MeasuredWords(words, value)
    return MeasuredWords(text, problem=first)


def _is_apart(before: str, value: str) -> bool:
    """True if the number before a value clearly belongs to a place, and not to the value."""
    if value.startswith((".", ",")):
        return False
    between = re.search(r"\d([^\d]*)$", before)
    if between is None or re.search(r"[^\W_]", between[1]) or ":" in between[1]:
        return True
    has_word = re.search(r"[^\W\d_]\s*\d+\s*$", before) is not None  # cylinder 2, not a bare 2
    return has_word and "." in value.split()[0]


def comma_reason(text: str, comma: re.Match[str]) -> Reason:
    """The refusal of a comma in a number, with what to type."""
    around = re.search(rf"[\d.,]*{re.escape(comma[0].strip())}[\d.,]*", text)
    number = (around[0] if around is not None else comma[0]).strip(", ")
    groups = number.split(",")
    if number.count(",") > 1 or "." in number:
        meant = "Write the number without a comma in it"
    elif len(groups) == 2 and len(groups[1]) == 3 and groups[0] not in ("", "0"):
        meant = f"Write {groups[0]}.{groups[1]} or {groups[0]}{groups[1]}"
    else:
        meant = f"Write {number.replace(',', '.')}" if "," in number else f"Write 0.{number}"
    message = (
        f"“{printable(number)}”: a comma can be a decimal point. {meant}. Put a space after a comma between values"
    )
    return Reason("bad-quantity", message, name="value", at=comma.start())


def is_quantity(text: str) -> bool:
    """True if ``text`` is a quantity."""
    try:
        parse_quantity(text)
    except QuantityError:
        return False
    return True
