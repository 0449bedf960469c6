"""Checks a procedure at each save: what is new, what is mended, what remains, and what can be started first."""

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Protocol

from benchflow.base.errors import BenchflowError
from benchflow.procedure.blocks.block_library import BlockLibrary
from benchflow.session.block_lookup import library_of_procedure
from benchflow.writing.checking.file_report import CheckFinding, FileReport, ShownPath, read_report, with_proof
from benchflow.writing.checking.finding_changes import FindingChanges, finding_changes
from benchflow.writing.checking.first_operations import FirstOperations, first_operations
from benchflow.writing.checking.settled_files import DOUBTFUL, SettledFiles


class CheckScreen(Protocol):
    """Shows the checks of a watched file to a person or a program."""

    def gone(self, why: str) -> None:
        """The file cannot be read now, for this reason."""
        ...

    def read(self, report: FileReport, changes: FindingChanges | None, saved: Sequence[Path]) -> None:
        """The file was read. ``changes`` are those since the last check, ``None`` at the first one.

        ``saved`` are the files that were saved, added or removed since.
        """
        ...

    def proven(self, report: FileReport, changes: FindingChanges | None, first: FirstOperations | None) -> None:
        """The check is complete. ``changes`` are those since the last proof, ``None`` at the first one."""
        ...

    def progress(self, phase: str, configurations: int) -> None:
        """The proof reports its progress."""
        ...


class _Saved(Exception):
    """The file was saved again during its proof."""


class WatchedCheck:
    """The check of one file at each save. ``ok`` is the answer of the last check that was complete."""

    def __init__(
        self, path: Path, screen: CheckScreen, shown: ShownPath, bound: int | None, files: SettledFiles | None = None
    ) -> None:
        self._path, self._screen, self._shown, self._bound = path, screen, shown, bound
        self._files = files or SettledFiles(path)
        self._read: list[CheckFinding] | None = None
        self._proven: list[CheckFinding] | None = None
        self._text: object = None
        self.ok = False

    def run(self, keep_on: Callable[[], bool] = lambda: True) -> None:
        """Check the file now and after each save, until ``keep_on`` returns false. It is called after each check."""
        self._files.settle()
        while True:
            self._files.look()
            self._check()
            if not keep_on():
                return
            self._files.wait_for_save()

    def _check(self) -> None:
        """Check the file, unless neither its content nor that of its blocks has changed."""
        try:
            report = read_report(self._path, self._shown)
        except BenchflowError as error:
            if not self._files.changed:
                self._text, self.ok = None, False
                self._screen.gone(str(error))
            return None
        library = library_of_procedure(self._path)
        self._files.watch(_files_of(library, report))
        if _any_error(report) and self._read is not None and self._files.quiet_for(DOUBTFUL):
            return self._check()  # it had been read half written
        text = _text_of(self._path, library, report)
        if text is not None and text == self._text:
            return None
        self._text = text
        changes = None if self._read is None else finding_changes(self._read, report.read)
        self._read = [*report.read, *(() if changes is None else changes.unseen)]
        self._screen.read(report, changes, self._files.taken_changes())
        return self._prove(report)

    def _prove(self, report: FileReport) -> None:
        """Prove the order. A save during the proof ends it: the file is then checked again."""

        def progress(phase: str, configurations: int) -> None:
            if self._files.changed:
                raise _Saved
            self._screen.progress(phase, configurations)

        try:
            proven = with_proof(report, self._shown, self._bound, progress)
        except _Saved:
            self._text = None
            return
        self.ok = proven.ok
        changes, first = None, None
        if proven.proof is not None and proven.loaded is not None and proven.loaded.procedure is not None:
            changes = None if self._proven is None else finding_changes(self._proven, [*proven.proven, *proven.advice])
            self._proven = [*proven.proven, *proven.advice]
            first = first_operations(proven.loaded.procedure)
        self._screen.proven(proven, changes, first)


def _any_error(report: FileReport) -> bool:
    return any(finding["severity"] == "error" for finding in report.read)


def _files_of(library: BlockLibrary, report: FileReport) -> Iterable[Path]:
    """The files and folders that the check depends on."""
    yield from report.used
    yield from (folder.path for folder in library.folders if folder.kind != "shipped")
    yield from (entry.path for entry in library.entries if entry.kind != "shipped")


def _text_of(path: Path, library: BlockLibrary, report: FileReport) -> object:
    """The content that was checked, to find out if a save has changed it; ``None`` if it cannot be read."""
    try:
        own = path.read_bytes()
    except OSError:
        return None
    return own, library.digest(), None if report.loaded is None else report.loaded.sha256
