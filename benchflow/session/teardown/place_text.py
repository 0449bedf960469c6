"""Reads the places of repeated parts, such as ``cylinder 1..4``, ``left and right`` or ``bearing 3``."""

import re

from benchflow.session.refusal import Reason

MAX_PLACES = 64
"""Places of one line."""

_WORDS = {
    "cyl": "cylinder", "cyls": "cylinder", "cylinder": "cylinder", "cylinders": "cylinder", "bearing": "bearing",
    "bearings": "bearing", "main": "main", "mains": "main", "journal": "journal", "journals": "journal",
    "port": "port", "ports": "port", "place": "place", "places": "place", "position": "position",
    "positions": "position", "valve": "valve", "valves": "valve", "rod": "rod", "rods": "rod",
}  # fmt: skip
"""Words that name a place, each with the word in the record."""
_SIDES = ("left", "right", "front", "rear", "top", "bottom", "upper", "lower", "inner", "outer", "inlet", "exhaust")
"""Words for a side, each beside its opposite."""

_RANGE = r"(\d{1,4})\s*(?:\.\.\.?|…|-|–|to)\s*(\d{1,4})"
_LIST = r"\d{1,4}(?:\s*(?:\+|&|and)\s*\d{1,4})+"
_BY_RANGE = re.compile(rf"(?:([^\W\d_][\w ]*?)\s+)?{_RANGE}", re.IGNORECASE)
_BY_LIST = re.compile(rf"(?:([^\W\d_][\w ]*?)\s+)?({_LIST})", re.IGNORECASE)
_ONE = re.compile(rf"({'|'.join(_WORDS)})\s*(?:no\.?\s*)?(\d{{1,4}})", re.IGNORECASE)
_BY_SIDES = re.compile(rf"(?:{'|'.join(_SIDES)})(?:\s*(?:\+|&|and)\s*(?:{'|'.join(_SIDES)}))*", re.IGNORECASE)
_AT_END = re.compile(
    rf"(?:\b(?:{'|'.join(_WORDS)})\s+)?(?:{_RANGE}|{_LIST})$|\b(?:cyl|cylinder)\s+\d{{1,4}}$"
    rf"|\b(?:{'|'.join(_SIDES)})(?:\s*(?:\+|&|and)\s*(?:{'|'.join(_SIDES)}))+$",
    re.IGNORECASE,
)
_GEAR_PAIR = re.compile(
    rf"(?!(?:.*\s)?(?:{'|'.join(_WORDS)})\s)[^\W\d_].*?(?:[^\W\d_s]|ss)\s+(\d{{1,2}})\s?[-–]\s?(\d{{1,2}})",
    re.IGNORECASE,
)


def is_side(text: str) -> bool:
    """True for one side, such as ``left``."""
    return text.lower() in _SIDES


def two_sides(text: str) -> tuple[str, str] | None:
    """Two opposite sides at the end of a name without ``+`` between them, such as ``bearings left right``."""
    found = re.search(r"\b(\w+) (\w+)$", text.lower())
    if found is None or not (is_side(found[1]) and is_side(found[2])):
        return None
    at = _SIDES.index(found[1]), _SIDES.index(found[2])
    return (found[1], found[2]) if at[0] // 2 == at[1] // 2 and at[0] != at[1] else None


def names_gear_pair(text: str) -> bool:
    """True for the name of one thing, such as ``shift rail 1-2`` or ``fork 3-4``. ``rod caps 1-2`` has places."""
    found = _GEAR_PAIR.fullmatch(text)
    return found is not None and int(found[2]) == int(found[1]) + 1


def read_places(text: str) -> tuple[str, ...] | Reason | None:
    """The places that ``text`` names, the reason why they are not possible, or ``None`` if it names none."""
    if sides := _BY_SIDES.fullmatch(text):
        return tuple(re.split(r"\s*(?:\+|&|\band\b)\s*", sides[0].lower()))
    if one := _ONE.fullmatch(text):
        return (f"{_WORDS[one[1].lower()]} {int(one[2])}",)
    if names_gear_pair(text):
        return None
    if by_range := _BY_RANGE.fullmatch(text):
        return _numbered(by_range[1] or "", _range(int(by_range[2]), int(by_range[3])), text)
    if by_list := _BY_LIST.fullmatch(text):
        return _numbered(by_list[1] or "", [int(each) for each in re.findall(r"\d+", by_list[2])], text)
    return None


def trailing_places(text: str) -> tuple[str, tuple[str, ...], Reason | None]:
    """The name of a thing, the places at its end (``rod caps 1..4``), and what is wrong with them."""
    found = _AT_END.search(text)
    name = "" if found is None else text[: found.start()].strip()
    if found is not None and not name:
        name = text.split()[0]  # the word of the place names the thing too: rods 1..2
    if found is None or names_gear_pair(text) or name.endswith(("-", "–")) or not re.search(r"[^\W\d_]", name):
        return text, (), None
    places = read_places(found[0])
    if isinstance(places, Reason):
        return name, (), places
    return name, places or (), None


def _range(first: int, last: int) -> list[int]:
    return list(range(first, last + 1))[: MAX_PLACES + 1]


def _numbered(word: str, numbers: list[int], text: str) -> tuple[str, ...] | Reason:
    if len(numbers) < 2 or len(set(numbers)) != len(numbers):
        return Reason("bad-quantity", f"“{text}” is not a range of places. Write the lower number first", name="places")
    if len(numbers) > MAX_PLACES:
        return Reason("bad-quantity", f"“{text}” names more than {MAX_PLACES} places. Use several lines", name="places")
    prefix = _WORDS.get(word.lower(), word.lower())
    return tuple(f"{prefix} {number}".strip() for number in numbers)
