"""Reads the plain part of YAML that procedures use, about ten times faster than the YAML parser.

It reads lists and mappings by indent and in brackets, texts without quotes, in quotes, and below ``|`` and ``>``. It
refuses everything else, and every text with a mistake: the YAML parser then reads the text and reports the mistake.
The tests compare both on all files, and on thousands of files with random changes.
"""

import re
from typing import NoReturn

from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, YamlScalar, YamlSequence

_not_here = re.compile("[\t\r\x85\u2028\u2029\ufeff]|^(?:---|\\.\\.\\.|%)", re.MULTILINE)
_indent = re.compile(" *")
_blank_or_comment = re.compile(" *(?:#|$)")
_rest = re.compile(r" *$| +#")
_plain_key = re.compile(r"([A-Za-z0-9_\u00a1-\ud7ff][^:#]*):(?= |$)")
_quoted_key = re.compile(r'"([^"\\]*)" *:(?= |$)|' r"'([^']*)' *:(?= |$)")
_double = re.compile(r'"((?:[^"\\]|\\["\\n])*)"')
_double_begins = re.compile(r'"[^"\\]*$')
_single = re.compile(r"'((?:[^']|'')*)'")
_single_begins = re.compile(r"'[^']*$")
_escape = re.compile(r'\\(["\\n])')
_colon_or_comment = re.compile(r":(?: |$)| #")
_flow_end = re.compile(r"[,\[\]{}]|:(?= |$)| #")
_block_header = re.compile(r"([|>])(-?)(?: +#.*| *)$")
_NEVER_FIRST = frozenset(" ?:,[]{}#&*!|>'\"%@`")
_MOST_KEY = 200
"""The longest key that is read here. The YAML parser has a limit of its own for a key on one line."""


class NotPlain(Exception):
    """The text is not in the plain part of YAML, or has a mistake."""


def read_plain(text: str, most_depth: int, most_scalar: int) -> YamlNode:
    """The tree of a text, exactly as :func:`~benchflow.procedure.yaml_source.yaml_reader.parse` makes it.

    ``text`` has only line feeds as line breaks, and no character that is removed when a text is read.

    Raises:
        NotPlain: the YAML parser has to read the text.
    """
    if not text.endswith("\n") or _not_here.search(text) is not None:
        raise NotPlain
    return _PlainReader(text, most_depth, most_scalar).document()


def _stop() -> NoReturn:
    raise NotPlain


