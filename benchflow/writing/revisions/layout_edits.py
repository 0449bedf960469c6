"""Edits of a YAML text that keep its layout: a value replaced, a key or an item added, a comment above a node."""

import json
import textwrap

from benchflow.base.plaintext import clean_line
from benchflow.writing.revisions.file_text import TextEdit
from benchflow.writing.revisions.yaml_places import PlacedNode, placed_nodes

COMMENT_WIDTH = 100


def yaml_scalar(text: str) -> str:
    """A text as YAML on one line: without quotes where it then means the same, also within brackets."""
    if _means_itself(text):
        return text
    return json.dumps(text, ensure_ascii=False)


def _means_itself(text: str) -> bool:
    if text != text.strip() or not text or "\n" in text or text in ("~", "null", "Null", "NULL"):
        return False
    if text.isascii() and all(char.isalnum() or char in " .-" for char in text) and text[0].isalnum():
        return not _looks_like_a_date(text) and not is_number(text)
    block, flow = placed_nodes(f"k: {text}"), placed_nodes(f"[{text}]")
    value = None if block is None else block.get("k")
    item = flow.items[0] if flow is not None and len(flow.items) == 1 else None
    return all(each is not None and each.kind == "text" and each.plain and each.text == text for each in (value, item))


def is_number(text: str) -> bool:
    """True for a text that an editor reads as a number."""
    return text.replace(".", "", 1).isdigit()


def _looks_like_a_date(text: str) -> bool:
    """True for ``2026-03-01``, which an editor reads as a date."""
    return text.count("-") == 2 and text.replace("-", "").isdigit()


def yaml_value(text: str) -> str:
    """What a person typed as a value, as YAML: a list or mapping in brackets as it is, otherwise a text."""
    if text[:1] in ("[", "{") and text[-1:] in ("]", "}") and "\n" not in text:
        found = placed_nodes(f"k: {text}")
        if found is not None and (value := found.get("k")) is not None and value.kind != "text":
            return text
    return yaml_scalar(text)


def quoted_as(old: str, value: str) -> str:
    """A text as YAML with the quotes that the old one has, if any. A date without quotes stays without."""
    if _looks_like_a_date(old) and _looks_like_a_date(value):
        return value
    return json.dumps(value, ensure_ascii=False) if old[:1] in ("'", '"') else yaml_value(value)


def value_replaced(node: PlacedNode, value: str) -> TextEdit:
    """The edit that writes ``value``, which is YAML on one line, for a node."""
    space = " " if node.start == node.end else ""  # an empty value stands directly behind the colon
    return TextEdit(node.start, node.end, f"{space}{value}")


def key_added(text: str, mapping: PlacedNode, key: str, value: str, after: str = "") -> TextEdit:
    """The edit that adds a key with a value, which is YAML on one line: behind the key ``after``, or last."""
    pairs = mapping.pairs
    if not pairs:
        return TextEdit(mapping.start, mapping.end, f"{{{key}: {value}}}")
    last = next((found for name, found in pairs if name.text == after), pairs[-1][1])
    if mapping.flow:
        return TextEdit(last.end, last.end, f", {key}: {value}")
    at = _line_end(text, last.end)
    return TextEdit(at, at, f"\n{' ' * pairs[0][0].column}{key}: {value}")


def key_removed(text: str, mapping: PlacedNode, key: str) -> TextEdit | None:
    """The edit that removes a key with its value; ``None`` if the mapping has no such key beside another one."""
    names = [name.text for name, _ in mapping.pairs]
    if key not in names or len(names) == 1:
        return None
    index = names.index(key)
    name, value = mapping.pairs[index]
    if not mapping.flow:
        begin = text.rfind("\n", 0, name.start) + 1
        return TextEdit(begin, min(_line_end(text, value.end) + 1, len(text)), "")
    if index:
        return TextEdit(mapping.pairs[index - 1][1].end, value.end, "")
    return TextEdit(name.start, mapping.pairs[1][0].start, "")


def item_added(text: str, node: PlacedNode, value: str) -> TextEdit:
    """The edit that adds an item, which is YAML on one line, to a list. A single text becomes a list of two."""
    if node.kind != "list":
        return TextEdit(node.start, node.end, f"[{text[node.start : node.end]}, {value}]")
    if not node.items:
        return TextEdit(node.start, node.end, f"[{value}]")
    end = node.items[-1].end
    if node.flow:
        return TextEdit(end, end, f", {value}")
    at = _line_end(text, end)
    return TextEdit(at, at, f"\n{' ' * node.column}- {value}")


def comment_above(text: str, node: PlacedNode, words: str) -> TextEdit:
    """The edit that writes ``words`` as a comment above the line of a node. A list item has its dash in that line."""
    start = node.start
    before = text[:start].rstrip()
    if before.endswith("-") and not before[:-1].rsplit("\n", 1)[-1].strip():
        start = len(before) - 1
    begin = text.rfind("\n", 0, start) + 1
    line = text[begin:start]
    indent = line[: len(line) - len(line.lstrip(" "))] if line.strip() else " " * (start - begin)
    lines = textwrap.wrap(
        clean_line(words), max(COMMENT_WIDTH - len(indent), 40), break_long_words=False, break_on_hyphens=False
    )
    return TextEdit(begin, begin, "".join(f"{indent}# {each}\n" for each in lines))


def _line_end(text: str, at: int) -> int:
    """The end of the line, behind its comment."""
    found = text.find("\n", at)
    return len(text) if found < 0 else found
