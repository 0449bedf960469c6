"""Finds the file that a command-line argument names: a procedure by path or name, a log by path or part of its name.

An error message suggests the nearest name that exists.
"""

from contextlib import suppress
from pathlib import Path

from benchflow.base.errors import BenchflowError
from benchflow.session.catalog import SUFFIX
from benchflow.session.machine_folders import library, places

PROCEDURE_SUFFIXES = (".yaml", ".yml")


class NotFound(BenchflowError):
    """No file has that name."""


class Ambiguous(NotFound):
    """Several files match that name."""


def find_log(name: str, folder: Path | None = None) -> Path:
    """The log with this path, or the only one in the log folder whose file name contains ``name``.

    Raises:
        NotFound: there is none, or more than one (:class:`Ambiguous`).
    """
    path = Path(name)
    if path.exists():
        return path
    logs = _logs(folder)
    found = [log for log in logs if name.casefold() in log.name.casefold()]
    if len(found) == 1:
        return found[0]
    if found:
        raise Ambiguous(f"{name!r} matches {len(found)} logs: {_some(found)}. Type more of the name.")
    raise NotFound(f"There is no log {name}.{_near(name, [*_beside(path, (SUFFIX,)), *logs])}")


def find_procedure(name: str) -> Path:
    """The procedure with this path, or the supplied one of this name.

    Raises:
        NotFound: there is none.
    """
    path = Path(name)
    if path.exists():
        return path
    shipped = library()
    for candidate in shipped:
        if name in (candidate.stem, candidate.name):
            return candidate
    raise NotFound(f"There is no procedure {name}.{_near(name, [*_beside(path, PROCEDURE_SUFFIXES), *shipped])}")


def find_either(name: str, folder: Path | None = None) -> Path:
    """The procedure or log that ``name`` names.

    Raises:
        NotFound: there is none, or more than one log matches (:class:`Ambiguous`).
    """
    path = Path(name)
    if path.exists():
        return path
    with suppress(NotFound):
        return find_procedure(name)
    try:
        return find_log(name, folder)
    except Ambiguous:
        raise
    except NotFound:
        pass  # the message below suggests both kinds
    candidates = [*library(), *_logs(folder), *_beside(path, (*PROCEDURE_SUFFIXES, SUFFIX))]
    raise NotFound(f"There is no procedure and no log {name}.{_near(name, candidates)}")


def _logs(folder: Path | None) -> list[Path]:
    return sorted((folder or places().sessions).glob(f"*{SUFFIX}"))


def _beside(path: Path, suffixes: tuple[str, ...]) -> list[Path]:
    try:
        return sorted(each for each in path.parent.iterdir() if each.suffix in suffixes)
    except OSError:
        return []


def _some(paths: list[Path]) -> str:
    return ", ".join(path.name for path in paths[:5]) + (", ..." if len(paths) > 5 else "")


def _near(name: str, candidates: list[Path]) -> str:
    from benchflow.procedure.problems import nearest

    by_name = {path.stem: path for path in candidates} | {path.name: path for path in candidates}
    near = nearest(Path(name).name, by_name)
    return f" Did you mean {by_name[near].name}?" if near is not None else ""
