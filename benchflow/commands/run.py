"""The command ``run``: opens a job on the bench screen."""

import sys
from pathlib import Path

import click

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line
from benchflow.commands.common_options import CONTINUE_FROM_HELP, OTHER_REGISTER_HELP
from benchflow.commands.exit_codes import exit_code_help
from benchflow.commands.file_lookup import find_log, find_procedure_or_log


@click.command(epilog=exit_code_help())
@click.argument("name", metavar="[PROCEDURE|LOG]", required=False)
@click.option("--log-folder", type=click.Path(path_type=Path), help="The folder for the log. It must exist.")
@click.option("--by", help="The name of the builder.")
@click.option("--unit", help="The serial or job number of the unit to be built.")
@click.option("--other-register", metavar="REASON", default="", help=OTHER_REGISTER_HELP)
@click.option("--watch", is_flag=True, help="Show the job in LOG while another window works on it. Write nothing.")
@click.option("--continue-from", "old_log", metavar="LOG", help=CONTINUE_FROM_HELP)
def run(
    name: str | None,
    log_folder: Path | None,
    by: str | None,
    unit: str | None,
    other_register: str,
    watch: bool,
    old_log: str | None,
) -> int:
    """Start a job with PROCEDURE at the bench, or continue the job in LOG.

    Without an argument, the shipped procedures and the open jobs are listed. PROCEDURE is a file, or the name of a
    shipped procedure. If it has open jobs, they are listed; with --unit, the open job of that unit continues. LOG is
    a file, or a part of its name, such as the job number.

    With --watch, the job in LOG is shown and followed, for example on a telephone beside the bench. The screen can be
    40 columns wide.

    With --continue-from, a new log continues the job in LOG, which is damaged or was left. The state of the engine is
    asked again, and what was done is taken over, signed. PROCEDURE is needed only if the first line of LOG is damaged.

    You can leave at any time. Every entry is on disk before the screen shows it as done.
    """
    if log_folder is not None and not log_folder.is_dir():
        raise BenchflowError(f"There is no folder {log_folder}. Make it, or choose another.")
    target: Path | None = None
    if watch:
        target = _log_to_watch(name, log_folder, old_log)
    elif name is not None:
        target = find_procedure_or_log(name, log_folder)
    continue_from = None if old_log is None else find_log(old_log, log_folder)
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise BenchflowError(
            "The bench screen needs a terminal, and there is none. To work without a screen: benchflow drive --help"
        )
    from benchflow.tui import start

    return start(
        target, log_folder=log_folder, by=by, unit=unit, other_register=clean_line(other_register),
        continue_from=continue_from, watch=watch,
    )  # fmt: skip


def _log_to_watch(name: str | None, log_folder: Path | None, old_log: str | None) -> Path:
    """The log of the job to watch.

    Raises:
        BenchflowError: no log is named, or there is none with that name.
    """
    if old_log is not None:
        raise BenchflowError("--watch writes nothing, so it cannot be used with --continue-from.")
    if name is None:
        raise BenchflowError("Name the job to watch. List the jobs with: benchflow sessions")
    return find_log(name, log_folder)
