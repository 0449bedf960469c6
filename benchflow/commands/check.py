"""The command ``check``: finds the mistakes in a procedure and proves its order."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.check_text import (
    TO_FILL_CODE,
    causes_first,
    finding_lines,
    summary,
    to_fill_sentence,
    without_hint,
)
from benchflow.commands.console_output import display_path, print_json, print_lines, print_warning, print_wrapped
from benchflow.commands.exit_codes import CANNOT_RUN, PROBLEM_FOUND, SUCCESS, exit_code_help
from benchflow.commands.file_lookup import find_procedure
from benchflow.commands.progress_line import ProgressLine

if TYPE_CHECKING:
    from benchflow.writing.checking.file_report import FileReport

ALL_CODES = ""
"""The value of `--explain` without a code."""


@click.command(epilog=exit_code_help("A procedure has an error, or was not explored in full."))
@click.argument("files", metavar="FILE...", nargs=-1)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per file.")
@click.option(
    "--explain",
    is_flag=False,
    flag_value=ALL_CODES,
    metavar="[CODE]",
    help="Explain a finding and how to correct it, with an example. Without a CODE: list all findings.",
)
@click.option("--to-fill", is_flag=True, help="List every figure that is still to be filled in (`ask`), one per line.")
@click.option("--watch", is_flag=True,
              help="Check FILE again at each save: what is new, what is mended, what remains. Ctrl+C ends it; the exit "
              "code is that of the last check.")  # fmt: skip
@click.option("--bound", type=click.IntRange(min=1), metavar="N",
              help="Explore at most N configurations, then report what was proven.")  # fmt: skip
def check(
    files: tuple[str, ...], as_json: bool, explain: str | None, to_fill: bool, watch: bool, bound: int | None
) -> int:
    """Find every mistake in a procedure, with line and column. Then prove its order: no allowed order passes through
    a forbidden configuration, and every allowed order can be finished.

    FILE is the file of a procedure or of a block, or the name of a shipped procedure.
    """
    if explain is not None:
        from benchflow.commands.problem_explanations import all_codes, explanation

        print_lines(all_codes() if explain == ALL_CODES else explanation(explain).split("\n"))
        return SUCCESS
    if not files:
        raise click.UsageError("Name at least one FILE to check, or explain a finding: --explain CODE.")
    if watch:
        if len(files) != 1:
            raise click.UsageError("--watch checks one FILE at each save. Name one file.")
        from benchflow.commands.check_at_save import check_at_save

        return check_at_save(find_procedure(files[0]), bound, as_json=as_json)
    worst = SUCCESS
    for name in files:
        try:
            with ProgressLine() as line:
                report = _checked(find_procedure(name), bound, _shown_on(line, name, bound))
        except BenchflowError as error:
            print_warning(str(error))
            worst = CANNOT_RUN
            continue
        worst = worst if report.ok else max(worst, PROBLEM_FOUND)
        if as_json:
            print_json({**report.as_json(), "file": name})
        else:
            _print_report(report, to_fill=to_fill)
    return worst


def _shown_on(line: ProgressLine, name: str, bound: int | None) -> Callable[[str, int], None]:
    """The function that shows the progress of the proof of one file."""

    def show(phase: str, configurations: int) -> None:
        most = f" of at most {bound:,}" if bound else ""
        line.show(f"{configurations:,}{most} configurations explored; {phase}: {name}")

    return show


def check_file(path: Path, bound: int | None) -> dict[str, Any]:
    """The report on one file, as ``check --json`` prints it. ``bound`` limits the configurations to explore.

    Raises:
        BenchflowError: the file cannot be opened.
    """
    return _checked(path, bound, None).as_json()


def _checked(path: Path, bound: int | None, progress: Callable[[str, int], None] | None) -> "FileReport":
    """The report on one file, with its proof if no mistake prevents it.

    ``progress`` is called now and then with the phase of the proof and the number of configurations explored.
    """
    from benchflow.writing.checking.file_report import read_report, with_proof

    return with_proof(read_report(path, display_path), display_path, bound, progress)


def _print_report(report: "FileReport", *, to_fill: bool = False) -> None:
    """Print the findings and the summary. The figures to be filled in are one line, unless ``to_fill`` lists them."""
    file = report.file
    asked = [finding for finding in report.findings if finding["code"] == TO_FILL_CODE]
    if asked and not to_fill:
        first = asked[0]
        print_wrapped(
            [
                f"{file}:{first['line']}:{first['column']}: note: {to_fill_sentence(asked)}. "
                f"List them: benchflow check --to-fill {file} [{TO_FILL_CODE}]"
            ]
        )
    found, more = causes_first([*report.findings, *report.advice])
    for finding in sorted(found, key=lambda each: (each["line"], each["column"])):
        if finding["code"] == TO_FILL_CODE and not to_fill:
            continue
        if finding["code"] == TO_FILL_CODE:
            print_wrapped([f"{file}:{finding['line']}:{finding['column']}: {without_hint(finding['message'])}"])
            continue
        print_wrapped(finding_lines(file, finding))
    if more:
        print_wrapped([f"{file}: error: {more}. [unreachable-operation]"])
    print_wrapped([f"{file}: {summary(report.as_json(), report.proof)}"])
