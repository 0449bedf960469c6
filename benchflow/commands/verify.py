"""The command ``verify``: checks that logs are complete and unchanged."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.console_output import display_path, print_json, print_line, print_warning
from benchflow.commands.exit_codes import CANNOT_RUN, PROBLEM_FOUND, SUCCESS, exit_code_help
from benchflow.commands.file_lookup import find_log

if TYPE_CHECKING:
    from benchflow.review.archive.log_witness import WitnessAnswer
    from benchflow.session.log.log_check import LogCheck
    from benchflow.session.pictures.picture_check import PictureCheck


@click.command(epilog=exit_code_help("A log is damaged, converted, forked or empty, or a picture has changed."))
@click.argument("names", metavar="LOG...", nargs=-1, required=True)
@click.option(
    "--against", metavar="HASH|SHEET|ARCHIVE",
    help="Compare the log with a fingerprint, with the one on a build sheet, or with an archive.",
)  # fmt: skip
@click.option("--clean", is_flag=True, help="Remove stored pictures that no event of the log names.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per log.")
def verify(names: tuple[str, ...], against: str | None, clean: bool, as_json: bool) -> int:
    """Check that each LOG is complete and unchanged. The hash of every line and the chain of hashes are checked.

    The fingerprint identifies the complete log. Keep a copy of it elsewhere, for example on a build sheet. A copy
    also shows if the log was made again, or if lines were removed at its end. The chain alone cannot show that.

    A log is compared with what this machine remembers of it, or with --against. The answer is: the same, grown, behind
    (it ends before that line, as a restored backup does), or forked at a line. A memory on the same machine
    does not stop its owner from making a log again. The sheet in the customer's hand does.

    Each picture of the log is compared with its SHA-256. A stored picture that no event names is left over from a
    program that was stopped. It is harmless, and --clean removes it.
    """
    from benchflow.session.log.log_check import verify as verify_log
    from benchflow.session.pictures.picture_check import check_pictures, clean_pictures

    worst = SUCCESS
    for name in names:
        try:
            path = find_log(name, kind="any")
            result = verify_log(path)
            known = _compare(path, against) if result.damage is None or against is not None else None
            pictures = check_pictures(path)
            removed = clean_pictures(path) if clean and pictures.unnamed else []
            empty = result.damage is None and not result.events
        except BenchflowError as error:
            print_warning(str(error))
            worst = CANNOT_RUN
            continue
        ok = result.damage is None and not empty and not result.converted and (known is None or known.ok)
        ok = ok and not pictures.problems
        worst = worst if ok else max(worst, PROBLEM_FOUND)
        if as_json:
            print_json({
                "log": name, "ok": ok, "events": result.events, "torn": result.torn, "head": result.head,
                "damage": result.damage, "untrusted": result.untrusted, "converted": result.converted, "empty": empty,
                "against": None if known is None else {"status": known.status, "line": known.line, "text": known.text},
                "pictures": pictures.count,
                "picture_problems": [
                    {"line": one.line, "name": one.name, "what": one.what, "file": one.path, "text": one.text}
                    for one in pictures.problems
                ],
                "unnamed_pictures": pictures.unnamed, "removed": removed,
            })  # fmt: skip
        else:
            _print_result(path, result)
            if known is not None and (against or known.status not in ("same", "grown")):
                print_line(f"  {known.text}")
            _print_pictures(path, pictures, removed, whole=result.damage is None)
    return worst


def _print_pictures(path: Path, pictures: "PictureCheck", removed: list[Path], *, whole: bool) -> None:
    for one in pictures.problems:
        print_line(f"{display_path(path)}:{one.line}: PICTURE {one.what.upper()}: {one.name}. {one.text}")
    if pictures.count and not pictures.problems:
        count = "1 picture is" if pictures.count == 1 else f"{pictures.count} pictures are"
        print_line(f"  {count} as stored.")
    for file in pictures.unnamed:
        if file in removed:
            print_line(f"  Removed, because no event names it: {display_path(file)}")
        elif not whole:
            print_line(f"  No line that can be read names the file {display_path(file)}. A damaged one can: keep it.")
        else:
            print_line(f"  No event names the file {display_path(file)}. It is harmless; remove it with --clean.")


def _compare(path: Path, against: str | None) -> "WitnessAnswer | None":
    """How the log compares with ``against``, or else with what this machine remembers (``None`` if that is nothing).

    Raises:
        BenchflowError: the log cannot be read, or ``against`` cannot be compared with it.
    """
    from benchflow.review.archive.log_witness import against_heads, compare_with
    from benchflow.session.head_memory import HeadMemory
    from benchflow.session.log.journal import Journal
    from benchflow.session.log.log_heads import head_of_log
    from benchflow.session.machine_folders import machine_folders

    with Journal.open(path, read_only=True) as journal:
        lines = list(journal.lines)
    if against is not None:
        return compare_with(lines, path, against)
    remembered = HeadMemory(machine_folders().heads).compare(lines, path)
    if remembered is None:
        return None
    log = head_of_log(lines, path=str(path.absolute()))
    return against_heads(log, [remembered[0]], "this machine")


def _print_result(path: Path, result: "LogCheck") -> None:
    if result.damage:
        print_line(f"{display_path(path)}:{result.damage.line}: DAMAGED: the line {result.damage.what}.")
        print_line(f"  The {result.events} events before it are whole, up to fingerprint {result.head}")
        if result.untrusted:
            lines = "1 line" if result.untrusted == 1 else f"{result.untrusted} lines"
            print_line(f"  {lines} from there on can be read, but not trusted: benchflow log {display_path(path)}")
    elif not result.events:
        torn = " Its only line is not complete." if result.torn else ""
        print_line(f"{display_path(path)}: EMPTY: the log has no event.{torn} Look for a copy, or start the job again.")
    elif result.converted:
        print_line(
            f"{display_path(path)}: LINE ENDS CONVERTED to CR LF by another program. Its {result.events} events are "
            f"whole. Fingerprint {result.head}"
        )
    else:
        torn = ", then a last line that is not complete" if result.torn else ""
        if result.open_end:
            torn = ". Only the newline at the end is missing: no event is lost"
        events = "1 event" if result.events == 1 else f"{result.events} events"
        print_line(f"{display_path(path)}: whole, {events}{torn}. Fingerprint {result.head}")
