"""Finds log files and reads the facts of one. A log is only read, and a locked log does not block the reader."""

from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.base.regular_file import read_regular_file
from benchflow.review.log.facts import Facts
from benchflow.review.log.interpretation import NotASession, PlanOf, interpret
from benchflow.review.log.versions import is_newer
from benchflow.session.log.line_format import Line, read
from benchflow.session.log.log_folder import (
    NOT_A_JOB,
    SUFFIX,
    TEARDOWN_OPENED,
    SkippedFile,
    folder_content,
    is_teardown_log,
    read_or_skip,
    why_not_a_file,
)


class NoLog(BenchflowError):
    """The file is missing, or is not the log of a session."""


class Unusable(Struct, frozen=True):
    """The reason why a file is left out of the archive, as a clause that follows its path."""

    why: str


def regular_file(path: Path) -> Path:
    """``path``, if it is a regular file or missing.

    Raises:
        NoLog: it is a folder, a pipe or a device. Pipes and devices would block the reader.
    """
    if path.is_dir():
        raise NoLog(f"{path} is a folder. Name the log of one session.")
    if path.exists() and not path.is_file():
        raise NoLog(f"{path} is not a regular file. Name the log of one session.")
    return path


def verified_facts(data: bytes, plan_of: PlanOf) -> Facts | Unusable:
    """The facts of a log, if every line verifies; otherwise the reason why it is unusable."""
    found = read(data)
    if found.damage is not None:
        return Unusable(f"does not verify: line {found.damage.line} {found.damage.what}")
    try:
        interpretation = interpret(found.lines, plan_of)
    except NotASession as error:
        return Unusable(unreadable_reason(found.lines, str(error)))
    opened = interpretation.state.opened
    if sha256(opened.procedure.encode()).hexdigest() != opened.procedure_sha256:
        return Unusable("does not verify: the SHA-256 in line 1 does not match the text of its procedure")
    return interpretation.facts


def unreadable_reason(lines: Sequence[Line], problem: str) -> str:
    """The reason why the lines are not a session, as a clause that follows the path of the file."""
    version = lines[0].data.get("version") if lines else None
    if isinstance(version, str) and is_newer(version):
        return f"was written by a newer version ({version}) and cannot be read by this one: {problem}"
    if lines and lines[0].kind == TEARDOWN_OPENED:
        return NOT_A_JOB
    return f"is not the log of a session: {problem}"


def logs_under(folder: Path, *, teardowns: bool = False) -> list[Path]:
    """Every entry named like a log in a folder and its subfolders, in the order of their paths.

    Logs of teardowns are left out unless ``teardowns`` is true, because they are not jobs. Entries and subfolders that
    cannot be read are in the list. :func:`read_log_file` gives the reason.

    Raises:
        NoLog: there is no such folder, or it cannot be read.
    """
    if not folder.is_dir():
        raise NoLog(f"There is no folder {folder}.")
    try:
        content = folder_content(folder, subfolders=True)
    except OSError as error:
        raise NoLog(f"The folder {folder} cannot be read: {error.strerror}.") from error
    logs = [path for path in content.logs if teardowns or not is_teardown_log(path)]
    return sorted([*logs, *(file.path for file in content.skipped)])


def why_skipped(path: Path) -> str:
    """The reason why a path from :func:`logs_under` is not read, as a clause that follows it; "" if it is a file."""
    why = why_not_a_file(path)
    return "is a folder that cannot be read" if why and path.suffix != SUFFIX and path.is_dir() else why


def read_log_file(path: Path) -> bytes | Unusable:
    """The content of one file of a list; or the reason why it cannot be read."""
    why = why_skipped(path)
    if why:
        return Unusable(why)
    data = read_or_skip(path, read_regular_file)
    return Unusable(data.why) if isinstance(data, SkippedFile) else data


def facts_of_file(path: Path, data: bytes, plan_of: PlanOf) -> Facts | Unusable:
    """The facts of one file of a list, with the content ``data``; or the reason why it is unusable. Never raises."""
    found = read_or_skip(path, lambda _: verified_facts(data, plan_of))
    return Unusable(found.why) if isinstance(found, SkippedFile) else found
