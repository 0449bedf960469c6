"""Finds the files that command-line arguments name: a procedure by path or name, a log by path or part of its name.

An error message suggests the most similar name that exists.
"""

from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Literal

from benchflow.base.errors import BenchflowError
from benchflow.commands.console_output import display_path, print_message
from benchflow.session.catalog import file_name_part
from benchflow.session.log.log_folder import SUFFIX, is_teardown_log
from benchflow.session.machine_folders import machine_folders, shipped_procedures

PROCEDURE_SUFFIXES = (".yaml", ".yml")


class NotFound(BenchflowError):
    """No file has that name."""


class Ambiguous(NotFound):
    """Several files match that name."""


def exists(path: Path) -> bool:
    """True if there is a file or folder at ``path``. False for a name that the system does not take."""
    try:
        return path.exists()
    except (OSError, ValueError):  # too long, or with a character that no name can have
        return False


def find_log(name: str, folder: Path | None = None, kind: Literal["job", "teardown", "any"] = "job") -> Path:
    """The log with this path, or the only one in the log folder whose file name contains ``name``.

    ``name`` can be the unit as it was typed: ``job 7`` finds a file with ``job-7``. If several logs match, such as the
    job and the teardown of one unit, those of another ``kind`` do not count. Of ``any``, the job counts,
    and the teardown is named.

    Raises:
        NotFound: no log matches, or several do (:class:`Ambiguous`).
    """
    path = Path(name)
    if exists(path):
        return path
    logs = _logs(folder)
    parts = {name.casefold(), file_name_part(name, name).casefold()}
    matches = [log for log in logs if any(part in log.name.casefold() for part in parts)]
    if len(matches) > 1 and kind != "any":
        matches = [log for log in matches if is_teardown_log(log) == (kind == "teardown")] or matches
    if len(matches) > 1 and kind == "any":
        jobs = [log for log in matches if not is_teardown_log(log)]
        if len(jobs) == 1:
            others = ", ".join(display_path(log) for log in matches if log not in jobs)
            print_message(f"{name!r} names a teardown too: {others}")
            return jobs[0]
    if len(matches) == 1:
        return matches[0]
    if matches:
        raise Ambiguous(f"{name!r} matches {len(matches)} logs: {_first_names(matches)}. Type more of the name.")
    raise NotFound(f"There is no log {name}.{_suggestion(name, [*_files_beside(path, (SUFFIX,)), *logs])}")


def find_procedure(name: str) -> Path:
    """The procedure with this path, or the shipped one with this name.

    Raises:
        NotFound: no procedure matches, or the file is a log.
    """
    path = Path(name)
    if exists(path):
        if path.suffix == SUFFIX and _is_log(path):
            kind = "teardown" if is_teardown_log(path) else "job"
            raise NotFound(f"{path} is the log of a {kind}, not a procedure. Show it with: benchflow log '{path}'")
        return path
    shipped = shipped_procedures()
    for candidate in shipped:
        if name in (candidate.stem, candidate.name):
            return candidate
    candidates = [*_files_beside(path, PROCEDURE_SUFFIXES), *shipped]
    raise NotFound(f"There is no procedure {name}.{_suggestion(name, candidates)}")


def _is_log(path: Path) -> bool:
    from benchflow.session.log_opening import first_line_of  # imported late: procedures do not need it

    return first_line_of(path) is not None


def find_procedure_or_log(name: str, folder: Path | None = None) -> Path:
    """The procedure or the log with this path or name. A procedure is tried first.

    Raises:
        NotFound: nothing matches, or several logs do (:class:`Ambiguous`).
    """
    path = Path(name)
    if exists(path):
        return path
    with suppress(NotFound):
        return find_procedure(name)
    try:
        return find_log(name, folder)
    except Ambiguous:
        raise
    except NotFound:
        pass  # the message below suggests both kinds
    candidates = [*shipped_procedures(), *_logs(folder), *_files_beside(path, (*PROCEDURE_SUFFIXES, SUFFIX))]
    raise NotFound(f"There is no procedure and no log {name}.{_suggestion(name, candidates)}")


def log_paths(names: Iterable[Path], *, teardowns: bool = False) -> list[Path]:
    """The logs that are named, and all logs in the folders that are named. ``teardowns``: also those of teardowns.

    Raises:
        NotFound: a name matches no log, or several (:class:`Ambiguous`).
        BenchflowError: a name leads to a pipe or a device.
    """
    from benchflow.review.log.log_file import logs_under, regular_file

    paths: list[Path] = []
    for name in names:
        paths += logs_under(name, teardowns=teardowns) if name.is_dir() else [regular_file(find_log(str(name)))]
    return paths


def _logs(folder: Path | None) -> list[Path]:
    return sorted((folder or machine_folders().sessions).glob(f"*{SUFFIX}"))


def _files_beside(path: Path, suffixes: tuple[str, ...]) -> list[Path]:
    """The files in the folder of ``path`` that have one of ``suffixes``."""
    try:
        return sorted(file for file in path.parent.iterdir() if file.suffix in suffixes)
    except OSError:
        return []


def _first_names(paths: list[Path]) -> str:
    return ", ".join(path.name for path in paths[:5]) + (", ..." if len(paths) > 5 else "")


def _suggestion(name: str, candidates: list[Path]) -> str:
    from benchflow.procedure.problems import nearest

    by_name = {path.stem: path for path in candidates} | {path.name: path for path in candidates}
    near = nearest(Path(name).name, by_name)
    return f" Did you mean {by_name[near].name}?" if near is not None else ""
