"""Where blocks are: the folders that are searched, and the blocks that a procedure uses."""

import re
from pathlib import Path
from typing import Literal

from msgspec import Struct

FolderKind = Literal["beside", "shop", "shipped"]
FOLDER_NAMES: dict[FolderKind, str] = {
    "beside": "beside the procedure", "shop": "of the shop", "shipped": "shipped with benchflow"
}  # fmt: skip
_use_key = re.compile(r"(?<![\w-])use['\"]?[ \t]*:")


class BlockFolder(Struct, frozen=True):
    """A folder of block files. It may not exist.

    ``changed`` are the contents of files as they will be written: they are read instead of those on the disk.
    """

    path: Path
    kind: FolderKind
    changed: tuple[tuple[Path, bytes], ...] = ()


class UsedBlock(Struct, frozen=True):
    """A block that a procedure uses, directly or through another block. ``kind`` is that of its folder."""

    id: str
    sha256: str
    file: str
    kind: str = ""


def may_use_blocks(text: str) -> bool:
    """True if the text can contain the key `use`, so that it has to be parsed to find out."""
    return _use_key.search(text) is not None
