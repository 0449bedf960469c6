"""Finds where to make a change in the file: at an operation of the file, or at the `use` of its block."""

from msgspec import Struct

from benchflow.writing.revisions.block_parameters import (
    TextWithParameter,
    author_node,
    place_in_file,
    text_with_parameter,
    use_around,
)
from benchflow.writing.revisions.procedure_file import ProcedureFile
from benchflow.writing.revisions.value_paths import FilePath
from benchflow.writing.revisions.yaml_places import PlacedNode, operation_node


class ChangeTarget(Struct, frozen=True):
    """The node that a change starts from, and the path from it to the value.

    ``block`` is the file and line of the block that has the value, "" if the file itself has it. ``whole_key`` is true
    if only a whole key of the operation can be replaced there: by an entry of `add`. ``written`` is the node of the
    written-out text then. ``form`` is the text of the block if the value is only a part of it.
    """

    node: PlacedNode
    path: FilePath
    block: str = ""
    whole_key: bool = False
    written: PlacedNode | None = None
    form: TextWithParameter | None = None

    @property
    def value(self) -> PlacedNode | None:
        """The value as it is now; ``None`` if there is none."""
        return self.node.at(self.path)


def change_target(file: ProcedureFile, operation: str, path: FilePath) -> ChangeTarget | None:
    """The place where the value at ``path`` of an operation is written; ``None`` if it is not found.

    ``operation`` is "" for a path from the top of the file.
    """
    own = operation_node(file.root, operation) if operation else file.root
    if own is not None and (operation or file.written_root is None or own.at(path) is not None):
        return ChangeTarget(own, path)
    written = file.written_root
    if written is not None and operation:
        written = operation_node(written, operation)
    found = None if written is None else _target_in_block(file, operation, written, path)
    return found or (None if operation else ChangeTarget(file.root, path))


def add_target(file: ProcedureFile, operation: str, path: FilePath) -> ChangeTarget | None:
    """The entry of `add` for a value that comes from a block; ``None`` if the operation does not come from one."""
    if not operation or file.written_root is None or operation_node(file.root, operation) is not None:
        return None
    written = operation_node(file.written_root, operation)
    return None if written is None else _under_add(file, operation, written, path)


def _target_in_block(file: ProcedureFile, operation: str, written: PlacedNode, path: FilePath) -> ChangeTarget | None:
    """The author's own node, followed as far along the path as possible; otherwise an entry of `add`."""
    for length in range(len(path), 0, -1):
        node = written.at(path[:length])
        own = None if node is None else author_node(file, node)
        if own is not None and (length == len(path) or own.kind == "mapping"):
            return ChangeTarget(own, path[length:])
    value = written.at(path) if path else None
    target = _under_add(file, operation, written, path)
    if target is None or value is None:
        return target
    form = text_with_parameter(file, target.node, value) if value.kind == "text" else None
    given = None if form is None else target.node.at(("with", form.parameter))
    return target if given is None else ChangeTarget(given, (), form=form)


def _under_add(file: ProcedureFile, operation: str, written: PlacedNode, path: FilePath) -> ChangeTarget | None:
    value = written.at(path) if path else None
    place, block = place_in_file(file, written if operation or value is None else value)
    use = use_around(file.root, place)
    if use is None:
        return None
    if not operation:
        return None if value is None else ChangeTarget(use, path, block, whole_key=True, written=written)
    _, of_value = ("", block) if value is None else place_in_file(file, value)
    add: FilePath = ("add", _name_in_block(use, operation), *path)
    return ChangeTarget(use, add, of_value or block, whole_key=True, written=written)


def _name_in_block(use: PlacedNode, operation: str) -> str:
    """The id that an operation has in its block, without `as` and `names`."""
    names = use.get("names")
    for key, value in () if names is None else names.pairs:
        if value.text == operation:
            return key.text
    prefix = use.get("as")
    return operation.removeprefix(f"{prefix.text}-") if prefix is not None else operation
