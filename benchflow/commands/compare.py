"""The command ``compare``: shows two builds side by side."""

import click
import msgspec

from benchflow.commands.console_output import print_json, print_lines
from benchflow.commands.exit_codes import PROBLEM_FOUND, SUCCESS, exit_code_help
from benchflow.commands.loaded_files import is_terminal, load_named_log


@click.command(epilog=exit_code_help("A log is damaged. The part before the damage is compared."))
@click.argument("left", metavar="JOB")
@click.argument("right", metavar="JOB")
@click.option("--text", "as_text", is_flag=True, help="Print the comparison, on a terminal too.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def compare(left: str, right: str, as_text: bool, as_json: bool) -> int:
    """Compare two builds: readings, times, parts and people. Differences come first. The procedures must be the same,
    or two revisions of one. JOB is a log, or a part of its file name. On a terminal this opens a screen."""
    from benchflow.review.many.comparison import compare as compare_builds

    left_log, right_log = load_named_log(left), load_named_log(right)
    code = SUCCESS if left_log.damage is None and right_log.damage is None else PROBLEM_FOUND
    comparison = compare_builds(left_log, right_log)
    if as_json:
        print_json({**msgspec.to_builtins(comparison), "first": comparison.first})
    elif is_terminal() and not as_text:
        from benchflow.tui.review import show_comparison

        return show_comparison(left_log, right_log, comparison) or code
    else:
        from benchflow.review.many.comparison_text import comparison_lines

        print_lines(comparison_lines(comparison))
    return code
