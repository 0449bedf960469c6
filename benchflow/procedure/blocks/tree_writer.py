"""Writes a tree of YAML nodes as text, and makes its source map."""

import json
import re
from typing import NamedTuple, TypeVar

from benchflow.procedure.blocks.source_map import SAME_LINE, SAME_LINES, MappedPlace, SourceMap
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, YamlScalar, YamlSequence
from benchflow.procedure.yaml_source.yaml_reader import MAX_DEPTH, MAX_SCALAR

Y = TypeVar("Y", bound=YamlNode)
WIDTH = 100
"""The longest line that a list or a mapping in brackets, or a folded text, may have."""

_special_first = re.compile(r"-(?:[\s\[\]{},]|$)|[?:\[\]{},#&*!|>'\"%@`]|---|\.\.\.")
_special_inside = re.compile(r": | #|:$|[\n\x85\u2028\u2029]")
_flow_special = re.compile(r"[\[\]{},]")
_word_of_yaml = re.compile(
    r"~|=|<<|null|true|false|yes|no|on|off|[-+]?[0-9._][0-9_.eExXoa-f:+-]*|[-+]?\.(?:inf|nan)", re.IGNORECASE
)
_foldable = re.compile(r"[^\s]+(?: [^\s]+)*")


class WrittenTree(NamedTuple):
    """The text of a tree in YAML, its source map, and the tree with the places of the text.

    ``tree`` is equal to the tree that the YAML reader makes of ``text``. Making it here saves half of the time of
    reading a procedure (benchmark bench_screen).
    """

    text: str
    places: SourceMap
    tree: YamlMapping


def write_tree(root: YamlMapping) -> WrittenTree:
    """Write ``root`` as text."""
    writer = _TreeWriter()
    tree = writer.mapping(root, 0)
    writer.end_line()
    return WrittenTree("\n".join([*writer.lines, ""]), SourceMap(tuple(writer.places)), tree)


def is_within_limits(node: YamlNode, depth: int = 1) -> bool:
    """True if the YAML reader reads the tree without a problem about its depth or the length of a text."""
    if isinstance(node, YamlScalar):
        return len(node.text) <= MAX_SCALAR
    if depth > MAX_DEPTH:
        return False
    inner = node.items if isinstance(node, YamlSequence) else [each for pair in node.pairs for each in pair]
    return all(is_within_limits(each, depth + 1) for each in inner)


def flow_text(node: YamlNode) -> str:
    """A node on one line, in brackets if it is a list or a mapping."""
    if isinstance(node, YamlScalar):
        return _scalar_text(node, flow=True)
    if isinstance(node, YamlSequence):
        return f"[{', '.join(flow_text(item) for item in node.items)}]"
    pairs = (f"{_key_text(key, flow=True)}: {flow_text(value)}".removesuffix(": ") for key, value in node.pairs)
    return "{" + ", ".join(pairs) + "}"


