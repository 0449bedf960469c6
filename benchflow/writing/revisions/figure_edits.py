"""Edits for a figure that is filled in: the tightening order of a joint, and the source of a figure."""

import json

from benchflow.base.plaintext import clean_line
from benchflow.procedure.joint_layouts import layout_of_rows
from benchflow.procedure.procedure_figures import Figure, figures_of
from benchflow.writing.revisions.change_targets import ChangeTarget, change_target
from benchflow.writing.revisions.file_text import FileText, TextEdit
from benchflow.writing.revisions.layout_edits import (
    comment_above,
    key_added,
    key_removed,
    value_replaced,
    yaml_scalar,
    yaml_value,
)
from benchflow.writing.revisions.procedure_file import ProcedureFile
from benchflow.writing.revisions.value_paths import FilePath
from benchflow.writing.revisions.yaml_places import PlacedNode, placed_nodes

_WITH_SOURCE = ("record", "joints", "instruments", "time")
"""Keys whose inner mappings can have the source of a figure in them. A stage can have one too."""


def is_layout(path: FilePath) -> bool:
    """True for the path of the tightening order of a joint."""
    return len(path) == 3 and path[0] == "joints" and path[2] == "layout"


def with_layout(text: FileText, joint: FilePath, rows: str) -> FileText | None:
    """The text with a tightening order ``1 2 / . 3`` drawn as rows, and without the `count` of the joint.

    ``joint`` is the path of the joint from the top of the file. ``None`` if the text is no YAML afterwards.

    Raises:
        ValueError: the numbers are not 1..n, each once, or not as many as `count` says.
    """
    root = placed_nodes(text.plain)
    mapping = None if root is None else root.at(joint)
    node = None if mapping is None else mapping.get("layout")
    if mapping is None or node is None:
        return None
    drawn = _drawn_rows(rows)
    written = mapping.get("count")
    numbers = sum(cell != "." for row in drawn for cell in row.split())
    if written is not None and written.text.isdigit() and int(written.text) != numbers:
        raise ValueError(f"The joint has {written.text} fasteners, but the order {rows} has {numbers}")
    changed = text.edited(_layout_edits(text.plain, mapping, node, drawn))
    root = placed_nodes(changed.plain)
    mapping = None if root is None else root.at(joint)
    if mapping is None or mapping.get("count") is None:
        return None if mapping is None else changed
    removed = _line_removed(changed.plain, mapping, "count")
    return changed if removed is None else changed.edited([removed])


def _drawn_rows(rows: str) -> list[str]:
    """The rows of an order with their cells below each other. The first cell has no blank before it."""
    cells = [["." if number is None else str(number) for number in row] for row in layout_of_rows(rows)]
    width = max(len(cell) for row in cells for cell in row)
    return [" ".join(cell.ljust(width) for cell in row).rstrip() for row in cells]


def _layout_edits(text: str, mapping: PlacedNode, node: PlacedNode, drawn: list[str]) -> list[TextEdit]:
    if len(drawn) == 1:
        return [value_replaced(node, yaml_scalar(drawn[0]))]
    if mapping.flow:
        return [value_replaced(node, json.dumps("\n".join(drawn)))]
    indent = "\n" + " " * (mapping.pairs[0][0].column + 2)
    end = text.find("\n", node.end)
    end = len(text) if end < 0 else end  # after the comment of the line
    block = "".join(f"{indent}{row}" for row in drawn)
    if end == node.end:
        return [value_replaced(node, f"|{block}")]
    return [value_replaced(node, "|"), TextEdit(end, end, block)]


def _line_removed(text: str, mapping: PlacedNode, key: str) -> TextEdit | None:
    """The edit that removes a key with its line. In brackets only the key is removed."""
    name, value = next((name, value) for name, value in mapping.pairs if name.text == key)
    begin = text.rfind("\n", 0, name.start) + 1
    if mapping.flow or text[begin : name.start].strip():
        return key_removed(text, mapping, key)
    end = text.find("\n", value.end)
    return TextEdit(begin, len(text) if end < 0 else end + 1, "")


def source_edit(done: ProcedureFile, operation: str, path: FilePath, source: str) -> tuple[TextEdit, str] | None:
    """The edit that writes the source of a new figure, with a remark if it is written as a comment.

    ``done`` has the figure already. It is a comment if the place of the source has another one, or if other figures
    would get it too. ``None`` if nothing has to be written, or if the figure is in a block.
    """
    target = change_target(done, operation, path)
    node = None if target is None or target.whole_key else target.value
    if target is None or node is None:
        return None
    holder = _holder(done, operation, path)
    there = None if holder is None else holder.get("source")
    if there is not None and clean_line(there.text) == source:
        return None
    if holder is not None and there is None and holder.get("by") is None:
        edit = key_added(done.text.plain, holder, "source", yaml_value(source), after=str(path[-1]))
        if path[0] not in ("joints", "instruments") or _gives_only_this(done, edit, source):
            return edit, ""
    words = f"{path[-1]} from: {source}"
    at = _name_of(target, path) or node
    return comment_above(done.text.plain, at, words), "Its source is a comment: other figures beside it have another."


def _holder(done: ProcedureFile, operation: str, path: FilePath) -> PlacedNode | None:
    """The mapping that can have the source of the figure at ``path``; ``None`` if there is none."""
    inner = len(path) > 2 and path[0] in _WITH_SOURCE
    if not isinstance(path[-1], str) or not (inner or path[:2] == ("tighten", "stages")):
        return None
    found = change_target(done, operation, path[:-1])
    node = None if found is None or found.whole_key else found.value
    return node if node is not None and node.kind == "mapping" else None


def _name_of(target: ChangeTarget, path: FilePath) -> PlacedNode | None:
    """The key of the figure, to write a comment above its line."""
    holder = target.node.at(target.path[:-1])
    pairs = () if holder is None else holder.pairs
    return next((name for name, _ in pairs if name.text == path[-1]), None)


def _gives_only_this(done: ProcedureFile, edit: TextEdit, source: str) -> bool:
    """True if no other figure of the procedure gets this source, which stands for a whole joint or instrument."""
    after = done.with_text(done.text.edited([edit]))
    if done.loaded.procedure is None or after.loaded.procedure is None:
        return False
    old = list(map(_figure_source, figures_of(done.procedure)))
    return old == list(map(_figure_source, figures_of(after.procedure)))


def _figure_source(figure: Figure) -> tuple[str, str, str, int, str]:
    return figure.kind, figure.name, figure.operation, figure.stage, "" if figure.source is None else figure.source.text
