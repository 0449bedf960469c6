"""Prints the checks of ``check --watch``: at each save what is new, what is mended, what remains."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from benchflow.base.plaintext import listed
from benchflow.commands.check_text import (
    TO_FILL_CODE,
    causes_first,
    finding_lines,
    summary,
    to_fill_sentence,
    without_hint,
)
from benchflow.commands.console_output import display_path, print_json, print_message, print_wrapped
from benchflow.commands.exit_codes import PROBLEM_FOUND, SUCCESS
from benchflow.commands.progress_line import ProgressLine

if TYPE_CHECKING:
    from benchflow.writing.checking.file_report import CheckFinding, FileReport
    from benchflow.writing.checking.finding_changes import FindingChanges
    from benchflow.writing.checking.first_operations import FirstOperations

_MOST_FIRST = 4
"""The largest number of first operations that are named. The others are counted."""

_MOST_SHOWN = 15
"""The most new and the most mended findings that are shown at one save. The others are counted; `check` lists all."""


def check_at_save(path: Path, bound: int | None, *, as_json: bool) -> int:
    """Check the file now and at each save, until Ctrl+C. Returns the exit code of the last check."""
    from benchflow.writing.checking.watched_check import WatchedCheck

    screen = _JsonLines(path) if as_json else _WatchLines(path)
    watched = WatchedCheck(path, screen, display_path, bound)
    try:
        watched.run()
    except KeyboardInterrupt:
        screen.line.clear()
        print_message("")
    return SUCCESS if watched.ok else PROBLEM_FOUND


class _WatchLines:
    """Prints each check as lines of text."""

    def __init__(self, path: Path) -> None:
        self.file, self.name = display_path(path), path.name
        self.line = ProgressLine()
        self._again = False

    def gone(self, why: str) -> None:
        self._heading("cannot be read")
        self._print([why, "Waiting for it to come back."])

    def read(self, report: "FileReport", changes: "FindingChanges | None", saved: Sequence[Path]) -> None:
        self.line = ProgressLine()
        if changes is None:
            self._print(_first_lines(self.file, report.read))
        else:
            self._heading("saved", saved)
            self._print(_change_lines(self.file, changes))

    def proven(self, report: "FileReport", changes: "FindingChanges | None", first: "FirstOperations | None") -> None:
        self.line.clear()
        if changes is not None:
            self._print(_change_lines(self.file, changes))
        else:
            self._print(_first_lines(self.file, [*report.proven, *report.advice]))
        if self._again:
            self._print([f"remain: {_counted(report.findings)}"])
        json = report.as_json()
        self._print([f"{self.file}: {summary(json, report.proof)}"])
        if first is not None:
            self._print([_first_text(first)])
        if not self._again:
            self._again = True
            blocks = f" and {len(report.used)} block file{'s' if len(report.used) > 1 else ''}" if report.used else ""
            self._print([f"Watching {self.file}{blocks}. Ctrl+C ends it."])

    def progress(self, phase: str, configurations: int) -> None:
        self.line.show(f"{configurations:,} configurations explored; {phase}: {self.name}")

    def _heading(self, what: str, saved: Sequence[Path] = ()) -> None:
        self.line.clear()
        names = listed([display_path(path) for path in saved] or [self.file], "and")
        self._print(["", f"{datetime.now():%H:%M:%S}  {names} {what}"])

    def _print(self, lines: Sequence[str] | Iterator[str]) -> None:
        print_wrapped(lines)
        _flush()


class _JsonLines:
    """Prints each check as one JSON object: the report, with what is new, mended and remaining since the last one."""

    def __init__(self, path: Path) -> None:
        self.file = display_path(path)
        self.line = ProgressLine()
        self._changes: FindingChanges | None = None
        self._saved: Sequence[Path] = ()

    def gone(self, why: str) -> None:
        print_json({"file": self.file, "ok": False, "gone": why})

    def read(self, report: "FileReport", changes: "FindingChanges | None", saved: Sequence[Path]) -> None:
        self._changes, self._saved = changes, saved

    def proven(self, report: "FileReport", changes: "FindingChanges | None", first: "FirstOperations | None") -> None:
        parts = [one for one in (self._changes, changes) if one is not None]
        since = {
            name: [finding for one in parts for finding in getattr(one, name)] for name in ("new", "mended", "reworded")
        }
        saved = [display_path(path) for path in self._saved]
        remaining = len(report.findings) - len(since["new"])
        print_json({**report.as_json(), "saved": saved, **since, "remaining": remaining, "first": first})

    def progress(self, phase: str, configurations: int) -> None:
        """Show nothing: standard output is for programs."""


def _flush() -> None:
    import sys

    sys.stdout.flush()


def _first_lines(file: str, findings: Sequence["CheckFinding"]) -> Iterator[str]:
    shown, more = causes_first(findings)
    for finding in shown:
        if finding["code"] != TO_FILL_CODE:
            yield from finding_lines(file, finding)
    if more:
        yield f"{file}: error: {more}. [unreachable-operation]"
    asked = [finding for finding in findings if finding["code"] == TO_FILL_CODE]
    if asked:
        yield f"{file}:{asked[0]['line']}:{asked[0]['column']}: note: {to_fill_sentence(asked)}. [{TO_FILL_CODE}]"


def _change_lines(file: str, changes: "FindingChanges") -> Iterator[str]:
    """New and mended findings, each with its place, at most :data:`_MOST_SHOWN` of each."""
    new, more_new = causes_first(changes.new)
    mended, more_mended = causes_first(changes.mended)
    for title, findings in (("new", new), ("still", changes.reworded)):
        for finding in findings[:_MOST_SHOWN]:
            first, *more = finding_lines(file, finding)
            yield f"{title}: {first}"
            yield from more
        if len(findings) > _MOST_SHOWN:
            yield f"{title}: {len(findings) - _MOST_SHOWN} more"
    if more_new:
        yield f"new: error: {more_new}. [unreachable-operation]"
    for finding in mended[:_MOST_SHOWN]:
        where = f" in {finding['where']}" if finding["where"] else ""
        yield f"mended: {finding['severity']}{where}: {without_hint(finding['message'])} [{finding['code']}]"
    if more_mended:
        yield f"mended: error: {more_mended}. [unreachable-operation]"
    if len(mended) > _MOST_SHOWN:
        yield f"mended: {len(mended) - _MOST_SHOWN} more"


def _counted(findings: Sequence["CheckFinding"]) -> str:
    """The number of findings by severity: ``1 error, 2 notes``; ``nothing``."""
    severities = [finding["severity"] for finding in findings]
    counts = {name: severities.count(name) for name in ("error", "warning", "note")}
    return (
        ", ".join(f"{count} {name}{'s' if count > 1 else ''}" for name, count in counts.items() if count) or "nothing"
    )


def _first_text(first: "FirstOperations") -> str:
    """What the bench shows at the start: ``First at the bench: 1 Guard off; 3 Drain the oil; and 2 more``."""
    supposed = f" (with {', '.join(first.supposed)})" if first.supposed else ""
    if not first.ready:
        return f"First at the bench{supposed}: nothing can be started. {first.reason}"
    more = len(first.ready) - _MOST_FIRST
    names = [*first.ready[:_MOST_FIRST], *([f"and {more} more"] if more > 0 else [])]
    return f"First at the bench{supposed}: {'; '.join(names)}. {first.blocked} wait for other operations."
