"""The command ``audit``: decides every entry of a log again, to see whether the work could have been logged so."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import msgspec

from benchflow.base.errors import BenchflowError
from benchflow.commands.console_output import display_path, print_json, print_line, print_warning
from benchflow.commands.exit_codes import CANNOT_RUN, PROBLEM_FOUND, SUCCESS, exit_code_help
from benchflow.commands.file_lookup import find_log

if TYPE_CHECKING:
    from benchflow.review.audit.audit_report import AuditReport


@click.command(epilog=exit_code_help("Something in a log is wrong, or a log is damaged."))
@click.argument("names", metavar="LOG...", nargs=-1, required=True)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per log.")
def audit(names: tuple[str, ...], as_json: bool) -> int:
    """Decide every entry of each LOG again, and name each that the rules refuse or judge differently.

    Only the log is used: no shop file, no procedure file, and no clock of this machine. People and instruments are
    judged by what the log says about them. Changes of the register and wrong PINs are listed as notes.

    The command verify finds out if the lines are unchanged. This one finds out if the rules allow what they say.
    """
    from benchflow.review.audit.audit_file import audit_file
    from benchflow.session.procedure_loading import procedure_reader_with_cache

    worst, read = SUCCESS, procedure_reader_with_cache(None)
    for name in names:
        try:
            path = find_log(name)
            report, damage = audit_file(path, read)
        except BenchflowError as error:
            print_warning(str(error))
            worst = CANNOT_RUN
            continue
        if damage or not report.ok:
            worst = max(worst, PROBLEM_FOUND)
        if as_json:
            print_json(_as_json(name, report, damage))
        else:
            _print_report(path, report, damage)
    return worst


def _print_report(path: Path, report: "AuditReport", damage: str) -> None:
    from benchflow.review.formatting import count

    shown, wrong = display_path(path), len(report.wrong)
    decided = f"{report.intents} intents decided again" if report.intents else "no intents to decide again"
    places = f"WRONG at {wrong} place{'' if wrong == 1 else 's'}" if wrong else "nothing wrong"
    if damage:
        print_line(f"{shown}: DAMAGED: {damage}. Nothing from there on was audited.")
        print_line(f"  In the {count(report.events, 'event')} before it: {places}, {decided}.")
    else:
        print_line(f"{shown}: {places}. {count(report.events, 'event')}, {decided}.")
    for finding in report.wrong:
        print_line(f"  {finding.message}")
    if report.notes:
        print_line("  Notes:")
        for finding in report.notes:
            print_line(f"    {finding.message}")


def _as_json(name: str, report: "AuditReport", damage: str) -> dict[str, Any]:
    def plain(findings: Any) -> list[dict[str, Any]]:
        return [{key: value for key, value in msgspec.to_builtins(each).items() if key != "wrong"} for each in findings]

    return {
        "log": name, "ok": report.ok and not damage, "events": report.events, "intents": report.intents,
        "format": report.format, "rules": report.rules, "damage": damage, "wrong": plain(report.wrong),
        "notes": plain(report.notes),
    }  # fmt: skip
