"""The command ``archive``: keeps an index of many logs."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.console_output import display_path, print_json, print_lines, print_message, print_warning
from benchflow.commands.exit_codes import PROBLEM_FOUND, SUCCESS, exit_code_help
from benchflow.commands.file_lookup import log_paths
from benchflow.commands.log_search import compiled_folder, machine_name, opened_archive
from benchflow.commands.output_file import write_output
from benchflow.commands.progress_line import ProgressLine

if TYPE_CHECKING:
    from benchflow.review.archive.database import Database
    from benchflow.review.archive.filing_report import FilingReport
    from benchflow.review.archive.index import ArchiveIndex


@click.command(epilog=exit_code_help("A log does not verify, fails the audit, or is forked."))
@click.argument("paths", nargs=-1, metavar="[watch] [FOLDER|LOG]...", type=click.Path(path_type=Path))
@click.option("--to", "url", metavar="URL", help="postgresql://user@host/name, or the path of an SQLite file.")
@click.option("--rebuild", is_flag=True, help="Make the part of this machine again from its logs. The rest stays.")
@click.option("--copy-logs", is_flag=True, help="Store the complete logs as well. Other benches can then fetch them.")
@click.option("--no-audit", is_flag=True, help="Do not decide the entries of new logs again. This is faster.")
@click.option("--fetch", metavar="JOB", help="Write the stored log of JOB to the file given with -o.")
@click.option("-o", "--out", type=click.Path(path_type=Path), help="The file for --fetch. Default: standard output.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per report.")
def archive(
    paths: tuple[Path, ...],
    url: str | None,
    rebuild: bool,
    copy_logs: bool,
    no_audit: bool,
    fetch: str | None,
    out: Path | None,
    as_json: bool,
) -> int:
    """Add logs to an index, to search many jobs together. The index holds readings, ticks by stage, lots, names and
    times. It can be made again from the logs at any time.

    Without FOLDER or LOG, the logs of this machine are added. Repeat the command to add what is new. Several benches
    may add logs at the same time. A log that does not verify is left out and named. A
    log that fails the audit is added and named.

    `benchflow archive watch FOLDER` keeps running, and adds each change of a log. JOB is a unit, or the first digits
    of the number of a job. Put the password of a server into ~/.pgpass or PGPASSWORD. In the URL, other people
    could read it.
    """
    from benchflow.session.machine_folders import machine_folders

    watching = bool(paths) and str(paths[0]) == "watch"
    named = list(paths[1:] if watching else paths) or [machine_folders().sessions]
    with opened_archive(url, fresh=machine_name() if rebuild else None) as database:
        if fetch is not None:
            return _fetch(database, fetch, out)
        if watching:
            return _watch(database, named, copy_logs, not no_audit, as_json)
        from benchflow.review.archive.filing import file_copies, file_logs

        with ProgressLine() as line:
            report = file_logs(
                database,
                log_paths(named, teardowns=True),
                machine_name(),
                folders=[path for path in named if path.is_dir()],
                copy_logs=copy_logs,
                audited=not no_audit,
                compiled=compiled_folder(),
                progress=lambda done, total: line.show(f"{done:,} of {total:,} logs added"),
            )
        if rebuild:
            file_copies(database, compiled_folder())
        _print_report(report, as_json)
    return PROBLEM_FOUND if report.left_out or report.failing or report.forked else SUCCESS


def _print_report(report: "FilingReport", as_json: bool) -> None:
    from benchflow.review.answer_text import filing_lines

    if as_json:
        print_json(report)
    else:
        print_lines(filing_lines(report))


def _watch(database: "Database", named: list[Path], copy_logs: bool, audited: bool, as_json: bool) -> int:
    """File every change of a log in one folder, until interrupted."""
    from benchflow.review.archive.watch import watch

    if len(named) != 1 or not named[0].is_dir():
        raise click.UsageError("`archive watch` needs exactly one existing folder.")
    print_message(f"Watching {display_path(named[0])}. Changes go to {database.shown}. To stop: Ctrl+C.")
    reports = watch(
        database, named[0], machine_name(), copy_logs=copy_logs, audited=audited, compiled=compiled_folder()
    )
    for report in reports:
        _print_report(report, as_json)
    return SUCCESS


def _fetch(database: "Database", job: str, out: Path | None) -> int:
    """Write the stored log of one job: the copy that was filed first, and its later parts.

    ``job`` is a unit, the start of the number of the job, or the start of a fingerprint, to name a forked copy.

    Raises:
        BenchflowError: no job or several jobs match, or there is no intact copy of the log.
    """
    from benchflow.review.archive.index import ArchiveIndex
    from benchflow.session.log.line_format import read

    index = ArchiveIndex(database)
    by_head = index.copies_by_head(job) if len(job) >= MIN_HEAD else []
    if len(by_head) == 1:
        session, head = by_head[0]
    else:
        session, head = _session_named(index, job)
    content = index.log_of(session, head)
    if content is None:
        match = next(one for one in index.logs() if one.session.session == session)
        raise BenchflowError(
            f"The archive has no copy of that log. The log is on {match.bench} at {match.path}. "
            "Add it there with --copy-logs."
        )
    for other, bench, path in index.forks_of(session, head):
        print_warning(f"A forked copy of this log was filed too, from {bench} at {path}: --fetch {other[:16]}")
    result = read(content)
    if result.damage is not None or not result.lines or result.lines[-1].hash != head:
        raise BenchflowError("The copy in the archive does not verify. Nothing was written. Use the original log.")
    write_output(content, out)
    return SUCCESS


MIN_HEAD = 12
"""The fewest digits of a fingerprint that name one stored copy."""


def _session_named(index: "ArchiveIndex", job: str) -> tuple[str, str]:
    """Session and head of the job with this unit, or whose number begins with ``job``.

    If one job and teardowns have the unit, the job counts, and the teardowns are named.

    Raises:
        BenchflowError: no job or several jobs match.
    """
    matches = [one for one in index.logs() if job in (one.session.unit, one.session.session[: len(job)])]
    if not matches:
        raise BenchflowError(f"The archive has no job {job!r}. Check the unit, or add its log first.")
    jobs = [one for one in matches if not one.session.teardown]
    others = [f"{one.session.session[:16]} (teardown of {one.session.unit})" for one in matches if one not in jobs]
    if len(jobs) == 1 and others:
        print_message(f"{job!r} names teardowns too. To fetch one, give the first digits: {', '.join(others[:8])}")
        matches = jobs
    if len(matches) > 1:
        listed = ", ".join([*(f"{one.session.session[:16]} ({one.session.unit})" for one in jobs), *others][:8])
        raise BenchflowError(
            f"{len(matches)} jobs match {job!r}: {listed}. Give the first digits of the number of one of them."
        )
    return matches[0].session.session, matches[0].session.head
