"""Where a change is made in the file: at an operation of the file, or at the `use` of the block that has it."""

import re
from pathlib import Path

from msgspec import Struct

from benchflow.procedure.model import Mark
from benchflow.writing.revisions.procedure_file import ProcedureFile
from benchflow.writing.revisions.value_paths import FilePath
from benchflow.writing.revisions.yaml_places import PlacedNode, operation_node, operations_in


class ChangeTarget(Struct, frozen=True):
    """The node that a change starts from, and the path from it to the value.

    ``block`` is the file and line of the block that has the value, "" if the file itself has it. ``whole_key`` is true
    if only a whole key of the operation can be replaced there: by an entry of `add`.
    """

    node: PlacedNode
    path: FilePath
    block: str = ""
    whole_key: bool = False

    @property
    def value(self) -> PlacedNode | None:
        """The value as it is now; ``None`` if there is none."""
        return self.node.at(self.path)


def change_target(file: ProcedureFile, operation: str, path: FilePath) -> ChangeTarget | None:
    """The place where the value at ``path`` of an operation is written; ``None`` if it is not found.

    ``operation`` is "" for a path from the top of the file.
    """
    if not operation:
        return ChangeTarget(file.root, path)
    own = operation_node(file.root, operation)
    if own is not None:
        return ChangeTarget(own, path)
    return _target_in_block(file, operation, path)


def _target_in_block(file: ProcedureFile, operation: str, path: FilePath) -> ChangeTarget | None:
    written, source_map = file.written_root, file.loaded.source_map
    node = None if written is None else operation_node(written, operation)
    if node is None or source_map is None:
        return None
    place, block = source_map.origin_of(_mark_of(file.loaded.text, node))
    use = _use_around(file.root, _place_of(file.text.plain, place))
    if use is None:
        return None
    value = node.at(path) if path else None
    if value is not None:
        _, of_value = source_map.origin_of(_mark_of(file.loaded.text, value))
        own = _given_at(file, use, value) or _parameter(use, value.text, of_value)
        if own is not None:
            return ChangeTarget(own, ())
    for length in range(len(path) - 1, 0, -1):
        holder = node.at(path[:length])
        own = None if holder is None or holder.kind != "mapping" else _given_at(file, use, holder)
        if own is not None:
            return ChangeTarget(own, path[length:])
    return ChangeTarget(use, ("add", _name_in_block(use, operation), *path), block, whole_key=True)


def _mark_of(text: str, node: PlacedNode) -> Mark:
    plain = text.replace("\r\n", "\n")
    return Mark(plain.count("\n", 0, node.start) + 1, node.start - plain.rfind("\n", 0, node.start))


def _place_of(text: str, mark: Mark) -> int:
    lines = text.split("\n")
    return sum(len(line) + 1 for line in lines[: mark.line - 1]) + mark.column - 1


def _given_at(file: ProcedureFile, use: PlacedNode, written: PlacedNode) -> PlacedNode | None:
    """The node that the author gave to the block under `with` or `add`, of which ``written`` is a copy."""
    source_map = file.loaded.source_map
    place = None if source_map is None else source_map.origin_of(_mark_of(file.loaded.text, written))[0]
    if place is None:
        return None
    at = _place_of(file.text.plain, place)
    given = [each for key in ("with", "add") if (each := use.get(key)) is not None]
    found = next((one for each in given if (one := _node_at(each, at, written.kind)) is not None), None)
    return found if found is not None and _same_content(found, written) else None


def _node_at(node: PlacedNode, place: int, kind: str) -> PlacedNode | None:
    """The outermost node of a kind that begins at a place."""
    if node.start == place and node.kind == kind:
        return node
    inner = [*node.items, *(value for _, value in node.pairs)]
    return next(
        (found for each in inner if each.start <= place < each.end and (found := _node_at(each, place, kind))), None
    )


def _same_content(one: PlacedNode, other: PlacedNode) -> bool:
    if one.kind != other.kind or one.text != other.text or len(one.items) != len(other.items):
        return False
    pairs = zip(one.pairs, other.pairs, strict=False)
    return (
        len(one.pairs) == len(other.pairs)
        and all(_same_content(*both) for both in zip(one.items, other.items, strict=True))
        and all(a.text == b.text and _same_content(x, y) for (a, x), (b, y) in pairs)
    )


def _use_around(root: PlacedNode, place: int) -> PlacedNode | None:
    """The use of a block that has this place."""
    uses = (node for node in operations_in(root) if node.get("use") is not None)
    return next((node for node in uses if node.start <= place < node.end), None)


def _parameter(use: PlacedNode, text: str, block: str) -> PlacedNode | None:
    """The value of the parameter that a line of a block consists of; ``None`` if it is not a parameter.

    ``block`` is the file and line in the block.
    """
    name, _, number = block.rpartition(":")
    try:
        line = Path(name).read_text(encoding="utf-8").splitlines()[int(number) - 1]
    except (OSError, ValueError, IndexError):
        return None
    given = use.get("with")
    for key, value in () if given is None else given.pairs:
        if value.kind == "text" and value.text == text and re.search(rf"\{{\s*{re.escape(key.text)}\s*\}}", line):
            return value
    return None


def _name_in_block(use: PlacedNode, operation: str) -> str:
    """The id that an operation has in its block, without `as` and `names`."""
    names = use.get("names")
    for key, value in () if names is None else names.pairs:
        if value.text == operation:
            return key.text
    prefix = use.get("as")
    return operation.removeprefix(f"{prefix.text}-") if prefix is not None else operation
