"""``run``: the bench."""

import sys
from pathlib import Path

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.finding import find_either


@click.command()
@click.argument("what", metavar="[PROCEDURE|LOG]", required=False)
@click.option("--log-folder", type=click.Path(path_type=Path), help="Where the log goes; must exist.")
@click.option("--by", help="Who is building.")
@click.option("--unit", help="Serial or job number of what is built.")
def run(what: str | None, log_folder: Path | None, by: str | None, unit: str | None) -> int:
    """Open a session at the bench with a PROCEDURE, or go on with the one in LOG.

    Without either, the procedures that came along and the sessions left open are offered. PROCEDURE is a file
    or the name of one that came along; LOG is a file or a piece of its name, such as the job's number.

    Leaving is always safe: every entry is on disk before it is shown as done.
    """
    if log_folder is not None and not log_folder.is_dir():
        raise BenchflowError(f"There is no folder {log_folder}. Make it, or choose another.")
    target = find_either(what, log_folder) if what is not None else None
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise BenchflowError(
            "The bench needs a terminal to draw on and keys to read from, and has not been given them. "
            "To work without a screen: benchflow drive --help"
        )
    from benchflow.tui import start

    return start(target, log_folder=log_folder, by=by, unit=unit)