class _TreeWriter:
    def __init__(self) -> None:
        self.lines: list[str] = []
        self.places: list[MappedPlace] = []
        self._line = ""

    def end_line(self) -> None:
        if self._line:
            self.lines.append(self._line.rstrip(" "))
            self._line = ""

    def _put(self, text: str) -> None:
        self._line += text

    def _note(self, node: YamlNode, copied: int = 0, shift: int = 0) -> None:
        """Add ``node`` to the source map at the present place."""
        line, column = len(self.lines) + 1, len(self._line) + 1
        if self.places and (self.places[-1].line, self.places[-1].column) == (line, column):
            self.places.pop()  # a mapping and its first key have the same place
        origin = node.origin
        if origin is None:
            self.places.append(MappedPlace(line, column, node.line, node.column, copied, shift))
        elif origin.site is None:
            place = MappedPlace(line, column, origin.line, origin.column, copied, shift, origin.within)
            self.places.append(place)
        else:
            use = origin.site.outermost
            self.places.append(MappedPlace(line, column, use.line, use.column, block=f"{origin.file}:{origin.line}"))

    def _here(self) -> tuple[int, int]:
        return len(self.lines) + 1, len(self._line) + 1

    def mapping(self, node: YamlMapping, indent: int) -> YamlMapping:
        """Write the pairs. The present line has the indent already, or "- " before the first key."""
        if not self._line:
            self._put(" " * indent)
        made = YamlMapping([], [], *self._here(), False)
        for number, (key, value) in enumerate(node.pairs):
            if number:
                self.end_line()
            if not self._line:
                self._put(" " * indent)
            if not number:
                self._note(node)
            new_key = self._key(key, flow=False)
            self._put(":")
            made.pairs.append((new_key, self._value(value, indent, new_key)))
        return made

    def _key(self, key: YamlScalar, *, flow: bool) -> YamlScalar:
        self._note(key)
        text = _key_text(key, flow=flow)
        made = _read_again(key.text, text, *self._here())
        self._put(text)
        return made

    def _value(self, node: YamlNode, indent: int, key: YamlScalar) -> YamlNode:
        """Write the value after a key with its colon."""
        if isinstance(node, YamlScalar):
            if node.text or not node.plain:
                self._put(" ")
            return _at_key(self._scalar(node, indent), key)
        inline = self._flow_text(node)
        if inline is not None and (_is_blank_collection(node) or len(self._line) + 1 + len(inline) <= WIDTH):
            self._put(" ")
            return self._flow(node)
        self.end_line()
        return self.mapping(node, indent + 2) if isinstance(node, YamlMapping) else self._sequence(node, indent)

    def _sequence(self, node: YamlSequence, indent: int) -> YamlSequence:
        made = YamlSequence([], len(self.lines) + 1, indent + 1)
        for number, item in enumerate(node.items):
            self.end_line()
            self._put(" " * indent)
            if not number:
                self._note(node)
            self._put("- ")
            inline = None if isinstance(item, YamlScalar) else self._flow_text(item)
            if isinstance(item, YamlScalar):
                made.items.append(self._scalar(item, indent))
            elif inline is not None and (_is_blank_collection(item) or len(self._line) + len(inline) <= WIDTH):
                made.items.append(self._flow(item))
            elif isinstance(item, YamlMapping):
                made.items.append(self.mapping(item, indent + 2))
            else:
                made.items.append(self._flow(item))
        return made

    def _scalar(self, node: YamlScalar, indent: int) -> YamlScalar:
        if _is_literal(node.text):
            return self._literal(node, indent)
        if len(self._line) + len(node.text) > WIDTH + 10 and _foldable.fullmatch(node.text):
            self._note(node)
            return self._folded(node.text, indent)
        return self._plain_or_quoted(node, flow=False)

    def _plain_or_quoted(self, node: YamlScalar, *, flow: bool) -> YamlScalar:
        text = _scalar_text(node, flow=flow)
        exact = node.offset is not None and text in (node.text, f'"{node.text}"')
        same_quotes = exact and (text != node.text) == (node.offset == 1)
        self._note(node, SAME_LINE if same_quotes else 0)
        made = _read_again(node.text, text, *self._here())
        self._put(text)
        return made

    def _literal(self, node: YamlScalar, indent: int) -> YamlScalar:
        lines = node.text.split("\n")
        ends = len(node.text) - len(node.text.rstrip("\n"))
        chomp = "-" if ends == 0 else "" if ends == 1 else "+"
        inner = indent + 2
        first = next((line for line in lines if line), "")
        self._note(node, SAME_LINES if node.indent is not None else 0, (node.indent or 0) - inner)
        made = YamlScalar(node.text, *self._here(), False, None, inner)
        self._put("|" + ("2" if first.startswith(" ") else "") + chomp)
        self.end_line()
        for line in lines[: len(lines) - 1 if ends else None]:
            self.lines.append(" " * inner + line if line else "")
        return made

    def _folded(self, text: str, indent: int) -> YamlScalar:
        made = YamlScalar(text, *self._here(), False, None)
        self._put(">-")
        self.end_line()
        margin, line = " " * (indent + 2), ""
        for word in text.split(" "):
            if line and len(margin) + len(line) + 1 + len(word) > WIDTH:
                self.lines.append(margin + line)
                line = word
            else:
                line = f"{line} {word}" if line else word
        self.lines.append(margin + line)
        return made

    def _flow_text(self, node: YamlNode) -> str | None:
        """The text in brackets; ``None`` if it is written on lines of its own."""
        if isinstance(node, YamlScalar):
            return None if _is_literal(node.text) else _scalar_text(node, flow=True)
        if isinstance(node, YamlSequence):
            if node.items and not all(isinstance(item, YamlScalar) or _is_in_braces(item) for item in node.items):
                return None
            texts = [self._flow_text(item) for item in node.items]
            return None if None in texts else f"[{', '.join(text or '' for text in texts)}]"
        if node.pairs and not node.flow:
            return None
        texts = [self._flow_text(value) for _, value in node.pairs]
        if None in texts:
            return None
        keys = (_key_text(key, flow=True) for key, _ in node.pairs)
        return "{" + ", ".join(f"{key}: {text}" for key, text in zip(keys, texts, strict=True)) + "}"

    def _flow(self, node: YamlNode) -> YamlNode:
        """Write the node in brackets, on the present line."""
        if isinstance(node, YamlScalar):
            return self._plain_or_quoted(node, flow=True)
        self._note(node)
        if isinstance(node, YamlSequence):
            listed = YamlSequence([], *self._here())
            self._put("[")
            for number, item in enumerate(node.items):
                self._put(", " if number else "")
                listed.items.append(self._flow(item))
            self._put("]")
            return listed
        made = YamlMapping([], [], *self._here(), True)
        self._put("{")
        for number, (key, value) in enumerate(node.pairs):
            self._put(", " if number else "")
            new_key = self._key(key, flow=True)
            self._put(": ")
            made.pairs.append((new_key, _at_key(self._flow(value), new_key)))
        self._put("}")
        return made


