"""The commands that only read logs: ``log``, ``verify``, ``sessions``."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.exits import FINE, FOUND, UNUSABLE
from benchflow.commands.finding import NotFound, find_log
from benchflow.commands.output import emit, remark, say, shown

if TYPE_CHECKING:
    from benchflow.session.log.journal import Journal


@click.command()
@click.argument("name", metavar="LOG")
@click.option("--json", "as_json", is_flag=True, help="Print the events, one JSON object per line.")
def log(name: str, as_json: bool) -> int:
    """Show a log as readable text: by day and operation, every reading with its limit, every pause.

    LOG is a file, or a part of its name that no other log has, such as the job number.
    """
    from benchflow.session.log.journal import Journal

    with Journal.open(find_log(name), read_only=True) as journal:
        if as_json:
            for line in journal.lines:
                emit(line)
        else:
            _tell(journal)
        if journal.damage:
            remark(f"{shown(journal.path)}:{journal.damage.line}: {journal.damage.what}")
            return FOUND
    return FINE


def _tell(journal: "Journal") -> None:
    from benchflow.session.history.history import history_text, plan_from_log
    from benchflow.session.procedure_loading import reader

    try:
        plan = plan_from_log(journal.lines, reader())
    except BenchflowError as wrong:
        remark(f"benchflow: {wrong}. Ids are shown instead of titles.")
        plan = None
    for text in history_text(journal.lines, plan, damage=journal.damage):
        say(text)


@click.command()
@click.argument("names", metavar="LOG...", nargs=-1, required=True)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per log.")
def verify(names: tuple[str, ...], as_json: bool) -> int:
    """Check that a log is complete and unchanged: the hash of every line, and the chain from line to line.

    The fingerprint identifies the whole log. A copy of it elsewhere, for example on a build sheet, also shows
    whether lines were removed at the end; the chain alone cannot.
    """
    from benchflow.session.log.journal import LogUnusable
    from benchflow.session.log.journal import verify as check

    worst = FINE
    for name in names:
        try:
            path = find_log(name)
            found = check(path)
        except (LogUnusable, NotFound) as wrong:
            remark(f"benchflow: {wrong}")
            worst = UNUSABLE
            continue
        ok = found.damage is None
        worst = worst if ok else max(worst, FOUND)
        if as_json:
            emit({"log": name, "ok": ok, "events": found.events, "torn": found.torn, "head": found.head,
                  "damage": found.damage})  # fmt: skip
        elif found.damage:
            say(f"{shown(path)}:{found.damage.line}: DAMAGED: the line {found.damage.what}.")
            say(f"  The {found.events} events before it are whole, up to fingerprint {found.head}")
        else:
            torn = ", then a last line that is not complete" if found.torn else ""
            say(f"{shown(path)}: whole, {found.events} events{torn}. Fingerprint {found.head}")
    return worst


@click.command()
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per job.")
@click.option("--folder", type=click.Path(path_type=Path), help="List the logs of this folder instead.")
def sessions(as_json: bool, folder: Path | None) -> int:
    """List the jobs on this machine, last worked on first."""
    from benchflow.session.catalog import sessions as in_folder
    from benchflow.session.log.timestamps import parse
    from benchflow.session.machine_folders import places

    if folder is not None and not folder.is_dir():
        raise BenchflowError(f"There is no folder {folder}.")
    here = folder or places().sessions
    found = in_folder(here)
    if as_json:
        for session in found:
            emit(session)
        return FINE
    if not found:
        remark(f"No jobs in {here}. Start one with: benchflow run")
    for session in found:
        last = f"{parse(session.last_at).astimezone():%Y-%m-%d %H:%M}" if session.last_at else ""
        simulated = ", simulated" if session.simulated else ""
        say(f"{session.status:<8} {last:<16}  {session.unit or '-'}  {session.procedure or '-'}{simulated}")
        say(f"{'':<8} {session.done} operations done, {session.events} entries, by {session.by or '-'}: "
            f"{shown(session.path)}")  # fmt: skip
        if session.words:
            say(f"{'':<8} {session.words}")
    sys.stdout.flush()
    return FINE
