"""The folders of this machine: logs, settings, caches, and the procedures that come with the program.

Only :func:`make_folder` makes a folder.
"""

import os
from collections.abc import Mapping
from pathlib import Path

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.session.log.disk import Disk

HOME = "BENCHFLOW_HOME"
"""The one environment variable: everything is under the folder that it names."""


class Places(Struct, frozen=True):
    """The folders and files of this machine. None of them need exist."""

    data: Path
    config: Path
    cache: Path

    @property
    def sessions(self) -> Path:
        """Where logs go unless another folder is named."""
        return self.data / "sessions"

    @property
    def compiled(self) -> Path:
        """The cache of compiled procedures."""
        return self.cache / "procedures"

    @property
    def shop(self) -> Path:
        return self.config / "shop.yaml"


def places(environ: Mapping[str, str] | None = None) -> Places:
    """The folders of the platform, or those under ``BENCHFLOW_HOME``."""
    home = (os.environ if environ is None else environ).get(HOME)
    if home:
        root = Path(home).expanduser().absolute()
        return Places(root / "data", root / "config", root / "cache")
    from platformdirs import PlatformDirs  # late: not needed where the variable is set

    own = PlatformDirs("benchflow", appauthor=False)
    return Places(own.user_data_path, own.user_config_path, own.user_cache_path)


def make_folder(folder: Path) -> Path:
    """Make ``folder`` and its parents, durably: they survive a power cut. Returns ``folder``.

    Raises:
        BenchflowError: it cannot be made.
    """
    missing = [each for each in (folder, *folder.parents) if not each.exists()]
    try:
        for each in reversed(missing):
            each.mkdir(exist_ok=True)
            Disk().sync_folder(each.parent)
        if not folder.is_dir():
            raise NotADirectoryError(0, "it is a file")
    except OSError as wrong:
        raise BenchflowError(
            f"The folder {folder} cannot be made: {(wrong.strerror or str(wrong)).lower()}. "
            f"Choose another, or set {HOME}."
        ) from wrong
    return folder


def library() -> list[Path]:
    """The procedures that come with the program: in the installed package, or beside it in a checkout."""
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "shipped_procedures", package.parent / "procedures"):
        if folder.is_dir():
            return sorted(folder.glob("*.yaml"))
    return []
