"""The command ``review``: ranks the weak evidence in a job that came back."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import msgspec

from benchflow.base.errors import BenchflowError
from benchflow.commands.console_output import print_json, print_line, print_lines, print_message
from benchflow.commands.exit_codes import PROBLEM_FOUND, SUCCESS, exit_code_help
from benchflow.commands.loaded_files import is_terminal, load_named_log, load_register

if TYPE_CHECKING:
    from benchflow.review.evidence.assessment import Review
    from benchflow.review.log.loaded_log import LoadedLog
    from benchflow.session.shop.register import Shop


@click.command(epilog=exit_code_help("The log is damaged. The part before the damage is reviewed."))
@click.argument("name", metavar="LOG")
@click.argument("complaint", required=False)
@click.option("--search", metavar="TEXT", help="Instead of a COMPLAINT: search for TEXT in the operations.")
@click.option("--all", "every", is_flag=True, help="Print every step in full, not only the suspect ones.")
@click.option("--shop", type=click.Path(path_type=Path), help="Use this shop file to find instruments in doubt.")
@click.option("--rule", "show_rule", is_flag=True, help="Print the rule that ranks weak evidence as well.")
@click.option("--text", "as_text", is_flag=True, help="Print the review, on a terminal too. Implied by --all, --rule.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object, including the rule.")
def review(
    name: str, complaint: str | None, search: str | None, every: bool, shop: Path | None, show_rule: bool,
    as_text: bool, as_json: bool,
) -> int:  # fmt: skip
    """Review a job that came back. List the steps that should have prevented the complaint, those with the weakest
    evidence first.

    On a terminal this opens a screen. From there, one key shows the time in the log, the text of the procedure, or
    the readings. COMPLAINT is a failure that the procedure lists, by its name or its text. Without COMPLAINT the
    screen asks for it, and the printed review covers all steps.
    """
    loaded = load_named_log(name, audited=True)
    register = load_register(shop)
    exit_code = SUCCESS if loaded.damage is None else PROBLEM_FOUND
    if is_terminal() and not (as_json or as_text or every or show_rule):
        from benchflow.tui.review import show_review

        asked = None if complaint is None and search is None else _assess(loaded, complaint, search, register)
        return show_review(loaded, register, asked) or exit_code
    assessed = _assess(loaded, complaint, search, register)
    if as_json:
        print_json({**_review_as_json(assessed), "session": loaded.facts.session})
        return exit_code
    from benchflow.review.answer_text import review_lines

    print_lines(review_lines(assessed, every=every))
    if show_rule:
        print_line()
        print_lines(assessed.rule)
    if complaint is None and search is None and assessed.failures:
        print_message("")
        print_message("To see only the steps that should have prevented one complaint, name it:")
        for failure in assessed.failures:
            print_message(f"  {failure.id:<24} {failure.text}")
    return exit_code


def _assess(loaded: "LoadedLog", complaint: str | None, search: str | None, shop: "Shop | None") -> "Review":
    """The review for the text ``search``, else for the ``complaint``, else for all steps.

    Raises:
        BenchflowError: the procedure does not list the complaint.
    """
    from benchflow.review.evidence.assessment import find_failure, review_everything, review_failure, review_search

    if search is not None:
        return review_search(loaded, search, shop)
    if complaint is None:
        return review_everything(loaded, shop)
    failure = find_failure(loaded, complaint)
    if failure is None:
        names = ", ".join(failure.id for failure in loaded.procedure.failures) or "none"
        raise BenchflowError(
            f"The procedure lists no complaint {complaint!r}. It lists: {names}. To search: --search {complaint!r}"
        )
    return review_failure(loaded, failure, shop)


def _review_as_json(assessed: "Review") -> dict[str, Any]:
    """The review as JSON, with the derived grade of each step and of each reason."""
    plain: dict[str, Any] = msgspec.to_builtins(assessed)
    for step, step_object in zip(plain["guards"], assessed.guards, strict=True):
        step["grade"], step["suspect"] = step_object.grade, step_object.suspect
        for reason, reason_object in zip(step["reasons"], step_object.reasons, strict=True):
            reason["grade"], reason["title"] = reason_object.grade, reason_object.title
    return plain