def _read_again(value: str, written: str, line: int, column: int) -> YamlScalar:
    """The node that the YAML reader makes of a text written on one line, plain or in double quotes."""
    quotes = 1 if written.startswith('"') else 0
    exact = len(written) == len(value) + 2 * quotes
    return YamlScalar(value, line, column, not quotes, quotes if exact else None)


def _at_key(node: Y, key: YamlScalar) -> Y:
    """``node``; an empty value gets the place of its key, as in the YAML reader."""
    if isinstance(node, YamlScalar) and node.plain and not node.text:
        node.line, node.column = key.line, key.column
    return node


def _is_blank_collection(node: YamlNode) -> bool:
    """True for ``[]`` and ``{}``, which have no other form."""
    return not node.items if isinstance(node, YamlSequence) else isinstance(node, YamlMapping) and not node.pairs


def _is_in_braces(node: YamlNode) -> bool:
    return isinstance(node, YamlMapping) and node.flow


def _is_literal(text: str) -> bool:
    """True if the text has several lines that can be written below a ``|``."""
    return "\n" in text and bool(text.strip()) and not any(sign in text for sign in "\x85\u2028\u2029")


def _key_text(key: YamlScalar, *, flow: bool) -> str:
    return _scalar_text(key, flow=flow) if key.text else '""'


def _scalar_text(node: YamlScalar, *, flow: bool) -> str:
    text = node.text
    if not text:
        return "" if node.plain else '""'
    safe = (
        text == text.strip()
        and _special_first.match(text) is None
        and _special_inside.search(text) is None
        and not (flow and _flow_special.search(text))
        and (node.plain or _word_of_yaml.fullmatch(text) is None)
    )
    return text if safe else json.dumps(text, ensure_ascii=False)
