"""Writes the new revision, and its entries under `changes`, into the text of a file."""

import json
from collections.abc import Iterable
from datetime import date

from msgspec import Struct

from benchflow.writing.revisions.change_edits import MadeChange
from benchflow.writing.revisions.file_text import FileText, TextEdit
from benchflow.writing.revisions.layout_edits import item_added, key_added, value_replaced, yaml_scalar
from benchflow.writing.revisions.yaml_places import PlacedNode, placed_nodes

MOST_REFERENCES = 30
"""The largest number of log lines that one entry of `changes` names."""


class ChangeEntry(Struct, frozen=True):
    """One entry of `changes`. ``references`` are the log lines that it comes from."""

    what: str
    why: str
    references: tuple[str, ...] = ()


def change_entry(made: MadeChange, why: str, references: Iterable[str] = ()) -> ChangeEntry:
    """The entry for a change that was made."""
    return ChangeEntry(made.what, why.rstrip("."), tuple(dict.fromkeys(references))[:MOST_REFERENCES])


def with_revision(text: FileText, revision: str, today: date, entries: Iterable[ChangeEntry]) -> FileText:
    """The text with another revision, and with the entries at the end of `changes`."""
    root = placed_nodes(text.plain)
    assert root is not None  # the caller has read it as a mapping
    now = root.get("revision")
    name = json.dumps(revision, ensure_ascii=False)
    if now is not None:
        edit = value_replaced(now, yaml_scalar(revision) if now.plain else name)
    else:
        edit = key_added(text.plain, root, "revision", name, after="title" if root.get("title") else "id")
    text = text.edited([edit])
    for entry in entries:
        root = placed_nodes(text.plain)
        assert root is not None  # only a revision and entries were added
        text = text.edited([_entry_added(text.plain, root, revision, today, entry)])
    return text


def _entry_added(text: str, root: PlacedNode, revision: str, today: date, entry: ChangeEntry) -> TextEdit:
    pairs = [
        ("revision", json.dumps(revision, ensure_ascii=False)),
        ("date", f'"{today.isoformat()}"'),
        ("what", yaml_scalar(entry.what)),
        ("why", yaml_scalar(entry.why)),
    ]
    references = [yaml_scalar(each) for each in entry.references]
    changes = root.get("changes")
    if root.flow or (changes is not None and changes.flow and changes.items):
        inline = ", ".join(f"{key}: {value}" for key, value in [*pairs, ("from", f"[{', '.join(references)}]")])
        if changes is not None and changes.kind == "list":
            return item_added(text, changes, f"{{{inline}}}")
        if changes is not None:
            return value_replaced(changes, f"[{{{inline}}}]")
        return key_added(text, root, "changes", f"[{{{inline}}}]")
    lines = [f"- {pairs[0][0]}: {pairs[0][1]}", *(f"  {key}: {value}" for key, value in pairs[1:])]
    lines += ["  from:", *(f"    - {each}" for each in references)] if references else []
    has_items = changes is not None and changes.kind == "list" and bool(changes.items)
    indent = " " * (changes.column if changes is not None and has_items else root.column + 2)
    block = "".join(f"\n{indent}{line}" for line in lines)
    if changes is None:
        at = _content_end(text, root)
        return TextEdit(at, at, f"\n{' ' * root.column}changes:{block}")
    if not has_items:
        return TextEdit(changes.start, changes.end, block)
    at = _content_end(text, changes)
    return TextEdit(at, at, block)


def _content_end(text: str, node: PlacedNode) -> int:
    """The end of the last line of a node in block style, after its comment."""
    found = text.find("\n", node.end)
    return len(text) if found < 0 else found
