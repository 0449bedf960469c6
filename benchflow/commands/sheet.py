"""The command ``sheet``: makes the build sheet of a job, for the customer or for the shop."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.console_output import display_path, print_json, print_line, print_warning
from benchflow.commands.exit_codes import PROBLEM_FOUND, SUCCESS, exit_code_help
from benchflow.commands.loaded_files import load_named_log, load_register
from benchflow.commands.output_file import STANDARD_OUTPUT, write_output

if TYPE_CHECKING:
    from benchflow.review.sheets.letterhead import LetterheadOnSheet
    from benchflow.review.sheets.sheet_file import Copy
    from benchflow.session.shop.register import Shop


@click.command(
    epilog=exit_code_help("The log is damaged, or a stored picture is missing or changed. The sheet says so.")
)
@click.argument("name", metavar="JOB")
@click.option(
    "--copy",
    "which",
    type=click.Choice(["customer", "shop"]),
    help="Whose copy. Default: the customer's; with --json or --markdown the shop's.",
)
@click.option("-o", "--out", type=click.Path(path_type=Path), help="The file to write. `-` is standard output.")
@click.option("--markdown", "as_markdown", is_flag=True, help="Make Markdown, on standard output unless -o is given.")
@click.option(
    "--pictures", type=click.Path(path_type=Path), metavar="FOLDER",
    help="Copy the whole pictures into FOLDER. The small ones on the sheet are links to them.",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object to standard output.")
def sheet(
    name: str, which: "Copy | None", out: Path | None, as_markdown: bool, pictures: Path | None, as_json: bool
) -> int:
    """Make the build sheet of a job. JOB is a log, or a part of its file name, such as the job number.

    The customer's copy has one or two pages: what was fitted, the key readings with their limits, the joints,
    deviations, advice and follow-up. The shop's copy (--copy shop) has everything: every reading, fastener, lot,
    instrument and name, the hours, and what the review suspects.

    Without other options, the sheet is one HTML file beside the log, JOB.html or JOB.shop.html. It needs no other
    file, and prints on A4 or Letter. The letterhead is in the register: benchflow shop letterhead. Pictures are shown
    as thumbnails, without other data of the original. On the shop's copy they are links to the stored files.
    """
    from benchflow.review.log.loaded_log import FirstLineDamaged
    from benchflow.review.sheets.build_sheet import build_sheet, sheet_without_start
    from benchflow.review.sheets.customer_copy import customer_copy, customer_copy_without_start
    from benchflow.review.sheets.pictures_on_sheet import copy_pictures, links_to, lost_pictures

    copy: Copy = which or ("shop" if as_json or as_markdown else "customer")
    shop = _register()
    try:
        loaded = load_named_log(name, audited=True)
        made, path = build_sheet(loaded, shop), Path(loaded.path)
        customers = customer_copy(loaded, made, _letterhead(shop)) if copy == "customer" else None
        copies = {} if pictures is None else copy_pictures(path, pictures, made.pictures)
    except FirstLineDamaged as damaged:
        print_warning(str(damaged))
        made, path, copies = sheet_without_start(damaged), damaged.path, {}
        customers = customer_copy_without_start(made, _letterhead(shop)) if copy == "customer" else None
    lost = lost_pictures(made.pictures)
    if lost:
        print_warning(f"{lost} The sheet has no small picture there. To see what to do: benchflow verify {path}")
    code = SUCCESS if made.sound and not lost else PROBLEM_FOUND
    if as_json:
        print_json(customers or made)
        return code
    if as_markdown:
        from benchflow.review.sheets.build_sheet_markdown import build_sheet_markdown, customer_copy_markdown

        write_output(build_sheet_markdown(made) if customers is None else customer_copy_markdown(customers), out)
        return code
    from benchflow.review.sheets.sheet_file import own_links, sheet_page, sheet_path

    out = sheet_path(path, copy) if out is None else out
    links = own_links(made, copy, out) if pictures is None else links_to(copies, out)
    write_output(sheet_page(made, customers, links), out)
    if out != STANDARD_OUTPUT:
        print_line(display_path(out))
    return code


def _register() -> "Shop | None":
    """The register of this machine; ``None`` with a warning if it has errors: an old job has its sheet all the same."""
    try:
        return load_register(None)
    except BenchflowError as error:
        print_warning(f"The sheet has no letterhead, and nothing from the register. {error}")
        return None


def _letterhead(shop: "Shop | None") -> "LetterheadOnSheet":
    from benchflow.review.sheets.letterhead import letterhead_of
    from benchflow.session.machine_folders import machine_folders

    return letterhead_of(shop, machine_folders().shop)
