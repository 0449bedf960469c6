"""The command ``log``: shows a log as readable text."""

from typing import TYPE_CHECKING

import click
import msgspec

from benchflow.base.errors import BenchflowError
from benchflow.commands.console_output import display_path, print_json, print_lines, print_message, print_warning
from benchflow.commands.exit_codes import PROBLEM_FOUND, SUCCESS, exit_code_help
from benchflow.commands.file_lookup import find_log

if TYPE_CHECKING:
    from benchflow.session.log.journal import Journal


@click.command(
    epilog=exit_code_help("The log is damaged or empty. Readable lines after the damage are marked: not trusted.")
)
@click.argument("name", metavar="LOG")
@click.option("--json", "as_json", is_flag=True, help="Print the events, one JSON object per line.")
def log(name: str, as_json: bool) -> int:
    """Show a log as readable text, by day and operation: every reading with its limit, every pause.
    Of a teardown: what was measured, what came off, and every entry.

    LOG is a file, or a part of its name that occurs in no other log, such as the job number.
    """
    from benchflow.session.log.journal import Journal
    from benchflow.session.log.line_format import line_text
    from benchflow.session.log.log_folder import TEARDOWN_OPENED
    from benchflow.session.teardown.teardown_history import teardown_text

    with Journal.open(find_log(name, kind="any"), read_only=True) as journal:
        if as_json:
            for line in journal.lines:
                print_json(msgspec.json.decode(line_text(line)))
            if journal.damage and journal.changed is not None:
                print_json({"changed": journal.damage.line, **msgspec.structs.asdict(journal.changed)})
            for each in journal.untrusted:
                print_json({"untrusted": each.number, **msgspec.structs.asdict(each.line)})
        elif journal.lines and journal.lines[0].kind == TEARDOWN_OPENED:
            print_lines(teardown_text(journal.lines, damage=journal.damage, untrusted=journal.untrusted))
        elif journal.lines or journal.damage:
            _print_history(journal)
        if journal.damage:
            print_message(f"{display_path(journal.path)}:{journal.damage.line}: {journal.damage.what}")
            return PROBLEM_FOUND
        if not journal.lines:
            print_message(f"{display_path(journal.path)} is empty: it has no event. Look for a copy.")
            return PROBLEM_FOUND
    return SUCCESS


def _print_history(journal: "Journal") -> None:
    from benchflow.session.history.history import history_text, plan_from_log
    from benchflow.session.procedure_loading import procedure_reader

    try:
        start = journal.lines or [line for line in (journal.changed,) if line is not None]
        plan = plan_from_log(start, procedure_reader())
    except BenchflowError as error:
        print_warning(f"{str(error).removesuffix('.')}. Ids are shown instead of titles.")
        plan = None
    print_lines(
        history_text(journal.lines, plan, damage=journal.damage, untrusted=journal.untrusted, changed=journal.changed)
    )
