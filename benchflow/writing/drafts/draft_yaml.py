"""Writes a draft as YAML text with comments, in the layout that a person would use."""

import json
import re
from textwrap import wrap
from typing import Any

from msgspec import Struct

from benchflow.base.plaintext import clean, clean_line

_PLAIN = re.compile(r"[A-Za-z][\w .,;/()°·×+\-–%'’?!&=±µ]*[\w.()°%!?]|[A-Za-z]|[0-9][\w.·°/ ±+-]*[A-Za-z°·]")
_NOT_TEXT = frozenset({"true", "false", "yes", "no", "on", "off", "null", "y", "n", "none"})
WIDTH = 110
"""The longest line of a flow mapping or list."""
_LONGEST_LINE = 116


class Noted(Struct, frozen=True):
    """A value with comments: lines ``above`` its key or item, and words ``behind`` it at the end of its line."""

    value: Any
    above: tuple[str, ...] = ()
    behind: str = ""


def comment_lines(text: str, indent: str = "") -> list[str]:
    """``text`` as comment lines, wrapped between words. Every word of it is kept, without control characters."""
    found = []
    for line in text.splitlines() or [""]:
        plain = clean(line)
        begin = re.match(r"\s*(?:- |\d\. )?", plain)
        more = " " * (len(begin[0]) if begin else 0)
        found += wrap(plain, WIDTH - len(indent), subsequent_indent=more, break_long_words=False,
                      break_on_hyphens=False, replace_whitespace=False) or [""]  # fmt: skip
    return [f"{indent}# {line}".rstrip() for line in found]


def scalar_text(value: Any, *, flow: bool = False) -> str:
    """A text, number or boolean in YAML; quoted where a plain text would be read as something else."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    text = clean_line(str(value))
    plain = _PLAIN.fullmatch(text) is not None and text.lower() not in _NOT_TEXT
    if flow and "," in text:
        plain = False
    return text if plain and not text.endswith(":") and " #" not in text else json.dumps(text, ensure_ascii=False)


def yaml_lines(value: Any, indent: int = 0) -> list[str]:
    """The lines of a mapping or a list. Mappings are dicts in their order; values may be :class:`Noted`."""
    lines: list[str] = []
    pad = " " * indent
    items = value.items() if isinstance(value, dict) else ((None, each) for each in value)
    for key, written in items:
        noted = written if isinstance(written, Noted) else Noted(written)
        for text in noted.above:
            lines += comment_lines(text, pad)
        head = f"{pad}- " if key is None else f"{pad}{scalar_text(key)}:"
        behind = f"   # {clean_line(noted.behind)}" if noted.behind else ""
        lines += _entry(head, noted.value, indent, behind, of_list=key is None)
    return lines


def _entry(head: str, value: Any, indent: int, behind: str, *, of_list: bool) -> list[str]:
    gap = "" if of_list else " "
    if isinstance(value, str) and "\n" in value.strip("\n"):
        pad = " " * (indent + 2)
        body = [f"{pad}{clean(line)}".rstrip() for line in value.strip("\n").split("\n")]
        return [f"{head}{gap}|{behind}", *body]
    if isinstance(value, str) and len(head) + len(value) > _LONGEST_LINE and " " in value.strip():
        pad = " " * (indent + 2)
        return [f"{head}{gap}>-{behind}", *(f"{pad}{line}" for line in _folded(clean_line(value), WIDTH - len(pad)))]
    if not isinstance(value, dict | list):
        return [f"{head}{gap}{scalar_text(value)}{behind}"]
    flow = flow_text(value)
    if (
        flow is not None
        and len(head) + len(flow) < WIDTH
        and not (of_list and isinstance(value, dict) and "id" in value)
    ):
        return [f"{head}{gap}{flow}{behind}"]
    inner = yaml_lines(value, indent + 2)
    if not of_list:
        return [f"{head}{behind}", *inner]
    first = next(index for index, line in enumerate(inner) if not line.lstrip().startswith("#"))
    comments = [line[2:] if line.startswith("  ") else line for line in inner[:first]]
    return [*comments, f"{head}{inner[first].lstrip()}{behind}", *inner[first + 1 :]]


def _folded(text: str, width: int) -> list[str]:
    """The lines of a folded text, cut between words at single spaces."""
    return wrap(text, width, break_long_words=False, break_on_hyphens=False)


def flow_text(value: Any) -> str | None:
    """A mapping or list on one line; ``None`` if it has comments or a text of several lines."""
    if isinstance(value, Noted):
        return None
    if isinstance(value, dict):
        parts = []
        for key, each in value.items():
            text = flow_text(each)
            if text is None:
                return None
            parts.append(f"{scalar_text(key, flow=True)}: {text}")
        return "{" + ", ".join(parts) + "}"
    if isinstance(value, list):
        texts = [flow_text(each) for each in value]
        return None if any(text is None for text in texts) else "[" + ", ".join(text or "" for text in texts) + "]"
    if isinstance(value, str) and "\n" in value.strip("\n"):
        return None
    return scalar_text(value, flow=True)