class _PlainReader:
    """Reads a text line by line. ``_at`` is the index of the present line."""

    def __init__(self, text: str, most_depth: int, most_scalar: int) -> None:
        self._lines = text.split("\n")
        self._lines.pop()
        self._at = 0
        self._depth, self._most_depth, self._most_scalar = 0, most_depth, most_scalar

    def document(self) -> YamlNode:
        indent = self._next_indent()
        if indent < 0:
            _stop()
        root = self._block(indent)
        if self._next_indent() >= 0:
            _stop()
        return root

    def _next_indent(self) -> int:
        """Go to the next line that is not blank and no comment, from the present one on. Returns its indent, or -1."""
        lines = self._lines
        while self._at < len(lines):
            line = lines[self._at]
            if _blank_or_comment.match(line) is None:
                return len(line) - len(line.lstrip(" "))
            self._at += 1
        return -1

    def _deeper(self) -> None:
        self._depth += 1
        if self._depth > self._most_depth:
            _stop()

    # --- lists and mappings by indent ---------------------------------------------------------------

    def _block(self, column: int) -> YamlNode:
        """The list or mapping whose first line is the present one."""
        line = self._lines[self._at]
        return self._sequence(column) if _is_item(line, column) else self._mapping(column)

    def _sequence(self, column: int) -> YamlSequence:
        self._deeper()
        made = YamlSequence([], self._at + 1, column + 1)
        while True:
            line = self._lines[self._at]
            start = column + 1 + len(_spaces(line, column + 1))
            if _rest.match(line, column + 1):
                self._at += 1
                indent = self._next_indent()
                if indent <= column:
                    _stop()
                made.items.append(self._block(indent))
            elif _is_item(line, start):
                _stop()
            elif _key_at(line, start) is not None:
                made.items.append(self._mapping(start))
            else:
                made.items.append(self._value(start, column))
            indent = self._next_indent()
            if indent > column:
                _stop()
            if indent < column or not _is_item(self._lines[self._at], column):
                self._depth -= 1
                return made

    def _mapping(self, column: int) -> YamlMapping:
        self._deeper()
        made = YamlMapping([], [], self._at + 1, column + 1, False)
        known: set[str] = set()
        while True:
            line = self._lines[self._at]
            found = _key_at(line, column)
            if found is None:
                _stop()
            key, end = found
            key.line = self._at + 1
            if key.text in known:
                _stop()
            known.add(key.text)
            made.pairs.append((key, self._value_of_key(key, end, column)))
            indent = self._next_indent()
            if indent > column:
                _stop()
            if indent < column:
                self._depth -= 1
                return made

    def _value_of_key(self, key: YamlScalar, end: int, column: int) -> YamlNode:
        line = self._lines[self._at]
        if not _rest.match(line, end):
            return self._value(end + len(_spaces(line, end)), column)
        self._at += 1
        indent = self._next_indent()
        if indent > column:
            in_brackets = self._lines[self._at][indent] in "[{"
            return self._value(indent, column) if in_brackets else self._block(indent)
        if indent == column and _is_item(self._lines[self._at], column):
            return self._sequence(column)
        return _empty(key)

    # --- values -------------------------------------------------------------------------------------

    def _value(self, start: int, column: int) -> YamlNode:
        """The value that begins on the present line at ``start``; its list or mapping is at ``column``."""
        line = self._lines[self._at]
        first = line[start]
        if first in "[{":
            node, end = self._flow(start)
        elif first in "\"'":
            node, end = self._quoted(start)
        elif first in "|>":
            return self._below_header(start, column)
        else:
            return self._plain(start, column)
        if not _rest.match(self._lines[self._at], end):
            _stop()
        self._at += 1
        return node

    def _plain(self, start: int, column: int) -> YamlScalar:
        """A text without quotes, which lines with a deeper indent continue."""
        line, number = self._lines[self._at], self._at + 1
        text, commented = self._plain_part(line, start)
        self._at += 1
        parts = [text]
        while not commented and self._at < len(self._lines):
            line = self._lines[self._at]
            text = line.strip(" ")
            if not text or text[0] == "#":
                break
            indent = len(line) - len(line.lstrip(" "))
            if indent <= column:
                break
            text, commented = self._plain_part(line, indent, is_first=False)
            parts.append(text)
            self._at += 1
        if not commented and self._at < len(self._lines) and self._next_indent() > column:
            _stop()  # a text that goes on after a blank line
        return self._made(" ".join(parts), number, start + 1, True, 0 if len(parts) == 1 else None)

    @staticmethod
    def _plain_part(line: str, start: int, *, is_first: bool = True) -> tuple[str, bool]:
        """The part of a text on one line, and if a comment follows it."""
        if is_first and (
            line[start] in _NEVER_FIRST or (line[start] == "-" and line[start + 1 : start + 2] in ("", " "))
        ):
            _stop()
        found = _colon_or_comment.search(line, start)
        if found is None:
            return line[start:].rstrip(" "), False
        if found[0] != " #":
            _stop()
        return line[start : found.start()].rstrip(" "), True

    def _quoted(self, start: int) -> tuple[YamlScalar, int]:
        line, number = self._lines[self._at], self._at + 1
        is_double = line[start] == '"'
        found = (_double if is_double else _single).match(line, start)
        if found is not None:
            written = found[1]
            text = written.replace("''", "'")
            if is_double:
                text = _escape.sub(lambda sign: "\n" if sign[1] == "n" else sign[1], written)
            return self._made(text, number, start + 1, False, 1 if len(text) == len(written) else None), found.end()
        return self._quoted_lines(start, '"' if is_double else "'")

    def _quoted_lines(self, start: int, quote: str) -> tuple[YamlScalar, int]:
        """A text in quotes on several lines, without a blank line and without escapes."""
        number = self._at + 1
        if (_double_begins if quote == '"' else _single_begins).match(self._lines[self._at], start) is None:
            _stop()
        parts = [self._lines[self._at][start + 1 :].rstrip(" ")]
        while True:
            self._at += 1
            line = self._lines[self._at] if self._at < len(self._lines) else ""
            end = line.find(quote)
            part = (line if end < 0 else line[:end]).lstrip(" ")
            if not line.strip(" ") or "\\" in part or (quote == "'" and end >= 0 and line[end + 1 : end + 2] == quote):
                _stop()
            parts.append(part if end >= 0 else part.rstrip(" "))
            if end >= 0:
                return self._made(" ".join(parts), number, start + 1, False, None), end + 1

    def _below_header(self, start: int, column: int) -> YamlScalar:
        """A text below ``|`` or ``>``."""
        number = self._at + 1
        header = _block_header.match(self._lines[self._at], start)
        if header is None:
            _stop()
        self._at += 1
        first = self._at
        indent = 0
        while self._at < len(self._lines):
            line = self._lines[self._at]
            width = len(line) - len(line.lstrip(" "))
            if width == len(line):
                if indent and width > indent:
                    _stop()
            elif not indent:
                indent = width
                if indent <= column or any(self._lines[first : self._at]):
                    _stop()
            elif width < indent:
                break
            self._at += 1
        if not indent:
            _stop()
        lines = [line[indent:] for line in self._lines[first : self._at]]
        while not lines[-1]:
            lines.pop()
        text = "\n".join(lines) if header[1] == "|" else _folded(lines)
        text += "" if header[2] else "\n"
        return self._made(text, number, start + 1, False, None, indent if header[1] == "|" else None)

    def _made(
        self, text: str, line: int, column: int, plain: bool, offset: int | None, indent: int | None = None
    ) -> YamlScalar:
        if len(text) > self._most_scalar:
            _stop()
        return YamlScalar(text, line, column, plain, offset, indent)

    # --- lists and mappings in brackets -------------------------------------------------------------

    def _flow(self, start: int) -> tuple[YamlNode, int]:
        """The list or mapping in brackets, and the place after it on the line that is then the present one."""
        self._deeper()
        is_list = self._lines[self._at][start] == "["
        line, column = self._at + 1, start + 1
        items: list[YamlNode] = []
        pairs: list[tuple[YamlScalar, YamlNode]] = []
        at, closing = self._skip(start + 1), "]" if is_list else "}"
        while self._lines[self._at][at] != closing:
            if is_list:
                item, at = self._flow_value(at)
                items.append(item)
            else:
                pair, at = self._flow_pair(at)
                pairs.append(pair)
            at = self._skip(at)
            sign = self._lines[self._at][at]
            if sign == ",":
                at = self._skip(at + 1)
            elif sign != closing:
                _stop()
        self._depth -= 1
        if is_list:
            return YamlSequence(items, line, column), at + 1
        if len({key.text for key, _ in pairs}) < len(pairs):
            _stop()
        return YamlMapping(pairs, [], line, column, True), at + 1

    def _flow_value(self, at: int) -> tuple[YamlNode, int]:
        first = self._lines[self._at][at]
        if first in "[{":
            return self._flow(at)
        if first in "\"'":
            return self._quoted(at)
        return self._flow_plain(at)

    def _flow_pair(self, at: int) -> tuple[tuple[YamlScalar, YamlNode], int]:
        number = self._at
        key, at = self._quoted(at) if self._lines[self._at][at] in "\"'" else self._flow_plain(at)
        line = self._lines[self._at]
        if self._at != number or len(key.text) > _MOST_KEY:
            _stop()
        at += len(_spaces(line, at))
        if line[at : at + 1] != ":":
            return (key, _empty(key)), at
        if line[at + 1 : at + 2] not in ("", " "):
            _stop()
        at = self._skip(at + 1)
        if self._lines[self._at][at] in ",}":
            return (key, _empty(key)), at
        value, at = self._flow_value(at)
        return (key, value), at

    def _flow_plain(self, start: int) -> tuple[YamlScalar, int]:
        """A text without quotes in brackets. It may continue on the next lines."""
        line, number = self._lines[self._at], self._at + 1
        if line[start] in _NEVER_FIRST or (
            line[start] == "-" and line[start + 1 : start + 2] in ("", " ", ",", "]", "}")
        ):
            _stop()
        parts: list[str] = []
        at = start
        while True:
            found = _flow_end.search(line, at)
            if found is not None:
                if found[0] == " #":
                    _stop()
                parts.append(line[at : found.start()].rstrip(" "))
                at = found.start()
                break
            parts.append(line[at:].rstrip(" "))
            self._at += 1
            line = self._lines[self._at] if self._at < len(self._lines) else ""
            at = len(line) - len(line.lstrip(" "))
            if at == len(line) or line[at] in "#[{:?":
                _stop()
            if line[at] in ",]}":
                break
        return self._made(" ".join(parts), number, start + 1, True, 0 if len(parts) == 1 else None), at

    def _skip(self, at: int) -> int:
        """The place of the next character from ``at`` on that is not blank or in a comment, on this line or later."""
        while self._at < len(self._lines):
            line = self._lines[self._at]
            at += len(_spaces(line, at))
            if at < len(line):
                if line[at] == "#":
                    _stop()
                return at
            self._at, at = self._at + 1, 0
        _stop()


