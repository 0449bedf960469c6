"""The file of a build sheet beside its log. Another file with that name is never overwritten."""

from pathlib import Path

from benchflow.base.atomic_write import Unconfirmed, atomic_write
from benchflow.base.errors import BenchflowError
from benchflow.base.regular_file import read_regular_file
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.sheets.build_sheet import build_sheet
from benchflow.review.sheets.build_sheet_html import build_sheet_html

_START = b"<title>Build sheet: "
_NEAR_START = 65_536  # bytes
_ELSEWHERE = "Name another file with: benchflow sheet -o FILE"


def sheet_path(log: Path) -> Path:
    """The path of the build sheet beside ``log``: the same name with the suffix ``.html``.

    Raises:
        BenchflowError: there is a file with that name that is not a build sheet, or it cannot be read.
    """
    path = log.with_suffix(".html")
    try:
        free = not path.exists() or (path.is_file() and _START in read_regular_file(path, _NEAR_START))
    except OSError as error:
        raise BenchflowError(f"{path} cannot be read: {error.strerror}. {_ELSEWHERE}") from error
    if not free:
        raise BenchflowError(f"{path} exists and is not a build sheet. {_ELSEWHERE}")
    return path


def write_sheet(log: LoadedLog) -> Path:
    """Make the build sheet beside the log, and return its path.

    Raises:
        BenchflowError: the file cannot be written, or is not a build sheet.
    """
    path = sheet_path(Path(log.path))
    try:
        atomic_write(path, build_sheet_html(build_sheet(log)).encode())
    except Unconfirmed as error:
        raise BenchflowError(f"{path} was written, but the disk did not confirm it: {error.strerror}.") from error
    except OSError as error:
        raise BenchflowError(f"{path} cannot be written: {error.strerror}. {_ELSEWHERE}") from error
    return path
