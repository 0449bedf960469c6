"""The command ``sheet``: makes the build sheet of a job."""

from pathlib import Path

import click

from benchflow.commands.console_output import display_path, print_json, print_line, print_warning
from benchflow.commands.exit_codes import PROBLEM_FOUND, SUCCESS, exit_code_help
from benchflow.commands.loaded_files import load_named_log
from benchflow.commands.output_file import STANDARD_OUTPUT, write_output


@click.command(epilog=exit_code_help("The log is damaged. The sheet says so."))
@click.argument("name", metavar="LOG")
@click.option("-o", "--out", type=click.Path(path_type=Path), help="The file to write. `-` is standard output.")
@click.option("--markdown", "as_markdown", is_flag=True, help="Make Markdown, on standard output unless -o is given.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object to standard output.")
def sheet(name: str, out: Path | None, as_markdown: bool, as_json: bool) -> int:
    """Make the build sheet of a job. It lists the unit, the procedure, every reading with its limit, every fastener,
    parts and lots, instruments, names, rework, and what is still to be done.

    Without options, the sheet is one HTML file beside the log. It needs no other file, and prints on A4 or Letter.
    """
    from benchflow.review.log.loaded_log import FirstLineDamaged
    from benchflow.review.sheets.build_sheet import build_sheet, sheet_without_start

    try:
        loaded = load_named_log(name, audited=True)
        made, path = build_sheet(loaded), Path(loaded.path)
    except FirstLineDamaged as damaged:
        print_warning(str(damaged))
        made, path = sheet_without_start(damaged), damaged.path
    if as_json:
        print_json(made)
    elif as_markdown:
        from benchflow.review.sheets.build_sheet_markdown import build_sheet_markdown

        write_output(build_sheet_markdown(made), out)
    else:
        from benchflow.review.sheets.build_sheet_html import build_sheet_html
        from benchflow.review.sheets.sheet_file import sheet_path

        if out is None:
            out = sheet_path(path)
        write_output(build_sheet_html(made), out)
        if out != STANDARD_OUTPUT:
            print_line(display_path(out))
    return SUCCESS if made.sound else PROBLEM_FOUND