def _spaces(line: str, at: int) -> str:
    found = _indent.match(line, at)
    return "" if found is None else found[0]


def _is_item(line: str, at: int) -> bool:
    """True if an item of a list begins here."""
    return line[at : at + 1] == "-" and line[at + 1 : at + 2] in ("", " ")


def _key_at(line: str, at: int) -> tuple[YamlScalar, int] | None:
    """The key that begins here, without its line, and the place after its colon."""
    found = _plain_key.match(line, at)
    if found is not None:
        key = YamlScalar(found[1].rstrip(" "), 0, at + 1, True, 0)
    else:
        found = _quoted_key.match(line, at)
        if found is None:
            return None
        key = YamlScalar(found[1] if found[1] is not None else found[2], 0, at + 1, False, 1)
    return None if len(key.text) > _MOST_KEY else (key, found.end())


def _empty(key: YamlScalar) -> YamlScalar:
    """The empty value of a key, at the place of the key."""
    return YamlScalar("", key.line, key.column, True, 0)


def _folded(lines: list[str]) -> str:
    """The text of lines below ``>``: a line break is a space, and a blank line a line break."""
    if not lines[0] or any(line.startswith(" ") for line in lines):
        _stop()
    text, breaks = lines[0], 0
    for line in lines[1:]:
        if line:
            text += ("\n" * breaks if breaks else " ") + line
            breaks = 0
        else:
            breaks += 1
    return text
