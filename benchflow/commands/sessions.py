"""The command ``sessions``: lists the jobs on this machine."""

from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchflow.base.errors import BenchflowError
from benchflow.base.regular_file import read_regular_file
from benchflow.commands.console_output import display_path, print_json, print_line, print_message
from benchflow.commands.exit_codes import SUCCESS, exit_code_help

if TYPE_CHECKING:
    from benchflow.session.catalog import SessionSummary


@click.command(epilog=exit_code_help())
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per job.")
@click.option("--folder", type=click.Path(path_type=Path), help="List the logs of this folder instead.")
def sessions(as_json: bool, folder: Path | None) -> int:
    """List the jobs and teardowns on this machine, the one with the latest entry first."""
    from benchflow.session.catalog import list_sessions
    from benchflow.session.log.timestamps import local_time_of
    from benchflow.session.machine_folders import machine_folders

    if folder is not None and not folder.is_dir():
        raise BenchflowError(f"There is no folder {folder}. Name an existing folder.")
    log_folder = folder or machine_folders().sessions
    listed = list_sessions(log_folder)
    if as_json:
        for session in listed:
            print_json(session)
        return SUCCESS
    if not listed:
        print_message(f"There are no jobs in {log_folder}. Start one with: benchflow run")
    for session in listed:
        if session.status == "skipped":
            print_line(f"{session.status:<8} {display_path(session.path)} {session.note}")
            continue
        status = "in use" if session.status == "held" else session.status
        last = f"{local_time_of(session.last_at):%Y-%m-%d %H:%M}" if session.last_at else ""
        simulated = ", simulated" if session.simulated else ""
        kind = "teardown of " if session.is_teardown else ""
        print_line(f"{status:<8} {last:<16}  {session.unit or '-'}  {kind}{session.procedure or '-'}{simulated}")
        lines = "line off" if session.done == 1 else "lines off"
        done = f"{session.done} {lines if session.is_teardown else 'operations done'}"
        if session.status == "damaged":
            done = f"at least {done}, the rest is not known"
        print_line(f"{'':<8} {done}, {session.events} entries, by {session.by or '-'}: "
                   f"{display_path(session.path)}")  # fmt: skip
        if session.status == "damaged" and (new := _continued_in(session, listed)):
            print_line(f"{'':<8} It is continued in {new}")
        elif session.status == "damaged":
            command = "teardown" if session.is_teardown else "run"
            log = display_path(session.path)
            print_line(f"{'':<8} Continue it in a new log: benchflow {command} --continue-from {log}")
        if session.note:
            print_line(f"{'':<8} {session.note}")
    return SUCCESS


def _continued_in(damaged: "SessionSummary", listed: list["SessionSummary"]) -> str:
    """The log of ``listed`` that continues a damaged one; "" if none does."""
    if not any(each.continues for each in listed):
        return ""
    try:
        digest = sha256(read_regular_file(damaged.path)).hexdigest()
    except OSError:
        return ""
    return next((display_path(each.path) for each in listed if each.continues == digest), "")
