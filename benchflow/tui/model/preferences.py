"""Preferences of the user: the theme, large type, and who signed last."""

from contextlib import suppress
from pathlib import Path

import msgspec
from msgspec import Struct

from benchflow.base.atomic_write import atomic_write
from benchflow.base.errors import BenchflowError
from benchflow.base.regular_file import read_regular_file

FILE = "bench.json"


class PreferenceData(Struct):
    """The content of the preferences file. The name of the theme is empty if none was chosen.

    ``signers`` has the last signer by procedure and role.
    """

    bench_theme: str = ""
    large: bool = False
    signers: dict[str, str] = {}


class Preferences:
    """The preferences, kept in a file in ``folder``. A file that cannot be read or written is ignored."""

    def __init__(self, folder: Path | None) -> None:
        self._path = None if folder is None else folder / FILE
        self._data = PreferenceData()
        if self._path is not None:
            with suppress(OSError, msgspec.DecodeError, UnicodeDecodeError, RecursionError):
                self._data = msgspec.json.decode(read_regular_file(self._path), type=PreferenceData)

    @property
    def bench_theme(self) -> str:
        """The name of the last chosen theme, or an empty string."""
        return self._data.bench_theme

    @property
    def large(self) -> bool:
        """True if the bench is drawn in large type."""
        return self._data.large

    def save(self, *, bench_theme: str | None = None, large: bool | None = None) -> None:
        """Change the preferences that are given, and write the file."""
        if bench_theme is not None:
            self._data.bench_theme = bench_theme
        if large is not None:
            self._data.large = large
        self._write()

    def signer(self, procedure: str, role: str) -> str:
        """Return who signed last for this role in a job of this procedure; empty if nobody did."""
        return self._data.signers.get(f"{procedure} {role}", "")

    def remember_signer(self, procedure: str, role: str, name: str) -> None:
        """Note who signed for this role in a job of this procedure, and write the file."""
        if self.signer(procedure, role) != name:
            self._data.signers[f"{procedure} {role}"] = name
            self._write()

    def _write(self) -> None:
        if self._path is None:
            return
        from benchflow.session.machine_folders import make_folder

        try:
            make_folder(self._path.parent)
            atomic_write(self._path, msgspec.json.encode(self._data), durable=False)
        except (OSError, BenchflowError):
            return
