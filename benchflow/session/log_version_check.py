"""Refuses a log whose format this version does not continue."""

from pathlib import Path

from benchflow.base.errors import BenchflowError
from benchflow.quantity.types import printable
from benchflow.session.log.line_format import read
from benchflow.session.log.log_folder import why_not_a_file
from benchflow.session.state.events import FORMAT


def refuse_other_format(path: Path) -> None:
    """Refuse a log of another format before it is opened for writing, so that it stays unchanged.

    Raises:
        BenchflowError: the log has another format.
    """
    if why_not_a_file(path):
        return  # the journal reports it
    try:
        with path.open("rb") as file:
            first = read(file.readline()).lines
    except OSError:
        return  # the journal reports the error
    if not first or first[0].kind != "opened" or first[0].data.get("format", 1) == FORMAT:
        return
    version = printable(str(first[0].data.get("version", "")))
    raise BenchflowError(
        f"{path} was written by benchflow {version}. It can be viewed, not continued. "
        f"View it with: benchflow log '{path}'"
    )
