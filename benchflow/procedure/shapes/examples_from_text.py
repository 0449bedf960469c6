"""Hints with an example that is made from the author's own words: ``shaft free`` should be ``{shaft: free}``."""

import json
import re
from collections.abc import Callable

from benchflow.base.plaintext import clean_line
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, YamlScalar, YamlSequence
from benchflow.quantity import QuantityError, parse_limit, parse_quantity

_NUMBERS = (
    "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
)  # fmt: skip
_DIGITS = re.compile(r"(?:[0-9]{1,3}\s*(?:x|×|times|readings?|points?|places?|positions?)|(?:x|×)\s*[0-9]{1,3})", re.I)
_WITHIN = re.compile(r"(?:(?:with)?in|inside|before|at most|max\.?|up to)\s+", re.IGNORECASE)
_AFTER = re.compile(r"(?:after|wait(?:\s+for)?|for|at least|min\.?)\s+", re.IGNORECASE)
_ENTRY = re.compile(r"([A-Za-z0-9][\w-]*)(?:\s*(?:=|->|→|:)\s*|\s+(?:is|to|at|in)\s+|\s+)(\S.*)", re.DOTALL)
_NEEDS_QUOTES = re.compile(r"[\[\]{},:#\"'&*!|>%@`]")
_ENTRY_RULE = "Write each entry as a name with a value"


def count_written(text: str) -> int | None:
    """The number that a text such as ``four``, ``4x`` or ``4 readings`` means; ``None`` if it is not a number."""
    words = clean_line(text).casefold().split()
    if words and words[0] in _NUMBERS and words[1:] in ([], ["times"], ["readings"], ["points"], ["places"]):
        return _NUMBERS.index(words[0]) + 1
    found = _DIGITS.fullmatch(clean_line(text))
    return int(re.sub(r"[^0-9]", "", found[0])) if found else None


def time_window_hint(text: str) -> str:
    """The hint for a text where time windows are expected: ``within 8 minutes`` is ``{ID: at most 8 min}``."""
    line = clean_line(text)
    forms = [(words.match(line), form) for words, form in ((_WITHIN, "at most"), (_AFTER, "at least"))]
    for found, form in forms:
        time = _time(line[found.end() :]) if found else None
        if time is not None:
            return f"Write it as `{{ID: {form} {time}}}`, with the id of the operation that the time counts from"
    time = _time(line)
    if time is not None:
        return (
            f"Write `takes: {time}` if this operation takes that time. Write `time: {{ID: at most {time}}}` if it is "
            "the time since an earlier operation, with the id of that one"
        )
    return f"{_ENTRY_RULE}, such as `{{ID: at most 10 min}}` with the id of the operation that the time counts from"


def _time(text: str) -> str | None:
    try:
        read = parse_quantity(text.strip(), dimension="time")
    except QuantityError:
        return None
    return f"{read.value:f} {read.unit}"


def recorded_value_hint(text: str) -> str:
    """The hint for a text where recorded values are expected: ``gap 0.1 .. 0.2 mm`` is a name with a limit."""
    found = _ENTRY.fullmatch(clean_line(text))
    try:
        limit = parse_limit(found[2]) if found else None
    except QuantityError:
        limit = None
    end = None if limit is None else limit.high or limit.low
    if found is None or limit is None or end is None:
        return f"{_ENTRY_RULE}, such as `{{end-play: {{unit: mm, limit: 0.10 .. 0.28 mm}}}}`"
    return f"{_ENTRY_RULE}, such as `{{{found[1]}: {{unit: {end.unit}, limit: {quoted(found[2])}}}}}`"


def plain_entry_hint(text: str) -> str:
    """The hint for a text where a mapping is expected, if the text does not show what its entries are."""
    return _ENTRY_RULE


def entry_hint(text: str) -> str:
    """The hint for a text where names with one word each are expected: ``shaft is free`` is ``{shaft: free}``."""
    found = _ENTRY.fullmatch(clean_line(text))
    if found is None or len(found[0]) > 60:
        return f"{_ENTRY_RULE}, such as `{{{clean_line(text) if text.isidentifier() else 'name'}: value}}`"
    return f"{_ENTRY_RULE}, such as `{{{found[1]}: {quoted(found[2])}}}`"


def mapping_hint(node: YamlNode, of_text: Callable[[str], str]) -> str:
    """The hint for ``node`` where a mapping is expected. ``of_text`` makes the hint for a text."""
    if isinstance(node, YamlScalar):
        return of_text(node.text)
    if not isinstance(node, YamlSequence) or not node.items:
        return _ENTRY_RULE
    only = node.items[0]
    if len(node.items) == 1 and isinstance(only, YamlScalar):
        return of_text(only.text)
    if all(isinstance(item, YamlMapping) for item in node.items):
        named = [
            value.text
            for item in node.items
            if isinstance(item, YamlMapping)
            for key, value in item.pairs
            if key.text in ("id", "name") and isinstance(value, YamlScalar)
        ]
        if named:
            return f"Write each entry under its name, such as `{named[0][:40]}: {{...}}`, without `-` before it"
        return "Write the entries as one mapping, without brackets and without `-` before them"
    return _ENTRY_RULE


def quoted(text: str) -> str:
    """``text`` as it is written as a value inside braces: in quotes if YAML needs them."""
    return json.dumps(text, ensure_ascii=False) if _NEEDS_QUOTES.search(text) else text
