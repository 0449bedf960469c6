"""The command ``where``: shows the folders and files of this machine."""

import os
from pathlib import Path

import click

from benchflow.commands.console_output import display_path, print_json, print_line
from benchflow.commands.exit_codes import exit_code_help


@click.command(epilog=exit_code_help())
@click.option(
    "--incoming", type=click.Path(path_type=Path), metavar="FOLDER",
    help="Set the folder that a phone puts its pictures into. The bench offers them.",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def where(incoming: Path | None, as_json: bool) -> None:
    """Show where the logs, the shop file, the settings, the cache and the shipped procedures are.

    Set the environment variable BENCHFLOW_HOME to a folder, to keep everything in that folder. "pictures" is the
    incoming folder: the bench offers the pictures that arrive there.
    """
    from benchflow.session.machine_folders import HOME, machine_folders, make_folder, shipped_procedures
    from benchflow.session.pictures.incoming_folder import incoming_folder, set_incoming_folder

    here = machine_folders()
    if incoming is not None:
        set_incoming_folder(make_folder(here.config), incoming)
    pictures = incoming_folder(here.config, here.data)
    shipped = shipped_procedures()
    if as_json:
        print_json(
            {
                "sessions": str(here.sessions),
                "shop": str(here.shop),
                "blocks": str(here.blocks),
                "data": str(here.data),
                "config": str(here.config),
                "cache": str(here.cache),
                "incoming": str(pictures),
                "library": [str(path) for path in shipped],
                "home": os.environ.get(HOME) or None,
            }
        )
        return
    for name, path in (
        ("logs", here.sessions),
        ("shop file", here.shop),
        ("blocks", here.blocks),
        ("data", here.data),
        ("settings", here.config),
        ("cache", here.cache),
        ("pictures", pictures),
    ):
        print_line(f"{name:<12}{path}{'' if path.exists() else '   (does not exist yet)'}")
    for number, path in enumerate(shipped):
        print_line(f"{'' if number else 'procedures':<12}{display_path(path)}")
    if not shipped:
        print_line(f"{'procedures':<12}none are installed")
