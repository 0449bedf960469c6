"""The command ``trend``: shows one reading over many builds."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.console_output import print_json, print_lines, print_warning
from benchflow.commands.exit_codes import SUCCESS, exit_code_help
from benchflow.commands.log_search import search_options, session_source, warn_of_teardowns
from benchflow.commands.output_file import write_output

if TYPE_CHECKING:
    from benchflow.review.many.session_question import SessionSource


@click.command(epilog=exit_code_help())
@click.argument("name")
@click.option("--times", is_flag=True, help="NAME is an operation. Show how long it takes.")
@click.option("--svg", type=click.Path(path_type=Path), help="Draw the charts of all series into this file.")
@search_options
def trend(
    name: str,
    times: bool,
    svg: Path | None,
    url: str | None,
    logs: tuple[Path, ...],
    since: str,
    until: str,
    as_json: bool,
) -> int:
    """Show the reading NAME over all builds, with its limits. Outliers and a drift towards a limit are reported.

    The chart is an individuals and moving range chart. `journal` shows each of journal[1], journal[2] in its own
    chart. Procedures and their revisions have charts of their own.
    """
    from benchflow.review.many.operation_durations import operation_durations
    from benchflow.review.many.session_question import time_span
    from benchflow.review.many.trend_text import duration_lines, trend_lines
    from benchflow.review.many.trends import trend_over_builds

    if times and svg is not None:
        raise click.UsageError("--svg draws readings, --times shows operations. Give one of them.")
    span = time_span(since, until)
    with session_source(url, logs) as source:
        if times:
            durations = operation_durations(source, name, *span)
            _name_skipped(source)
            warn_of_teardowns(source, logs, "operations")
            print_json(durations) if as_json else print_lines(duration_lines(durations))
            return SUCCESS
        result = trend_over_builds(source, name, *span)
        _name_skipped(source)
    if svg is not None:
        if not result.series:
            raise BenchflowError(f"No build has a valid reading {name} in that time, so there is no chart to draw.")
        from benchflow.review.many.chart_picture import chart_svg

        write_output(chart_svg(*result.series), svg)
    print_json(result) if as_json else print_lines(trend_lines(result))
    return SUCCESS


def _name_skipped(source: "SessionSource") -> None:
    """Name each file that could not be searched."""
    for file in source.left_out():
        print_warning(f"{file.path} {file.why}. It was skipped.")
