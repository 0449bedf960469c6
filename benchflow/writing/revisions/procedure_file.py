"""A procedure file under revision: its bytes, its text, its tree, and the procedure in it."""

import stat
from contextlib import suppress
from functools import cached_property
from hashlib import sha256
from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace

from benchflow.base.atomic_write import Unconfirmed, atomic_write
from benchflow.base.errors import BenchflowError
from benchflow.base.regular_file import read_regular_file
from benchflow.procedure.blocks.block_folder import BlockFolder
from benchflow.procedure.compiled_cache import BLOCKS_FOLDER, Loaded, read_text
from benchflow.procedure.model import Procedure
from benchflow.procedure.yaml_source.yaml_reader import MAX_BYTES
from benchflow.session.machine_folders import block_folders, machine_folders
from benchflow.writing.revisions.file_text import FileText
from benchflow.writing.revisions.yaml_places import PlacedNode, placed_nodes


class FileChanged(BenchflowError):
    """Another program or person changed the file after it was read."""


class EditedFile(Struct, frozen=True):
    """A file with an edited text. ``digest`` is the SHA-256 of its bytes when it was read."""

    path: Path
    digest: str
    text: FileText


class ProcedureFile(Struct, frozen=True, dict=True):
    """A procedure file as it was read. ``digest`` is the SHA-256 of its bytes then; ``text`` may be edited since.

    ``blocks`` are the files of blocks that are edited too.
    """

    path: Path
    digest: str
    text: FileText
    blocks: tuple[EditedFile, ...] = ()

    @cached_property
    def root(self) -> PlacedNode:
        """The tree of the text."""
        found = placed_nodes(self.text.plain)
        if found is None or found.kind != "mapping":
            raise BenchflowError(
                f"{self.path} is not a procedure in YAML. Correct it first: benchflow check {self.path}"
            )
        return found

    @cached_property
    def loaded(self) -> Loaded:
        """The procedure in the text, with its problems."""
        changed = tuple((block.path, block.text.data) for block in self.blocks)
        folders = tuple(replace(folder, changed=changed) for folder in self.block_folders)
        return read_text(self.text.raw, str(self.path), machine_folders().compiled, folders)

    @property
    def block_folders(self) -> tuple[BlockFolder, ...]:
        """The folders of the blocks that the procedure can use. They may not exist."""
        return (BlockFolder(self.path.parent / BLOCKS_FOLDER, "beside"), *block_folders())

    @cached_property
    def written_root(self) -> PlacedNode | None:
        """The tree of the text in which the blocks are written out; ``None`` if the file uses none."""
        return None if self.loaded.source_map is None else placed_nodes(self.loaded.text.replace("\r\n", "\n"))

    @property
    def procedure(self) -> Procedure:
        """The procedure in the text.

        Raises:
            BenchflowError: the text has an error.
        """
        if self.loaded.procedure is None:
            errors = [problem for problem in self.loaded.problems if problem.severity == "error"]
            first = errors[0] if errors else "it cannot be read"
            raise BenchflowError(
                f"{first} A procedure with an error is not revised. Correct it first: benchflow check {self.path}"
            )
        return self.loaded.procedure

    def with_text(self, text: FileText, block: EditedFile | None = None) -> "ProcedureFile":
        """The same file with another text, and with an edited block if one is given."""
        others = tuple(each for each in self.blocks if block is None or each.path != block.path)
        return ProcedureFile(self.path, self.digest, text, others if block is None else (*others, block))

    def block(self, path: Path) -> EditedFile:
        """The file of a block: as it is edited, or as it is on the disk.

        Raises:
            OSError: it cannot be read.
            UnicodeDecodeError: it is not UTF-8.
        """
        edited = next((each for each in self.blocks if each.path == path), None)
        if edited is not None:
            return edited
        data = read_regular_file(path, MAX_BYTES)
        return EditedFile(path, sha256(data).hexdigest(), FileText.of(data))

    def write(self) -> None:
        """Replace the file by the text, completely or not at all. A symbolic link stays a link.

        Edited blocks are written first, so that the revision never names a change that is not there. If the procedure
        cannot be written then, they are written back.

        Raises:
            FileChanged: a file on the disk is not the one that was read.
            BenchflowError: it cannot be written, and is unchanged, unless the message says otherwise.
        """
        old = [(block, _content(block.path)) for block in self.blocks]
        _refuse_other_content(self.path, self.digest)
        written: list[tuple[EditedFile, bytes]] = []
        try:
            for block, data in old:
                _write(block.path, block.digest, block.text.data)
                written.append((block, data))
            _write(self.path, self.digest, self.text.data)
        except _NotConfirmed:
            raise  # it is written all the same
        except BenchflowError as error:
            for block, data in written:
                try:
                    _write(block.path, sha256(block.text.data).hexdigest(), data)
                except BenchflowError as another:
                    raise BenchflowError(f"{error} The block {block.path} is changed already. {another}") from error
            raise

    def save_beside(self, revision: str) -> Path | None:
        """Write the text to a new file beside the procedure, so that nothing is lost; ``None`` if that fails too."""
        stem = "".join(char if char.isalnum() or char in ".-" else "-" for char in revision)[:40] or "next"
        path = self.path.with_name(f"{self.path.stem}.revision-{stem}{self.path.suffix}")
        number = 1
        while path.exists():
            number += 1
            path = self.path.with_name(f"{self.path.stem}.revision-{stem}-{number}{self.path.suffix}")
        with suppress(OSError):
            atomic_write(path, self.text.data)
            return path
        return None


