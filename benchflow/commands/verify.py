"""The command ``verify``: checks that logs are complete and unchanged."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchflow.commands.console_output import display_path, print_json, print_line, print_warning
from benchflow.commands.exit_codes import CANNOT_RUN, PROBLEM_FOUND, SUCCESS, exit_code_help
from benchflow.commands.file_lookup import NotFound, find_log

if TYPE_CHECKING:
    from benchflow.session.log.journal import LogCheck


@click.command(epilog=exit_code_help("A log is damaged, or its line ends were converted."))
@click.argument("names", metavar="LOG...", nargs=-1, required=True)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per log.")
def verify(names: tuple[str, ...], as_json: bool) -> int:
    """Check that each LOG is complete and unchanged. The hash of every line and the chain of hashes are checked.

    The fingerprint identifies the complete log. Keep a copy of it elsewhere, for example on a build sheet. A copy
    also shows if lines were removed at the end. The chain alone cannot show that.
    """
    from benchflow.session.log.journal import LogUnusable
    from benchflow.session.log.journal import verify as verify_log

    worst = SUCCESS
    for name in names:
        try:
            path = find_log(name)
            result = verify_log(path)
        except (LogUnusable, NotFound) as error:
            print_warning(str(error))
            worst = CANNOT_RUN
            continue
        ok = result.damage is None and not result.converted
        worst = worst if ok else max(worst, PROBLEM_FOUND)
        if as_json:
            print_json({
                "log": name, "ok": ok, "events": result.events, "torn": result.torn, "head": result.head,
                "damage": result.damage, "untrusted": result.untrusted, "converted": result.converted,
            })  # fmt: skip
        else:
            _print_result(path, result)
    return worst


def _print_result(path: Path, result: "LogCheck") -> None:
    if result.damage:
        print_line(f"{display_path(path)}:{result.damage.line}: DAMAGED: the line {result.damage.what}.")
        print_line(f"  The {result.events} events before it are whole, up to fingerprint {result.head}")
        if result.untrusted:
            lines = "1 line" if result.untrusted == 1 else f"{result.untrusted} lines"
            print_line(f"  {lines} from there on can be read, but not trusted: benchflow log {display_path(path)}")
    elif result.converted:
        print_line(
            f"{display_path(path)}: LINE ENDS CONVERTED to CR LF by another program. Its {result.events} events are "
            f"whole. Fingerprint {result.head}"
        )
    else:
        torn = ", then a last line that is not complete" if result.torn else ""
        if result.open_end:
            torn = ". Only the newline at the end is missing: no event is lost"
        print_line(f"{display_path(path)}: whole, {result.events} events{torn}. Fingerprint {result.head}")
