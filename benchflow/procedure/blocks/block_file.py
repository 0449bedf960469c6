"""Reads a block file."""

from functools import lru_cache

from msgspec import Struct

from benchflow.procedure.blocks.block_keys import BLOCK, WrittenBlock, WrittenParameter
from benchflow.procedure.model import Mark
from benchflow.procedure.problems import Problem
from benchflow.procedure.shapes.shape_base import ReadContext
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, YamlSequence, child_of
from benchflow.procedure.yaml_source.yaml_reader import decode, parse

HEADER = "benchflow-block"
"""The first key of a block file."""


class Block(Struct, frozen=True):
    """A block file as read. ``written`` is ``None`` if one of the ``problems`` is an error.

    ``id`` is the name of the file without its suffix. ``sha256`` is the digest of the bytes of the file, in hex.
    """

    id: str
    file: str
    sha256: str
    text: str
    written: WrittenBlock | None
    problems: tuple[Problem, ...]

    @property
    def operations(self) -> list[YamlNode]:
        """The nodes of its operations and of the uses between them."""
        node = None if self.written is None else self.written.operations
        return node.items if isinstance(node, YamlSequence) else []

    @property
    def takes(self) -> dict[str, WrittenParameter]:
        return {} if self.written is None else self.written.takes


@lru_cache(256)  # `check --watch` and a session read the same blocks again and again
def read_block(data: bytes, file: str, name: str, sha256: str) -> Block:
    """Read the bytes of a block file. ``name`` is the name of the file without its suffix.

    The nodes of the block are shared, so they must not be changed.
    """
    text, problems = decode(data, file)
    if text is None:
        return Block(name, file, sha256, "", None, problems.listed(None))
    source = parse(text, file)
    problems = source.problems
    root, written = source.root, None
    if root is None or not isinstance(root, YamlMapping):
        if not problems.any_error:
            mark = Mark(1, 1) if root is None else root.mark
            problems.add("wrong-kind", mark, "This file is not a block", f"Begin it with `{HEADER}: 1`")
    elif child_of(root, HEADER) is None and source.error_at is None:
        message = "This file is not a block, because it does not begin with `benchflow-block`"
        problems.add("wrong-kind", Mark(1, 1), message, f"Begin it with `{HEADER}: 1`")
    elif source.error_at is None:
        written = BLOCK.read(root, ReadContext(problems))
        if written is not None:
            _check_block(written, name, ReadContext(problems))
    return Block(name, file, sha256, text, None if problems.any_error else written, problems.listed(root))


def _check_block(written: WrittenBlock, name: str, context: ReadContext) -> None:
    if written.id and written.id != name:
        message = f"The block has the id `{written.id}`, but the name of the file is {name}"
        context.problem(
            "bad-name", written.id_mark, message, f"Rename the file to {written.id}.yaml, or write `id: {name}`"
        )
    if written.replaces and written.id and written.replaces != written.id:
        message = f"`replaces` names `{written.replaces}`, but a block can replace only one with its own id"
        context.problem("bad-name", written.replaces_mark, message, f"Write `replaces: {written.id}`")
    if written.operations is not None and not isinstance(written.operations, YamlSequence):
        context.problem(
            "wrong-kind", written.operations.mark, "`operations` is not a list", "Begin each with `- id: ...`"
        )
    if written.operations is None and not written.setup and written.uses is None:
        context.problem("missing-key", written.mark, "The block has neither operations nor set-up", "Add `operations`")
