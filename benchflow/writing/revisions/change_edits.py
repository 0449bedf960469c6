"""Makes a change in the text of a file. Only the value, key, item or comment of the change differs afterwards."""

import re
from pathlib import PurePath

from msgspec import Struct
from msgspec.structs import replace

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line, shown_path
from benchflow.procedure.keys.operation_keys import OPERATION
from benchflow.procedure.procedure_figures import figures_of
from benchflow.procedure.shapes.keyed_shapes import KeyedShape
from benchflow.session.machine_folders import machine_folders
from benchflow.writing.revisions.block_edits import block_figure
from benchflow.writing.revisions.block_parameters import calculated_from
from benchflow.writing.revisions.change_targets import ChangeTarget, add_target, change_target
from benchflow.writing.revisions.figure_edits import is_layout, source_edit, with_layout
from benchflow.writing.revisions.file_text import FileText, TextEdit
from benchflow.writing.revisions.found_change import FoundChange
from benchflow.writing.revisions.layout_edits import (
    NodeContent,
    comment_above,
    flow_text,
    item_added,
    key_added,
    quoted_as,
    value_replaced,
    with_value,
    yaml_value,
)
from benchflow.writing.revisions.procedure_file import EditedFile, ProcedureFile
from benchflow.writing.revisions.value_paths import FilePath, path_text
from benchflow.writing.revisions.yaml_places import PlacedNode, placed_nodes

_OPERATION_KEYS = frozenset(OPERATION.keys.keys if isinstance(OPERATION.keys, KeyedShape) else ())
_KEY_AND_VALUE = re.compile(r"([a-z][a-z-]*)\s*:\s+(\S.*)", re.DOTALL)


_FIGURE_KEYS = frozenset({"limit", "torque", "angle", "stretch", "unit", "used", "source", "aim"})
"""Keys that are never words of a comment: a person who types one means a figure."""

_CAUTION = re.compile(r"(danger|warning|caution|notice)\s*:\s+(\S.*)", re.DOTALL)

_WITH_SOURCE: tuple[FilePath, ...] = (("record",), ("work-out",), ("tighten",), ("choose",), ("match",))
"""The keys of an operation whose figures have a source beside them."""


class NotEditable(BenchflowError):
    """A change cannot be made in this file without changing other lines."""


class MadeChange(Struct, frozen=True):
    """A change made in a file: the new text, what was changed in words, and its line, from 1.

    ``block`` is the edited file of a block, if the figure is fixed there; ``text`` is then as before.
    """

    text: FileText
    what: str
    line: int
    key: str
    old: str
    new: str
    block: EditedFile | None = None
    block_line: int = 0
    note: str = ""  # what a person should know about the edit

    @property
    def place_in_block(self) -> str:
        """`` (in the block end-float, line 12)``; "" if no block is edited."""
        return "" if self.block is None else f" (in the block {self.block.path.stem}, line {self.block_line})"


def make_change(file: ProcedureFile, change: FoundChange, given: str = "", source: str = "") -> MadeChange:
    """Make a change in the text. ``given`` is another value that a person typed instead of the proposed one.

    For a comment ``given`` are other words, or a key of the operation with its value: ``do: Turn it by hand``.
    ``source`` is where a figure in ``given`` comes from; the old one does not keep its source for a new figure.

    Raises:
        NotEditable: the file has no place for it, or the edit would change other lines.
    """
    given = given.strip()
    if change.action == "comment":
        path, value = _key_in(change, given)
        if source and path[:1] not in _WITH_SOURCE:
            raise NotEditable("This change is no figure, so it has no source. Write the source in its words.")
        if path:
            return _with_new_source(file, change, path, _set(file, change, path, value, source), source)
        return _comment(file, change, clean_line(given or change.value))
    value = clean_line(given or change.value)
    if change.action == "append":
        return _append(file, *(_check_or_caution(change, given) if change.in_own_words and given else (change, value)))
    made = _set(file, change, change.path, value, source if given else change.source)
    if made.block is not None:
        return made
    if given and source and change.path[:1] in _WITH_SOURCE:
        return _with_new_source(file, change, change.path, made, source)
    return _with_source(file, change, made, source if given else change.source)


