"""Writes a tree of YAML nodes as text, and notes where each node comes from."""

import json
import re

from benchflow.procedure.blocks.source_map import SAME_LINE, SAME_LINES, MappedPlace, SourceMap
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, YamlScalar, YamlSequence

WIDTH = 100
"""The longest line that a list or a mapping in brackets, or a folded text, may have."""

_special_first = re.compile(r"-(?:[\s\[\]{},]|$)|[?:\[\]{},#&*!|>'\"%@`]|---|\.\.\.")
_special_inside = re.compile(r": | #|:$|[\n\x85\u2028\u2029]")
_flow_special = re.compile(r"[\[\]{},]")
_word_of_yaml = re.compile(
    r"~|=|<<|null|true|false|yes|no|on|off|[-+]?[0-9.][0-9_.eExXoa-f:+-]*|[-+]?\.(?:inf|nan)", re.IGNORECASE
)
_foldable = re.compile(r"[^\s]+(?: [^\s]+)*")


def write_tree(root: YamlMapping) -> tuple[str, SourceMap]:
    """The text of ``root`` in YAML, and its source map."""
    writer = _TreeWriter()
    writer.mapping(root, 0)
    writer.end_line()
    return "\n".join([*writer.lines, ""]), SourceMap(tuple(writer.places))


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
        """Note that ``node`` is written at the present place."""
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

    def mapping(self, node: YamlMapping, indent: int) -> None:
        """Write the pairs. The present line has the indent already, or "- " before the first key."""
        for number, (key, value) in enumerate(node.pairs):
            if number:
                self.end_line()
            if not self._line:
                self._put(" " * indent)
            if not number:
                self._note(node)
            self._note(key)
            self._put(_key_text(key, flow=False) + ":")
            self._value(value, indent)

    def _value(self, node: YamlNode, indent: int) -> None:
        """Write the value behind a key with its colon."""
        if isinstance(node, YamlScalar):
            if node.text or not node.plain:
                self._put(" ")
            self._scalar(node, indent)
            return
        inline = self._flow_text(node)
        if inline is not None and len(self._line) + 1 + len(inline) <= WIDTH:
            self._put(" ")
            self._flow(node)
            return
        self.end_line()
        if isinstance(node, YamlMapping):
            self.mapping(node, indent + 2)
        else:
            self._sequence(node, indent)

    def _sequence(self, node: YamlSequence, indent: int) -> None:
        for number, item in enumerate(node.items):
            self.end_line()
            self._put(" " * indent)
            if not number:
                self._note(node)
            self._put("- ")
            inline = None if isinstance(item, YamlScalar) else self._flow_text(item)
            if isinstance(item, YamlScalar):
                self._scalar(item, indent)
            elif inline is not None and len(self._line) + len(inline) <= WIDTH:
                self._flow(item)
            elif isinstance(item, YamlMapping):
                self.mapping(item, indent + 2)
            else:
                self._flow(item)

    def _scalar(self, node: YamlScalar, indent: int) -> None:
        if _is_literal(node.text):
            self._literal(node, indent)
        elif len(self._line) + len(node.text) > WIDTH + 10 and _foldable.fullmatch(node.text):
            self._note(node)
            self._folded(node.text, indent)
        else:
            self._plain_or_quoted(node, flow=False)

    def _plain_or_quoted(self, node: YamlScalar, *, flow: bool) -> None:
        text = _scalar_text(node, flow=flow)
        exact = node.offset is not None and text in (node.text, f'"{node.text}"')
        same_quotes = exact and (text != node.text) == (node.offset == 1)
        self._note(node, SAME_LINE if same_quotes else 0)
        self._put(text)

    def _literal(self, node: YamlScalar, indent: int) -> None:
        lines = node.text.split("\n")
        ends = len(node.text) - len(node.text.rstrip("\n"))
        chomp = "-" if ends == 0 else "" if ends == 1 else "+"
        inner = indent + 2
        first = next((line for line in lines if line), "")
        self._note(node, SAME_LINES if node.indent is not None else 0, (node.indent or 0) - inner)
        self._put("|" + ("2" if first.startswith(" ") else "") + chomp)
        self.end_line()
        for line in lines[: len(lines) - 1 if ends else None]:
            self.lines.append(" " * inner + line if line else "")

    def _folded(self, text: str, indent: int) -> None:
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

    def _flow(self, node: YamlNode) -> None:
        """Write the node in brackets, on the present line."""
        if isinstance(node, YamlScalar):
            self._plain_or_quoted(node, flow=True)
            return
        self._note(node)
        if isinstance(node, YamlSequence):
            self._put("[")
            for number, item in enumerate(node.items):
                self._put(", " if number else "")
                self._flow(item)
            self._put("]")
            return
        self._put("{")
        for number, (key, value) in enumerate(node.pairs):
            self._put(", " if number else "")
            self._note(key)
            self._put(_key_text(key, flow=True) + ": ")
            self._flow(value)
        self._put("}")


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
