"""The command ``guide``: prints the author's guide."""

import click

from benchflow.commands.console_output import print_line
from benchflow.commands.exit_codes import exit_code_help


@click.command(epilog=exit_code_help())
def guide() -> None:
    """Print the author's guide (Markdown). It explains every key of the procedure file, with examples."""
    from benchflow.procedure.authoring.author_guide import author_guide

    print_line(author_guide())
