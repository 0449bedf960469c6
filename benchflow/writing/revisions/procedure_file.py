"""A procedure file under revision: its bytes, its text, its tree, and the procedure in it."""

import stat
from contextlib import suppress
from functools import cached_property
from hashlib import sha256
from pathlib import Path

from msgspec import Struct

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


class ProcedureFile(Struct, frozen=True, dict=True):
    """A procedure file as it was read. ``digest`` is the SHA-256 of its bytes then; ``text`` may be edited since."""

    path: Path
    digest: str
    text: FileText

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
        beside = BlockFolder(self.path.parent / BLOCKS_FOLDER, "beside")
        return read_text(self.text.raw, str(self.path), machine_folders().compiled, (beside, *block_folders()))

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

    def with_text(self, text: FileText) -> "ProcedureFile":
        """The same file with another text."""
        return ProcedureFile(self.path, self.digest, text)

    def write(self) -> None:
        """Replace the file by the text, completely or not at all. A symbolic link stays a link.

        Raises:
            FileChanged: the file on the disk is not the one that was read.
            BenchflowError: it cannot be written, and is unchanged, unless the message says otherwise.
        """
        try:
            target = self.path.resolve(strict=True)
            if not stat.S_IMODE(target.stat().st_mode) & 0o222:
                raise BenchflowError(
                    f"{self.path} is read-only. Nothing was written. Make it writable (chmod u+w), then try again."
                )
            atomic_write(target, self.text.data, before_replace=self._refuse_other_content)
        except Unconfirmed as error:
            raise BenchflowError(
                f"{self.path} was written, but the disk did not confirm it: {error.strerror}. Check its content."
            ) from error
        except FileNotFoundError as error:
            raise FileChanged(f"{self.path} was removed or renamed while it was revised.") from error
        except (OSError, RuntimeError) as error:  # RuntimeError: circular links
            reason = getattr(error, "strerror", None) or error
            raise BenchflowError(f"{self.path} cannot be written: {reason}. It is unchanged.") from error

    def _refuse_other_content(self) -> None:
        if sha256(read_regular_file(self.path.resolve(), MAX_BYTES + 1)).hexdigest() != self.digest:
            raise FileChanged(f"{self.path} was changed by another program while it was revised.")

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
