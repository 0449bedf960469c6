"""Looks up blocks on this machine: beside a procedure, in the shop's folder, and those that are shipped."""

from pathlib import Path
from typing import TYPE_CHECKING

from benchflow.base.errors import BenchflowError
from benchflow.base.regular_file import read_regular_file
from benchflow.procedure.blocks.block_folder import BlockFolder
from benchflow.procedure.blocks.block_library import BlockLibrary
from benchflow.procedure.compiled_cache import BLOCKS_FOLDER
from benchflow.procedure.yaml_source.yaml_reader import MAX_BYTES
from benchflow.session.machine_folders import block_folders

if TYPE_CHECKING:
    from benchflow.procedure.blocks.block_expansion import Expansion
    from benchflow.procedure.blocks.block_file import Block


def library_of_procedure(path: Path) -> BlockLibrary:
    """The blocks that the procedure in ``path`` can use."""
    return BlockLibrary((BlockFolder(path.parent / BLOCKS_FOLDER, "beside"), *block_folders()))


def machine_library() -> BlockLibrary:
    """The blocks of the shop and those that are shipped, and those in the folder `blocks` of the current folder."""
    return library_of_procedure(Path(BLOCKS_FOLDER))


def block_of_file(path: Path) -> "Block | None":
    """The block in the file ``path``; ``None`` if the file is something else.

    Raises:
        BenchflowError: the file cannot be read.
    """
    try:
        data = read_regular_file(path, MAX_BYTES + 1)
    except OSError as error:
        raise BenchflowError(f"{path} cannot be read: {error.strerror or error}.") from error
    if b"benchflow-block" not in data:
        return None
    from benchflow.procedure.blocks.block_sample import block_from, is_block_text

    if not is_block_text(data.decode("utf-8", "replace")):
        return None
    return block_from(data, str(path), path.stem)


def library_of_block(path: Path) -> BlockLibrary:
    """The blocks that the block in ``path`` can use: those in its own folder, of the shop, and shipped."""
    return BlockLibrary((BlockFolder(path.parent, "beside"), *block_folders()))


def sample_of_file(path: Path) -> "Expansion | None":
    """The example of the block in ``path``, written out; ``None`` if the file is something else.

    Raises:
        BenchflowError: the file cannot be read, the block has errors, or a parameter has no sample.
    """
    block = block_of_file(path)
    if block is None:
        return None
    from benchflow.procedure.blocks.block_sample import expand_sample, missing_samples

    if block.written is None:
        raise BenchflowError("\n".join([*map(str, block.problems), f"{path.name} has errors."]))
    missing = missing_samples(block)
    if missing:
        raise BenchflowError(
            f"{path} is a block. To write it out, each parameter needs a `sample` or a `default`. "
            f"Without: {', '.join(missing)}."
        )
    return expand_sample(block, library_of_block(path))
