"""Finds block files by id, in the folders of a procedure, of the shop and of the program."""

from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

from msgspec import Struct

from benchflow.base.regular_file import read_regular_file
from benchflow.procedure.blocks.block_folder import BlockFolder, FolderKind
from benchflow.procedure.yaml_source.yaml_reader import MAX_BYTES

if TYPE_CHECKING:
    from benchflow.procedure.blocks.block_file import Block

SUFFIXES = (".yaml", ".yml")
MOST_FILES = 1000
"""The largest number of block files that are read from one folder."""


LEAST_OF_A_VERSION = 20
"""A folder beside a procedure with this many shipped ids is taken as a copy of the shipped blocks. (Own rule.)"""
MOST_CHANGED = 5
"""If more blocks of such a copy differ, it is a copy of another version. (Own rule.)"""


class BlockEntry(Struct, frozen=True):
    """A block file that was found. ``data`` is ``None`` if it cannot be read, for the reason in ``error``."""

    id: str
    path: Path
    kind: FolderKind
    data: bytes | None
    sha256: str
    error: str = ""


class BlockLibrary:
    """The blocks in several folders. A folder that is named twice counts once, with its last kind."""

    def __init__(self, folders: tuple[BlockFolder, ...]) -> None:
        unique: dict[Path, BlockFolder] = {}
        for folder in folders:
            unique[_resolved(folder.path)] = folder
        self.folders = tuple(unique.values())
        self.entries = tuple(entry for folder in self.folders for entry in _entries(folder))
        self._by_id: dict[str, list[BlockEntry]] = {}
        for entry in self.entries:
            self._by_id.setdefault(entry.id, []).append(entry)
        self._read: dict[Path, Block] = {}
        self.other_version = self._other_version()

    def _other_version(self) -> frozenset[str]:
        """The ids of the blocks beside the procedure that differ from the shipped ones, if they are of another version.

        The folder is of another version if it has most of the shipped ids, and more than a few of these blocks differ
        without `replaces`. A person who changed only a few has to write `replaces` in each.
        """
        beside = {entry.id: entry for entry in self.entries if entry.kind == "beside"}
        shipped = {entry.id: entry for entry in self.entries if entry.kind == "shipped"}
        common = beside.keys() & shipped.keys()
        if len(common) < max(LEAST_OF_A_VERSION, len(shipped) // 2):
            return frozenset()
        differ = {
            name for name in common
            if beside[name].sha256 != shipped[name].sha256 and b"\nreplaces:" not in (beside[name].data or b"")
        }  # fmt: skip
        return frozenset(differ) if len(differ) > MOST_CHANGED else frozenset()

    @property
    def ids(self) -> list[str]:
        """The ids of all blocks, sorted."""
        return sorted(self._by_id)

    def digest(self) -> bytes:
        """A digest of the names and contents of all files. It changes when any block changes."""
        digest = sha256()
        for entry in self.entries:
            digest.update(
                f"{entry.kind}\0{entry.path}\0{entry.sha256}\0{entry.error}\n".encode("utf-8", "surrogateescape")
            )
        return digest.digest()

    def entries_of(self, name: str) -> list[BlockEntry]:
        """The files of the block ``name``, the one of the procedure's folder first. Of equal files only the first."""
        found: dict[str, BlockEntry] = {}
        for entry in self._by_id.get(name, ()):
            if entry.kind == "shipped" and name in self.other_version:
                continue
            found.setdefault(entry.sha256 or str(entry.path), entry)
        return list(found.values())

    def read(self, entry: BlockEntry) -> "Block":
        """Parse the block of an entry that could be read. A block is parsed once."""
        from benchflow.procedure.blocks.block_file import read_block  # late: the digest needs no YAML parser

        if entry.path not in self._read:
            self._read[entry.path] = read_block(entry.data or b"", str(entry.path), entry.id, entry.sha256)
        return self._read[entry.path]

    def with_block(self, block: "Block") -> "BlockLibrary":
        """This library with ``block`` in place of all blocks with its id."""
        other = BlockLibrary(())
        path = Path(block.file)
        entry = BlockEntry(block.id, path, "beside", b"", block.sha256)
        other.folders = self.folders
        other.entries = (entry, *(each for each in self.entries if each.id != block.id))
        other._by_id = {**self._by_id, block.id: [entry]}
        other._read = {**self._read, path: block}
        return other


def _resolved(path: Path) -> Path:
    try:
        return path.resolve()
    except (OSError, RuntimeError):
        return path.absolute()


def _entries(folder: BlockFolder) -> list[BlockEntry]:
    try:
        paths = sorted(path for path in folder.path.iterdir() if path.suffix in SUFFIXES)[:MOST_FILES]
    except OSError:
        return []
    changed = {path.resolve(): data for path, data in folder.changed}
    return [_entry(path, folder.kind, changed) for path in paths]


def _entry(path: Path, kind: FolderKind, changed: dict[Path, bytes]) -> BlockEntry:
    try:
        data = (
            changed[path.resolve()] if changed and path.resolve() in changed else read_regular_file(path, MAX_BYTES + 1)
        )
    except OSError as error:
        return BlockEntry(path.stem, path, kind, None, "", error.strerror or str(error))
    return BlockEntry(path.stem, path, kind, data, sha256(data).hexdigest())
