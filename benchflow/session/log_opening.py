"""Opens the log of a job to continue it, and refuses a log that this version cannot continue."""

from collections.abc import Sequence
from pathlib import Path

from benchflow.base.errors import BenchflowError
from benchflow.quantity.types import printable
from benchflow.session.log.journal import Journal
from benchflow.session.log.line_format import Line, read
from benchflow.session.log.log_folder import TEARDOWN_OPENED, why_not_a_file
from benchflow.session.state.events import EVENT_TYPES, FORMAT


class NoEvent(BenchflowError):
    """The log has no complete event, so no job was started in it."""


def open_job_log(path: Path, *, read_only: bool) -> Journal:
    """Open the log of a job. It has at least one line, and only events that this version knows.

    Raises:
        NoEvent: the log has no complete event. An incomplete first one was moved to a separate file.
        BenchflowError: the log does not exist, is not the log of a job, has another format, or has an event that this
            version cannot read.
    """
    refuse_other_format(path)
    journal = Journal.open(path, read_only=read_only)
    try:
        if not journal.lines:
            raise _without_lines(journal)
        _refuse_unknown_events(path, list(journal.lines))
    except BenchflowError:
        journal.close()
        raise
    return journal


def _without_lines(journal: Journal) -> BenchflowError:
    """The error for a log without a valid line."""
    path, damage = journal.path, journal.damage
    if damage is None:
        return NoEvent(f"{path} has no complete event. No job was started in it; start a new one.")
    if not journal.untrusted and journal.changed is None:
        return BenchflowError(
            f"{path} is not a log of benchflow: line 1 {damage.what}. It was not changed. "
            "Name a log, or a file that does not exist yet."
        )
    return BenchflowError(
        f"{path}: line 1 {damage.what}. {len(journal.untrusted)} lines after it can be read, but are not trusted. "
        f"Show them with: benchflow log '{path}'. Continue the job with: benchflow run --continue-from '{path}'"
    )


def _refuse_unknown_events(path: Path, lines: Sequence[Line]) -> None:
    if lines[0].kind == TEARDOWN_OPENED:
        raise BenchflowError(
            f"{path} is the log of a teardown, not of a job. Continue it with: benchflow teardown '{path}'"
            f", or benchflow drive --teardown --log '{path}'"
        )
    unknown = next((line for line in lines if line.kind not in EVENT_TYPES), None)
    if unknown is not None:
        raise BenchflowError(
            f"{path}: line {unknown.seq} has an unknown kind of event ({printable(unknown.kind)}). "
            "A newer version wrote it. The log can be viewed, not continued."
        )


def refuse_other_format(path: Path) -> None:
    """Refuse a log of another format before it is opened for writing, so that it stays unchanged.

    Raises:
        BenchflowError: the log has another format.
    """
    first = first_line_of(path)
    if first is None or first.kind != "opened" or first.data.get("format", 1) == FORMAT:
        return
    version = printable(str(first.data.get("version", "")))
    raise BenchflowError(
        f"{path} was written by benchflow {version}. It can be viewed, not continued. "
        f"View it with: benchflow log '{path}'"
    )


def first_line_of(path: Path) -> Line | None:
    """The first line of a log; ``None`` if it is damaged or cannot be read, which the journal reports."""
    if why_not_a_file(path):
        return None
    try:
        with path.open("rb") as file:
            return next(iter(read(file.readline()).lines), None)
    except OSError:
        return None
