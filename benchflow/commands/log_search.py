"""The logs that ``trace`` and ``trend`` search: named logs, or an archive. Their common options are here."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchflow.commands.console_output import print_warning
from benchflow.commands.file_lookup import log_paths

if TYPE_CHECKING:
    from benchflow.review.archive.database import Database
    from benchflow.review.many.session_question import SessionSource


def machine_name() -> str:
    """The name of this machine in the archive."""
    from socket import gethostname

    return gethostname()


def compiled_folder() -> Path:
    """The folder with the compiled forms of procedures."""
    from benchflow.session.machine_folders import machine_folders

    return machine_folders().compiled


@contextmanager
def opened_archive(url: str | None, *, fresh: str | None = None) -> Iterator["Database"]:
    """The archive at ``url``; without one, this machine's own archive, which is made if needed.

    ``fresh`` is the name of a bench: what it filed is removed first, as far as it can file it again.

    Raises:
        BenchflowError: the archive cannot be opened.
    """
    from benchflow.review.archive.database import open_database
    from benchflow.session.machine_folders import machine_folders, make_folder

    if not url:
        make_folder(machine_folders().data)
    database = open_database(url or str(machine_folders().archive), fresh=fresh, on_wait=print_warning)
    try:
        yield database
    finally:
        database.close()


@contextmanager
def session_source(url: str | None, logs: tuple[Path, ...]) -> Iterator["SessionSource"]:
    """The jobs to search: those in ``logs``, else those in the archive ``url``, else this machine's own archive.

    This machine's own archive is brought up to date first.

    Raises:
        BenchflowError: a log is missing, or the archive cannot be opened.
    """
    if logs:
        from benchflow.review.many.log_scan import LogFiles

        yield LogFiles(log_paths(logs, teardowns=True), compiled=compiled_folder())
        return
    from benchflow.review.archive.index import ArchiveIndex
    from benchflow.session.machine_folders import machine_folders

    with opened_archive(url) as database:
        folder = machine_folders().sessions
        if url is None and folder.is_dir():
            from benchflow.review.archive.filing import file_logs
            from benchflow.review.log.log_file import logs_under

            paths = logs_under(folder, teardowns=True)
            file_logs(database, paths, machine_name(), folders=[folder], compiled=compiled_folder())
        yield ArchiveIndex(database)


def warn_of_teardowns(source: "SessionSource", logs: tuple[Path, ...], what: str) -> None:
    """Name the teardowns among the logs that were named: they have no ``what``, so they were not searched."""
    found = source.teardowns() if logs else ()
    if found:
        subject = f"{found[0].path} is a teardown. It has" if len(found) == 1 else f"{len(found)} teardowns have"
        print_warning(f"{subject} no {what}. Find words in teardowns with: benchflow trace --part WORDS")


def search_options(command: Callable[..., int]) -> Callable[..., int]:
    """Add the options that choose the logs, the time span and JSON output."""
    options = (
        click.option("--archive", "url", metavar="URL", help="Search this archive. Default: this machine's own."),
        click.option("--logs", multiple=True, type=click.Path(path_type=Path),
                     help="Search these logs, or folders of logs, without an archive. May be repeated."),
        click.option("--from", "since", metavar="DATE", default="", help="Start at this local day, or at this time."),
        click.option("--to", "until", metavar="DATE", default="", help="End with this local day, or at this time."),
        click.option("--json", "as_json", is_flag=True, help="Print one JSON object."),
    )  # fmt: skip
    for option in reversed(options):  # click lists the option that was added last first
        command = option(command)
    return command
