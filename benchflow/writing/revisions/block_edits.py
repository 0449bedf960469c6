"""Edits a figure that is fixed in a block, in the file of the block."""

from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace

from benchflow.base.errors import BenchflowError
from benchflow.procedure.compiled_cache import read_author_text
from benchflow.writing.revisions.file_text import TextEdit
from benchflow.writing.revisions.layout_edits import key_added, quoted_as, value_replaced, yaml_value
from benchflow.writing.revisions.procedure_file import EditedFile, ProcedureFile
from benchflow.writing.revisions.value_paths import FilePath
from benchflow.writing.revisions.yaml_places import PlacedNode, placed_nodes


class BlockFigure(Struct, frozen=True):
    """A figure in the file of a block: its node, and the mapping that has it, ``None`` if it stands alone in a list."""

    file: EditedFile
    node: PlacedNode
    holder: PlacedNode | None
    is_shipped: bool

    @property
    def line(self) -> int:
        """Its line in the file of the block, from 1."""
        return self.file.text.line_of(self.node.start)

    @property
    def old(self) -> str:
        """The figure as it is written now, on one line."""
        return " ".join(self.file.text.plain[self.node.start : self.node.end].split())

    def changed(self, value: str, source: str = "") -> EditedFile:
        """The file of the block with another figure, and with its source beside it if one is given."""
        edits = [value_replaced(self.node, quoted_as(self.old, value))]
        if source and self.holder is not None:
            edits.append(self._source(self.holder, source))
        return replace(self.file, text=self.file.text.edited(edits))

    def _source(self, holder: PlacedNode, source: str) -> TextEdit:
        plain, now = self.file.text.plain, holder.get("source")
        if now is not None:
            return value_replaced(now, quoted_as(plain[now.start : now.end], source))
        key = next(name.text for name, value in holder.pairs if value.start == self.node.start)
        return key_added(plain, holder, "source", yaml_value(source), after=key)


def block_figure(file: ProcedureFile, place: str, path: FilePath, text: str) -> BlockFigure | None:
    """The figure with this ``text`` at ``path`` of an operation of a block; ``None`` if it is not certain.

    ``place`` is the file and line of the block. A figure that the block makes of a parameter has another text there.
    """
    name, _, number = place.rpartition(":")
    try:
        block, line = file.block(Path(name)), int(number)
    except (OSError, ValueError):
        return None
    root = placed_nodes(block.text.plain)
    operations = None if root is None else root.get("operations")
    for operation in [] if operations is None else operations.items:
        node, holder = operation.at(path), operation.at(path[:-1])
        found = node is not None and node.kind == "text" and node.text == text
        if found and node is not None and block.text.line_of(node.start) == line:
            mapping = holder if holder is not None and holder.kind == "mapping" else None
            return BlockFigure(block, node, mapping, is_shipped(file, block.path))
    return None


def is_shipped(file: ProcedureFile, block: Path) -> bool:
    """True if the file of a block comes with the program, so that an update would replace it."""
    folders = [folder.path.resolve() for folder in file.block_folders if folder.kind == "shipped"]
    return any(block.resolve().is_relative_to(folder) for folder in folders)


def users_of_block(file: ProcedureFile, block: Path) -> tuple[int, tuple[str, ...]]:
    """How often the procedure uses a block, and the other procedures in its folder that use it.

    A use through another block counts.
    """
    from benchflow.procedure.blocks.block_expansion import expand_blocks
    from benchflow.procedure.blocks.block_library import BlockLibrary

    library = BlockLibrary(file.block_folders)

    def uses(text: str | None, path: Path) -> int:
        expansion = None if text is None else expand_blocks(text, str(path), library)
        return 0 if expansion is None else sum(use.chain[-1] == block.stem for use in expansion.uses)

    others = []
    for path in sorted(file.path.parent.glob("*.y*ml")):
        try:
            if not path.samefile(file.path) and uses(read_author_text(path), path):
                others.append(path.name)
        except (OSError, BenchflowError):
            continue
    return uses(file.text.raw, file.path), tuple(others)
