"""The command ``where``: shows the folders and files of this machine."""

import os

import click

from benchflow.commands.console_output import display_path, print_json, print_line
from benchflow.commands.exit_codes import exit_code_help


@click.command(epilog=exit_code_help())
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def where(as_json: bool) -> None:
    """Show where the logs, the shop file, the settings, the cache and the shipped procedures are.

    Set the environment variable BENCHFLOW_HOME to a folder, to keep everything in that folder.
    """
    from benchflow.session.machine_folders import HOME, machine_folders, shipped_procedures

    here = machine_folders()
    shipped = shipped_procedures()
    if as_json:
        print_json(
            {
                "sessions": str(here.sessions),
                "shop": str(here.shop),
                "data": str(here.data),
                "config": str(here.config),
                "cache": str(here.cache),
                "library": [str(path) for path in shipped],
                "home": os.environ.get(HOME) or None,
            }
        )
        return
    for name, path in (
        ("logs", here.sessions),
        ("shop file", here.shop),
        ("data", here.data),
        ("settings", here.config),
        ("cache", here.cache),
    ):
        print_line(f"{name:<12}{path}{'' if path.exists() else '   (does not exist yet)'}")
    for number, path in enumerate(shipped):
        print_line(f"{'' if number else 'procedures':<12}{display_path(path)}")
    if not shipped:
        print_line(f"{'procedures':<12}none are installed")
