"""The command ``run``: a job on the bench screen."""

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
    """Start a job with PROCEDURE at the bench, or continue the job in LOG.

    Without either, the supplied procedures and the open jobs are listed. PROCEDURE is a file or the name of a
    supplied procedure; LOG is a file or a part of its name, such as the job number.

    It is always safe to leave: every entry is on disk before it is shown as done.
    """
    if log_folder is not None and not log_folder.is_dir():
        raise BenchflowError(f"There is no folder {log_folder}. Make it, or choose another.")
    target = find_either(what, log_folder) if what is not None else None
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise BenchflowError(
            "The bench needs a terminal for its screen and keyboard, and there is none. "
            "To work without a screen: benchflow drive --help"
        )
    from benchflow.tui import start

    return start(target, log_folder=log_folder, by=by, unit=unit)