def source_to_replace(file: ProcedureFile, change: FoundChange, given: str) -> str:
    """The source that the old figure has, if ``given`` is a new figure that needs another one; otherwise "".

    A key such as `takes` has no source. A whole mapping is typed with its own source.
    """
    given = given.strip()
    path, value = _key_in(change, given) if change.action == "comment" else (change.path, given)
    if given and change.action == "set" and change.source:
        return change.source  # it belongs to the proposed figure, not to the typed one
    if not given or path[:1] not in _WITH_SOURCE or change.action == "append" or "source:" in value:
        return ""
    names = {path[1]} if len(path) > 1 else set()
    for figure in figures_of(file.procedure):
        stage = path[:2] == ("tighten", "stages") and (len(path) < 3 or path[2] == figure.stage - 1)
        if figure.operation == change.operation and (stage or figure.name in names) and figure.source is not None:
            return figure.source.shown
    return ""


def _with_new_source(
    file: ProcedureFile, change: FoundChange, path: FilePath, made: MadeChange, source: str
) -> MadeChange:
    """The change with the source of the new figure in the place of the old one, if it is a figure."""
    if not source or path[:1] not in _WITH_SOURCE or made.block is not None:
        return made
    done = file.with_text(made.text)
    whole: FilePath = (*path[:-1], "source")
    try:
        beside = _set(done, change, whole, clean_line(source))
    except NotEditable:
        beside = make_copied_key(done, change, whole, clean_line(source))
    return replace(made, text=beside.text, what=f"{made.what} (source: {clean_line(source)})")


def _key_in(change: FoundChange, given: str) -> tuple[FilePath, str]:
    """The path and value in a typed text; no path if the text is words for a comment."""
    found = _KEY_AND_VALUE.fullmatch(given)
    if found is None:
        return (), ""
    if change.path and found[1] == change.path[-1]:
        return change.path, clean_line(found[2])
    if found[1] in _FIGURE_KEYS:
        raise NotEditable(
            f"This proposal has no `{found[1]}` to change. Write other words, or a whole key of the step, such as "
            "`record: {...}` or `do: ...`."
        )
    return ((found[1],), clean_line(found[2])) if found[1] in _OPERATION_KEYS and change.operation else ((), "")


def _target(file: ProcedureFile, change: FoundChange, path: FilePath) -> ChangeTarget:
    found = change_target(file, change.operation, path)
    if found is None:
        raise NotEditable(f"{file.path} has no operation `{change.operation}`. Change it by hand.")
    return found


def _name(change: FoundChange, path: FilePath) -> str:
    return f"{change.operation or 'procedure'}: {path_text(path)}"


def _set(file: ProcedureFile, change: FoundChange, path: FilePath, value: str, source: str = "") -> MadeChange:
    """Write a value. ``source`` is that of a figure; only an edit of a block needs it here."""
    target = _target(file, change, path)
    text, node = file.text.plain, target.value
    if node is not None and not change.operation and is_layout(path) and target.node is file.root:
        return _set_layout(file, change, path, value)
    written = yaml_value(value)
    old = "" if node is None else _one_line(text[node.start : node.end])
    if node is not None and target.form is not None:
        edits = [value_replaced(node, quoted_as(old, _parameter_for(target, value, file)))]
        old = target.form.text
    elif node is not None:
        edits = [value_replaced(node, quoted_as(old, value))]
    elif target.whole_key and (len(path) > 1 or not change.operation):
        return _set_in_block(file, change, target, path, value, source)
    else:
        edits = [_added(file, target.node, target.path, written)]
    what = f"{_name(change, path)} {f'{old} -> ' if old else 'added: '}{value}"
    return _made(file, edits, what, path_text(path), old, value, node or target.node)


def _set_layout(file: ProcedureFile, change: FoundChange, path: FilePath, rows: str) -> MadeChange:
    """Write the tightening order of a joint as drawn rows. They have the number of fasteners, so `count` is removed."""
    node = file.root.at(path)
    assert node is not None
    line, old = file.text.line_of(node.start), _one_line(node.text)
    try:
        text = with_layout(file.text, path[:-1], rows)
    except ValueError as error:
        raise NotEditable(f"{error}. Change the order at line {line} of {file.path} by hand.") from error
    if text is None:
        raise NotEditable(f"The change at line {line} of {file.path} does not give YAML. Make it by hand.")
    return MadeChange(text, f"{_name(change, path)} {old} -> {rows}", line, path_text(path), old, rows)


