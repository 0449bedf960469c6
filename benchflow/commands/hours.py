"""The command ``hours``: the worked time of a job by section, or the medians of several jobs."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.console_output import print_json, print_lines, print_warning
from benchflow.commands.exit_codes import PROBLEM_FOUND, SUCCESS, exit_code_help
from benchflow.commands.output_file import write_output

if TYPE_CHECKING:
    from benchflow.review.hours.teardown_hours import TeardownHours
    from benchflow.review.hours.worked_time import JobHours
    from benchflow.review.log.facts import SessionFact


@click.command(epilog=exit_code_help("A log is damaged. The hours after the damage are not known."))
@click.argument("names", metavar="JOB...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--csv", "as_csv", is_flag=True, help="Print one row for each section of each job, in minutes.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object. Times are in seconds.")
def hours(names: tuple[Path, ...], as_csv: bool, as_json: bool) -> int:
    """Show the worked time of a job by section, with pauses apart, beside what the procedure states.

    A JOB is the name or the file of a log, or a folder of logs. A teardown has no sections: its whole time is shown.
    For several jobs the medians of each section are shown, for the next estimate. The output states the rule by which
    pauses are kept apart from work. Of several copies of one job, the longest counts.
    """
    from benchflow.review.hours.hours_text import hours_csv, job_hours_lines, procedure_hours_lines
    from benchflow.review.hours.section_medians import hours_by_procedure
    from benchflow.review.hours.teardown_hours import teardown_hours_lines, teardown_list_lines

    jobs, teardowns, code = _hours_of(names)
    if not jobs and not teardowns:
        raise BenchflowError("There is no log of a job here. Name a log, or a folder of logs.")
    if as_csv:
        write_output(hours_csv(jobs, teardowns), None)
    elif as_json:
        print_json({"jobs": jobs, "procedures": hours_by_procedure(jobs), "teardowns": teardowns})
    elif len(jobs) + len(teardowns) == 1:
        print_lines(job_hours_lines(jobs[0]) if jobs else teardown_hours_lines(teardowns[0]))
    else:
        parts = [procedure_hours_lines(found) for found in hours_by_procedure(jobs)]
        for number, part in enumerate([*parts, teardown_list_lines(teardowns)] if teardowns else parts):
            print_lines(["", ""] if number else [])
            print_lines(part)
    return code


def _hours_of(names: tuple[Path, ...]) -> tuple[list["JobHours"], list["TeardownHours"], int]:
    """The hours of every job and teardown that can be read, and the exit code. Other logs are named on standard error.

    Of several copies of one job, the longest is used, as ``trend`` and ``trace`` do.
    """
    from benchflow.commands.file_lookup import log_paths
    from benchflow.review.formatting import count
    from benchflow.review.hours.teardown_hours import teardown_hours
    from benchflow.review.hours.worked_time import job_hours
    from benchflow.review.log.loaded_log import load_log
    from benchflow.session.log.log_folder import is_teardown_log
    from benchflow.session.procedure_loading import procedure_reader
    from benchflow.session.teardown.continued_teardown import digest_of_log

    jobs: dict[str, tuple[SessionFact, JobHours]] = {}
    copies, code, reader = 0, SUCCESS, procedure_reader()
    several = len(names) > 1 or names[0].is_dir()
    teardowns: dict[str, TeardownHours] = {}
    damaged: dict[str, tuple[Path, str]] = {}  # SHA-256 of a damaged teardown -> its path and session
    for path in log_paths(names, teardowns=True):
        try:
            if is_teardown_log(path):
                teardown = teardown_hours(path)
                copies += _add_teardown(teardowns, teardown)
                if teardown.damaged:
                    damaged[digest_of_log(path)] = path, teardown.session
                continue
            log = load_log(path, reader)
        except BenchflowError as error:
            if not several:
                raise
            print_warning(f"{error} It is left out.")
            code = PROBLEM_FOUND
            continue
        if log.damage is not None:
            code = PROBLEM_FOUND
            if several:
                print_warning(f"{path} is damaged from line {log.damage.line} on. The hours after that are not known.")
        session = log.facts.session
        old = jobs.get(session.session)
        copies += old is not None
        if old is None or session.is_better_copy_than(old[0]):
            jobs[session.session] = session, job_hours(log)
    if copies:
        print_warning(f"{count(copies, 'log')} left out: copies of jobs that are counted. The longest copy counts.")
    for one in [*teardowns.values()]:
        old_path, number = damaged.get(one.continues, (Path(), ""))
        if number in teardowns and teardowns[number].damaged:  # not if a whole copy of it is among them
            del teardowns[number]
            print_warning(f"{old_path} is left out: it is damaged, and {one.log} continues it with the same entries.")
    by_opening = sorted(teardowns.values(), key=lambda one: one.opened)
    if any(one.damaged for one in by_opening):
        code = PROBLEM_FOUND
    return [found for _, found in jobs.values()], by_opening, code


def _add_teardown(teardowns: dict[str, "TeardownHours"], new: "TeardownHours") -> bool:
    """Add the hours of a teardown. Returns true if it is a copy of one that is there; the longest counts."""
    old = teardowns.get(new.session)
    if old is None or new.events > old.events:
        teardowns[new.session] = new
    return old is not None
