"""Looks at the first line of a log before it is opened: refuses a format that this version does not continue."""

from pathlib import Path

from benchflow.base.errors import BenchflowError
from benchflow.quantity.types import printable
from benchflow.session.log.line_format import Line, read
from benchflow.session.log.log_folder import why_not_a_file
from benchflow.session.state.events import FORMAT


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
