"""The folders of this machine: logs, settings, caches, and the procedures that come with the program.

Only :func:`make_folder` makes a folder.
"""

import os
from collections.abc import Mapping
from pathlib import Path

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.procedure.blocks.block_folder import BlockFolder
from benchflow.session.log.disk import Disk

HOME = "BENCHFLOW_HOME"
"""The environment variable that names one folder for all files of the program."""


class MachineFolders(Struct, frozen=True):
    """The folders and files of this machine. They may not exist yet."""

    data: Path
    config: Path
    cache: Path

    @property
    def sessions(self) -> Path:
        """The default folder for logs."""
        return self.data / "sessions"

    @property
    def compiled(self) -> Path:
        """The cache of compiled procedures."""
        return self.cache / "procedures"

    @property
    def heads(self) -> Path:
        """The remembered heads of the logs that this machine closed or left."""
        return self.data / "heads.jsonl"

    @property
    def archive(self) -> Path:
        """The archive of this machine: an SQLite file."""
        return self.data / "archive.sqlite"

    @property
    def shop(self) -> Path:
        """The shop file: the register of people and instruments."""
        return self.config / "shop.yaml"

    @property
    def blocks(self) -> Path:
        """The shop's own blocks: one file for each."""
        return self.config / "blocks"


def machine_folders(environ: Mapping[str, str] | None = None) -> MachineFolders:
    """The folders of the platform, or those under ``BENCHFLOW_HOME``."""
    home = (os.environ if environ is None else environ).get(HOME)
    if home:
        try:
            root = Path(home).expanduser().absolute()
        except RuntimeError as error:  # no such user
            raise BenchflowError(f"{HOME} is {home!r}, and there is no such user. Name a folder.") from error
        return MachineFolders(root / "data", root / "config", root / "cache")
    from platformdirs import PlatformDirs  # late: not needed if the variable is set

    platform = PlatformDirs("benchflow", appauthor=False)
    return MachineFolders(platform.user_data_path, platform.user_config_path, platform.user_cache_path)


def make_folder(folder: Path) -> Path:
    """Make ``folder`` and its parents, and sync them to disk. Returns ``folder``.

    Raises:
        BenchflowError: the folder cannot be made.
    """
    missing = [path for path in (folder, *folder.parents) if not path.exists()]
    try:
        for path in reversed(missing):
            path.mkdir(exist_ok=True)
            Disk().sync_folder(path.parent)
        if not folder.is_dir():
            raise NotADirectoryError(0, "a file has this name")
    except OSError as error:
        raise BenchflowError(
            f"The folder {folder} cannot be made: {(error.strerror or str(error)).lower()}. "
            f"Choose another folder, or set {HOME}."
        ) from error
    return folder


def shipped_procedures() -> list[Path]:
    """The procedure files that come with the program."""
    folder = _shipped_folder()
    return [] if folder is None else sorted(folder.glob("*.yaml"))


def block_folders() -> tuple[BlockFolder, ...]:
    """The folders of the shop's blocks and of those that come with the program. They may not exist."""
    shop, shipped = BlockFolder(machine_folders().blocks, "shop"), _shipped_folder()
    return (shop,) if shipped is None else (shop, BlockFolder(shipped / "blocks", "shipped"))


def _shipped_folder() -> Path | None:
    """The folder of the shipped procedures, of the installed package or the source checkout."""
    package = Path(__file__).resolve().parent.parent
    folders = (package / "shipped_procedures", package.parent / "procedures")
    return next((folder for folder in folders if folder.is_dir()), None)