def _parameter_for(target: ChangeTarget, value: str, file: ProcedureFile) -> str:
    """The value of the parameter that makes the text of the block ``value``."""
    assert target.form is not None
    given = target.form.given_by(value)
    if given is None:
        raise NotEditable(
            f"The block writes this figure as `{target.form.form}`, with `{target.form.parameter}` from line "
            f"{file.text.line_of(target.node.start)}. Write the new figure in this form."
        )
    return given


def _set_in_block(
    file: ProcedureFile, change: FoundChange, target: ChangeTarget, path: FilePath, value: str, source: str
) -> MadeChange:
    """Write a figure into the file of the block that fixes it."""
    node = None if target.written is None else target.written.at(path)
    figure = None if node is None else block_figure(file, target.block, path, node.text)
    if figure is None or figure.is_shipped:
        raise NotEditable(_fixed_in_block(file, target, path, shipped=figure is not None))
    if source and figure.holder is None and path[:1] in _WITH_SOURCE:
        raise NotEditable(
            f"The figure at line {figure.line} of {shown_path(figure.file.path)} has no place for its source. Write it "
            "as a mapping there first, such as {torque: 24 N·m, source: manual}."
        )
    block = figure.changed(value, clean_line(source))
    if placed_nodes(block.text.plain) is None:
        raise NotEditable(
            f"The change at line {figure.line} of {shown_path(block.path)} does not give YAML. Make it by hand."
        )
    beside = f" (source: {clean_line(source)})" if source and figure.holder is not None else ""
    what = f"{_name(change, path)} {figure.old} -> {value}{beside}"
    line = file.text.line_of(target.node.start)
    made = MadeChange(file.text, what, line, path_text(path), figure.old, value, block, figure.line)
    return replace(made, what=f"{what}{made.place_in_block}")


def _fixed_in_block(file: ProcedureFile, target: ChangeTarget, path: FilePath, *, shipped: bool) -> str:
    """What to do about a figure that a block itself fixes, and that cannot be edited there."""
    line = file.text.line_of(target.node.start)
    node = None if target.written is None else target.written.at(path)
    made = None if node is None else calculated_from(file, target.node, node)
    if made is not None:
        key = file.text.line_of(made[1].start)
        return f"The block ({target.block}) calculates this figure: `{made[0]}`. Change the value at line {key}."
    own = f"Write the whole key `{path[0]}` under `add` at line {line}"
    if target.path == path:
        own = f"Write your own `{path_text(path[:-1])}` into the procedure"
    block = PurePath(target.block.rpartition(":")[0])
    fixed = f"`{path_text(path)}` is fixed in the block ({target.block})"
    if shipped:
        return (
            f"{fixed}, which comes with the program. Copy {shown_path(block)} to "
            f"{shown_path(machine_folders().blocks / f'my-{block.name}')}, with the id `my-{block.stem}`, and `use` "
            f"that one at line {line}. Then revise again. Or: {own[:1].lower()}{own[1:]}."
        )
    return f"{fixed}. {own}, or change the block, in every procedure that uses it: benchflow blocks used {block.stem}"


def make_copied_key(
    file: ProcedureFile, change: FoundChange, path: FilePath, value: str, text_key: str = ""
) -> MadeChange:
    """Write a whole key of an operation of a block under `add`, as it is now, with ``value`` at ``path``.

    If a text is in the place of the mapping that gets ``value``, it becomes the value of its key ``text_key``. A
    comment says that the value under `with` no longer sets it.

    Raises:
        NotEditable: the operation is not from a block, or has no place for the value.
    """
    target = add_target(file, change.operation, path)
    if target is None or target.written is None:
        raise NotEditable(f"`{path_text(path)}` has no place in {file.path}. Write it by hand.")
    root = target.written.get(str(path[0]))
    copied = None if root is None else with_value(_content(root), path[1:], value, text_key)
    if copied is None:
        raise NotEditable(f"`{path_text(path)}` has no place in {file.path}. Write it by hand.")
    at = target.path[: len(target.path) - len(path) + 1]
    words = f"`{path[0]}` of `{at[1]}` is written under `add` below. The values under `with` no longer set it."
    edits = [comment_above(file.text.plain, target.node, words), _added(file, target.node, at, copied)]
    return _made(file, edits, f"{_name(change, path)} added: {value}", path_text(path), "", value, target.node)


