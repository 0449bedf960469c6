"""Edits of a YAML text that keep its layout: a value replaced, a key or an item added, a comment above a node."""

import json
import textwrap
from typing import TypeAlias

from benchflow.base.plaintext import clean_line
from benchflow.writing.revisions.file_text import TextEdit
from benchflow.writing.revisions.yaml_places import PlacedNode, placed_nodes

COMMENT_WIDTH = 100


NodeContent: TypeAlias = "str | list[NodeContent] | tuple[tuple[str, NodeContent], ...]"
"""A node without its layout: a text, a list, or the pairs of a mapping."""


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


def with_value(content: NodeContent, path: tuple[str | int, ...], value: str, text_key: str = "") -> str | None:
    """A node as YAML on one line, with a text at ``path``; ``None`` if it has no place for it.

    A text in the place of the last mapping becomes the value of ``text_key``: ``24 N·m`` -> ``{torque: 24 N·m, ...}``.
    """
    if not path:
        return yaml_scalar(value) if isinstance(content, str) else None
    if isinstance(content, str):
        if path == (0,) or len(path) != 1 or not text_key:
            return None
        return _in_braces([(text_key, flow_text(content)), (str(path[0]), yaml_scalar(value))])
    here, rest = path[0], path[1:]
    if isinstance(here, int):
        if not (isinstance(content, list) and here < len(content)):
            return None
        inner = with_value(content[here], rest, value, text_key)
        texts = [flow_text(each) for each in content]
        return None if inner is None else f"[{', '.join([*texts[:here], inner, *texts[here + 1 :]])}]"
    if not isinstance(content, tuple):
        return None
    keys = [key for key, _ in content]
    parts = [(key, flow_text(each)) for key, each in content]
    if here not in keys:
        return None if rest else _in_braces([*parts, (here, yaml_scalar(value))])
    at = keys.index(here)
    new = with_value(content[at][1], rest, value, text_key)
    return None if new is None else _in_braces([*parts[:at], (here, new), *parts[at + 1 :]])


def flow_text(content: NodeContent) -> str:
    """A node as YAML on one line."""
    if isinstance(content, str):
        return yaml_scalar(content) if content else '""'
    if isinstance(content, list):
        return f"[{', '.join(map(flow_text, content))}]"
    return _in_braces([(key, flow_text(value)) for key, value in content])


def _in_braces(pairs: list[tuple[str, str]]) -> str:
    return "{" + ", ".join(f"{yaml_scalar(key)}: {value}" for key, value in pairs) + "}"


def quoted_as(old: str, value: str) -> str:
    """A text as YAML, with the quotes of the old one. A number or date gets quotes only if the old one has them."""
    if old[:1] in ("'", '"'):
        return json.dumps(value, ensure_ascii=False)
    alike = any(is_such(old) and is_such(value) for is_such in (is_number, _looks_like_a_date))
    return value if alike else yaml_value(value)


def value_replaced(node: PlacedNode, value: str) -> TextEdit:
    """The edit that writes ``value``, which is YAML on one line, for a node."""
    space = " " if node.start == node.end else ""  # an empty value is directly after the colon
    return TextEdit(node.start, node.end, f"{space}{value}")


def key_added(text: str, mapping: PlacedNode, key: str, value: str, after: str = "") -> TextEdit:
    """The edit that adds a key with a value, which is YAML on one line: after the key ``after``, or last."""
    pairs = mapping.pairs
    if not pairs:
        return TextEdit(mapping.start, mapping.end, f"{{{key}: {value}}}")
    last = next((found for name, found in pairs if name.text == after), pairs[-1][1])
    if mapping.flow:
        return TextEdit(last.end, last.end, f", {key}: {value}")
    at = _line_end(text, last.end)
    return TextEdit(at, at, f"\n{' ' * pairs[0][0].column}{key}: {value}")


def key_removed(text: str, mapping: PlacedNode, key: str) -> TextEdit | None:
    """The edit that removes a key and its value; ``None`` if the mapping does not have it, or has nothing else."""
    at = next((number for number, (name, _) in enumerate(mapping.pairs) if name.text == key), -1)
    if at < 0 or len(mapping.pairs) < 2:
        return None
    name, value = mapping.pairs[at]
    if mapping.flow and at:
        return TextEdit(mapping.pairs[at - 1][1].end, value.end, "")
    if mapping.flow or not at:
        return TextEdit(name.start, mapping.pairs[at + 1][0].start, "")
    return TextEdit(_line_end(text, mapping.pairs[at - 1][1].end), _line_end(text, value.end), "")


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
    """The end of the line, after its comment."""
    found = text.find("\n", at)
    return len(text) if found < 0 else found
