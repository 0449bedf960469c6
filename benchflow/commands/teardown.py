"""The command ``teardown``: logs what comes off an assembly, line by line, on a bench screen."""

import sys
from pathlib import Path

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.console_output import print_json, print_lines, print_warning
from benchflow.commands.crash_report import remember_open_log
from benchflow.commands.exit_codes import PROBLEM_FOUND, SUCCESS, exit_code_help
from benchflow.commands.file_lookup import find_log


@click.command(epilog=exit_code_help("With --lists: the log is damaged."))
@click.argument("name", metavar="[NAME]", required=False)
@click.option("--log-folder", type=click.Path(path_type=Path), help="The folder for the log. It must exist.")
@click.option("--by", default="", help="The name of the person.")
@click.option("--unit", default="", help="The serial or job number of the unit that is taken apart.")
@click.option("--what", default="", help="What is taken apart, such as: five-speed gearbox.")
@click.option("--continue-from", "damaged", metavar="LOG", help="Continue a damaged log with its whole lines.")
@click.option("--lists", "as_lists", is_flag=True,
              help="Print what to order, what goes to the machine shop, and what to ask the customer.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="With --lists: print one JSON object.")
def teardown(
    name: str | None, log_folder: Path | None, by: str, unit: str, what: str, damaged: str | None, as_lists: bool,
    as_json: bool,
) -> int:  # fmt: skip
    """Log a teardown at the bench, one line for each thing that comes off, or continue the one in NAME.

    Without NAME, the open teardowns are listed, and a new one can be started. NAME is a log, or a part of its file
    name, such as the serial number.

    First comes what can be measured only while the unit is together. Then each line is typed as it comes off:

    \b
    rocker cover, 8x M6x1 30 mm + 2x M6x1 45 mm front, bag 3, replace: bent
    rod caps 1..4, 8x nut M9x1, tray A, marked 1 to 4 on the exhaust side

    The screen shows how it understood a line before Enter logs it. Every entry is on disk before it is shown. Make the
    draft of an assembly procedure from the log with: benchflow draft

    With --lists, the screen is not opened: what to order, what goes to the machine shop, and what to ask the customer
    is printed, from the fates of the parts and what was found.

    With --continue-from, a new log takes over the whole lines of a damaged one, which is not changed.
    """
    if log_folder is not None and not log_folder.is_dir():
        raise BenchflowError(f"There is no folder {log_folder}. Make it, or choose another.")
    log = None if name is None else find_log(name, log_folder, "teardown")
    old = None if damaged is None else find_log(damaged, log_folder, "teardown")
    if as_lists or as_json:
        if log is None or not as_lists:
            raise click.UsageError("Name the log: benchflow teardown LOG --lists")
        return _print_lists(log, as_json=as_json)
    if log is not None and old is not None:
        raise BenchflowError("Name either a log to open, or a damaged one to continue in a new log.")
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise BenchflowError(
            "The teardown screen needs a terminal, and there is none. To work without a screen: "
            "benchflow drive --teardown --log FILE"
        )
    from benchflow.tui import start_teardown

    if log is not None:
        remember_open_log(log)
    return start_teardown(log, folder=log_folder, by=by, unit=unit, what=what, continue_from=old)


def _print_lists(log: Path, *, as_json: bool) -> int:
    """Print the lists of a teardown. A damaged log is named; its whole lines count."""
    from benchflow.session.log.journal import Journal
    from benchflow.session.teardown.fold_teardown import record_of_lines
    from benchflow.session.teardown.part_lists import lists_text, part_lists

    with Journal.open(log, read_only=True) as journal:
        lines, damage = tuple(journal.lines), journal.damage
    lists = part_lists(record_of_lines(lines, log))
    if as_json:
        print_json(lists)
    else:
        simulated = ", simulated" if lists.simulated else ""
        print_lines([f"Teardown of {lists.what}, unit {lists.unit}{simulated}", ""])
        print_lines(lists_text(lists))
    if damage is not None:
        print_warning(f"{log} is damaged from line {damage.line} on. What comes after that is not in the lists.")
    return SUCCESS if damage is None else PROBLEM_FOUND