def _with_source(file: ProcedureFile, change: FoundChange, made: MadeChange, source: str) -> MadeChange:
    """The change with the source of the figure: beside it, or in a comment if other figures have the place."""
    source = clean_line(source)
    if not source or not change.path:
        return made
    done = file.with_text(made.text)
    found = source_edit(done, change.operation, change.path, source)
    if found is None:
        return made
    edit, note = found
    text = done.text.edited([edit])
    if placed_nodes(text.plain) is None:
        return made
    return replace(made, text=text, what=f"{made.what} (source: {source})", note=note)


def _added(file: ProcedureFile, start: PlacedNode, path: FilePath, value: str) -> TextEdit:
    """The edit that adds a value. Only the beginning of its path is in the file."""
    node, rest = start, list(path)
    while rest and (inner := node.at((rest[0],))) is not None:
        node = inner
        rest.pop(0)
    if node.kind != "mapping" or not all(isinstance(step, str) for step in rest):
        raise NotEditable(
            f"`{path_text(path)}` cannot be added at line {file.text.line_of(node.start)}. Add it by hand."
        )
    for step in reversed(rest[1:]):
        value = f"{{{step}: {value}}}"
    return key_added(file.text.plain, node, str(rest[0]), value, after="title" if node is start else "")


def _check_or_caution(change: FoundChange, given: str) -> tuple[FoundChange, str]:
    """What a person typed instead of a drafted check or caution: words of a check, or a caution by its signal word."""
    found = _CAUTION.fullmatch(given)
    if found is None:
        return replace(change, path=("check",)), clean_line(given)
    return replace(change, path=("cautions",)), flow_text(((found[1], clean_line(found[2])),))


def _append(file: ProcedureFile, change: FoundChange, value: str) -> MadeChange:
    target = _target(file, change, change.path)
    node, text, written = target.value, file.text.plain, yaml_value(value)
    key = path_text(change.path)
    if node is None:
        kept = _items_in_block(file, change) if target.whole_key else []
        edits = [_added(file, target.node, target.path, f"[{', '.join([*kept, written])}]")]
    else:
        edits = [item_added(text, node, written)]
    old = "" if node is None else _one_line(text[node.start : node.end])
    return _made(file, edits, f"{_name(change, change.path)} gets {value}", key, old, value, node or target.node)


def _items_in_block(file: ProcedureFile, change: FoundChange) -> list[str]:
    """The items that the list has in the block. They are written too, because `add` replaces the whole key."""
    from benchflow.writing.revisions.yaml_places import operation_node

    node = None if file.written_root is None else operation_node(file.written_root, change.operation)
    found = None if node is None else node.at(change.path)
    if found is None:
        return []
    return [flow_text(_content(each)) for each in (found.items if found.kind == "list" else [found])]


def _comment(file: ProcedureFile, change: FoundChange, words: str) -> MadeChange:
    known = change.operation and change_target(file, change.operation, ())
    node = known.node if known else file.root.pairs[0][0]
    for key, _ in file.root.pairs if not known else ():
        if key.text == "sections":
            node = key
    first = change.evidence[0]
    by = f"{first.by}, " if len(change.evidence) == 1 and first.by else ""
    in_block = f"{change.operation}: " if known and known.whole_key else ""
    more = f" and {len(change.evidence) - 1} more" if change.evidence[1:] else ""
    line = first.reference.partition(" (log ")[0]  # `changes` names the log too
    comment = f"{in_block}{words} [{by}{line}{more}]"
    edit = comment_above(file.text.plain, node, comment)
    what = f"{change.operation or 'procedure'}: comment: {words}"
    return _made(file, [edit], what, "comment", "", words, node, same=True)


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _made(
    file: ProcedureFile, edits: list[TextEdit], what: str, key: str, old: str, new: str, node: PlacedNode,
    same: bool = False,
) -> MadeChange:  # fmt: skip
    """The edited text. ``same`` means that the content of the file must not change at all."""
    text = file.text.edited(edits)
    root = placed_nodes(text.plain)
    if root is None or (same and _content(root) != _content(file.root)):
        line = file.text.line_of(node.start)
        raise NotEditable(f"The change at line {line} of {file.path} would change other lines. Make it by hand.")
    return MadeChange(text, what, file.text.line_of(node.start), key, old, new)


def _content(node: PlacedNode) -> NodeContent:
    """The content of a node without its layout."""
    if node.kind == "text":
        return node.text
    if node.kind == "list":
        return [_content(each) for each in node.items]
    return tuple((key.text, _content(value)) for key, value in node.pairs)
