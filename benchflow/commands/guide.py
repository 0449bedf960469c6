"""The command ``guide``: prints the author's guide."""

import click

from benchflow.commands.console_output import print_line
from benchflow.commands.exit_codes import exit_code_help


@click.command(epilog=exit_code_help())
@click.option("--blocks", is_flag=True, help="Print the pages of all building blocks instead.")
def guide(blocks: bool) -> None:
    """Print the author's guide (Markdown). It explains every key of the procedure file, with examples."""
    if blocks:
        from benchflow.commands.blocks import print_page
        from benchflow.procedure.blocks.block_page import block_page
        from benchflow.session.block_lookup import machine_library

        library = machine_library()
        found = [library.read(library.entries_of(name)[0]) for name in library.ids]
        titles = [
            f"- `{block.id}`: {block.written.title if block.written else 'the file has errors'}" for block in found
        ]
        print_line("\n".join(["# Building blocks", "", "A page for each block, in this order:", "", *titles, ""]))
        for block in found:
            print_page(block_page(block))
        return
    from benchflow.procedure.authoring.author_guide import author_guide

    print_line(author_guide())