class _NotConfirmed(BenchflowError):
    """The file was written, but the disk did not confirm it."""


def _write(path: Path, digest: str, data: bytes) -> None:
    """Replace the file by ``data``, if its content still has the ``digest``.

    Raises:
        FileChanged: it has another content.
        BenchflowError: it cannot be written, and is unchanged, unless the message says otherwise.
    """
    try:
        target = path.resolve(strict=True)
        if not stat.S_IMODE(target.stat().st_mode) & 0o222:
            raise BenchflowError(
                f"{path} is read-only. Nothing was written. Make it writable (chmod u+w), then try again."
            )
        atomic_write(target, data, before_replace=lambda: _refuse_other_content(path, digest))
    except Unconfirmed as error:
        raise _NotConfirmed(
            f"{path} was written, but the disk did not confirm it: {error.strerror}. Look at it."
        ) from error
    except FileNotFoundError as error:
        raise FileChanged(f"{path} was removed or renamed while it was revised.") from error
    except (OSError, RuntimeError) as error:  # RuntimeError: circular links
        reason = getattr(error, "strerror", None) or error
        raise BenchflowError(f"{path} cannot be written: {reason}. It is unchanged.") from error


def _refuse_other_content(path: Path, digest: str) -> None:
    if sha256(_content(path)).hexdigest() != digest:
        raise FileChanged(f"{path} was changed by another program while it was revised.")


def _content(path: Path) -> bytes:
    """The content of a file that was read before.

    Raises:
        FileChanged: it is not there any more.
        BenchflowError: it cannot be read.
    """
    try:
        return read_regular_file(path.resolve(), MAX_BYTES + 1)
    except FileNotFoundError as error:
        raise FileChanged(f"{path} was removed or renamed while it was revised.") from error
    except OSError as error:
        raise BenchflowError(f"{path} cannot be read: {error.strerror or error}. Nothing was written.") from error


def read_procedure_file(path: Path) -> ProcedureFile:
    """Read a procedure file for a revision.

    Raises:
        BenchflowError: the file cannot be read, is too large or is not UTF-8.
    """
    try:
        data = read_regular_file(path, MAX_BYTES + 1)
    except OSError as error:
        raise BenchflowError(f"{path} cannot be read: {error.strerror or error}.") from error
    if len(data) > MAX_BYTES:
        raise BenchflowError(f"{path} is larger than {MAX_BYTES // 1024} KiB. Check that this is the right file.")
    try:
        text = FileText.of(data)
    except UnicodeDecodeError as error:
        raise BenchflowError(f"{path} is not UTF-8 text. Save the file as UTF-8.") from error
    return ProcedureFile(path, sha256(data).hexdigest(), text)
