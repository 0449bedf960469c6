"""The command ``review``: ranks the weak evidence in a job that came back."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import msgspec

from benchflow.commands.console_output import print_json, print_line, print_lines, print_message, print_warning
from benchflow.commands.exit_codes import PROBLEM_FOUND, SUCCESS, exit_code_help
from benchflow.commands.history_source import shop_history
from benchflow.commands.loaded_files import is_terminal, load_named_log, load_register, with_later_copy

if TYPE_CHECKING:
    from benchflow.review.evidence.assessment import Review
    from benchflow.review.evidence.shop_history import ShopHistory
    from benchflow.review.log.loaded_log import LoadedLog
    from benchflow.session.shop.register import Shop
    from benchflow.session.state.come_back_events import FirstAnswers


@click.command(epilog=exit_code_help("The log is damaged. The part before the damage is reviewed."))
@click.argument("name", metavar="JOB")
@click.argument("complaint_words", metavar="[COMPLAINT]", nargs=-1)
@click.option("--search", metavar="TEXT", help="Instead of a COMPLAINT: search for TEXT in the operations.")
@click.option("--running", type=click.Choice(["yes", "no"]), help="Is it still run?")
@click.option("--since", metavar="TIME", default="", help="Hours or distance since the build: '40 h', '1,200 km'.")
@click.option("--when", type=click.Choice(["hot", "cold"]), help="Noticed when hot, or when cold.")
@click.option("--touched", metavar="TEXT", default="", help="Who has worked on it since, and on what.")
@click.option("--retorque", type=click.Choice(["yes", "no"]), help="Were the fasteners checked again, as asked?")
@click.option("--changed", metavar="TEXT", default="", help="Change of fuel, tune or use.")
@click.option("--log", "log_it", is_flag=True, help="Add COMPLAINT and the answers to the log of the job.")
@click.option("--by", metavar="NAME", default="", help="With --log: who adds it. Default: the builder.")
@click.option("--all", "every", is_flag=True, help="Print every step in full, not only the suspect ones.")
@click.option("--shop", type=click.Path(path_type=Path), help="Use this shop file to find instruments in doubt.")
@click.option(
    "--archive",
    "url",
    metavar="URL",
    help="Take the shop's other builds from this archive. Default: this machine's own, if it has one.",
)
@click.option("--rule", "show_rule", is_flag=True, help="Print the rule that ranks weak evidence as well.")
@click.option("--text", "as_text", is_flag=True, help="Print the review, on a terminal too. Implied by --all, --rule.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object, including the rule.")
def review(
    name: str, complaint_words: tuple[str, ...], search: str | None, running: str | None, since: str, when: str | None,
    touched: str, retorque: str | None, changed: str, log_it: bool, by: str, every: bool, shop: Path | None,
    url: str | None, show_rule: bool, as_text: bool, as_json: bool,
) -> int:  # fmt: skip
    """Review a job that came back. List the steps that should have prevented the complaint, those with the weakest
    evidence first. JOB is a log, or a part of its file name, such as the job number.

    On a terminal this opens a screen. From there, one key shows the time in the log, the text of the procedure, or
    the readings. COMPLAINT is in the customer's words (leaks, losing water, no power), or the name of a failure that
    the procedure lists. Without COMPLAINT the screen asks for it, and the printed review covers all steps.

    The options from --running to --changed answer the first questions. All may be left out. Without them, the answers
    in the log are used. The log is only read, except with --log.
    """
    complaint = " ".join(complaint_words) or None
    given = {"running": running or "", "since": since, "when": when or "", "touched": touched,
             "retorque": retorque or "", "changed": changed}  # fmt: skip
    if log_it and not complaint:
        raise click.UsageError("--log needs a COMPLAINT.")
    answers = _answers(given)
    if log_it:
        _log_complaint(name, {"text": complaint, **given, **({"by": by} if by else {})}, shop)
    loaded = with_later_copy(load_named_log(name, audited=True))
    if not any(given.values()) and loaded.facts.complaints:
        from benchflow.review.evidence.complaint_review import recorded_answers

        answers = recorded_answers(loaded, complaint)
    register, history = load_register(shop), shop_history(url)
    exit_code = SUCCESS if loaded.damage is None else PROBLEM_FOUND
    if is_terminal() and not (as_json or as_text or every or show_rule):
        from benchflow.commands.come_back_entry import record_come_back
        from benchflow.tui.review import show_review

        asked = None
        if complaint is not None or search is not None:
            asked = _assess(loaded, complaint, search, register, answers, history)

        def recorder(intent: dict[str, Any]) -> str:
            return record_come_back(name, intent, shop, url)

        return show_review(loaded, register, asked, history, recorder, answers) or exit_code
    assessed = _assess(loaded, complaint, search, register, answers, history)
    if as_json:
        print_json({**_review_as_json(assessed), "session": loaded.facts.session})
        return exit_code
    from benchflow.review.evidence.review_text import review_lines

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


def _answers(given: dict[str, str]) -> "FirstAnswers":
    """The answers to the first questions.

    Raises:
        click.UsageError: one of them cannot be read.
    """
    from benchflow.review.evidence.first_questions import NO_ANSWERS

    if not any(given.values()):
        return NO_ANSWERS
    from benchflow.review.evidence.given_answers import answers_given
    from benchflow.session.refusal import Refusal

    answers = answers_given(given)
    if isinstance(answers, Refusal):
        raise click.UsageError(" ".join(f"--{reason.name}: {reason.message}" for reason in answers.refused))
    return answers


def _log_complaint(name: str, fields: dict[str, Any], shop: Path | None) -> None:
    """Add the complaint to the log.

    Raises:
        BenchflowError: it cannot be added.
    """
    from benchflow.commands.come_back_entry import add_entry

    fields = {field: value for field, value in fields.items() if value}
    entry = add_entry(name, {"intent": "complaint", **fields}, shop)
    if entry.warning:
        print_warning(entry.warning)
    print_message(f"The complaint was added to the log as event {entry.seq}.")


def _assess(
    loaded: "LoadedLog",
    complaint: str | None,
    search: str | None,
    shop: "Shop | None",
    answers: "FirstAnswers",
    history: "ShopHistory | None",
) -> "Review":
    """The review for the text ``search``, else for the ``complaint``, else for all steps.

    Raises:
        UnknownComplaint: nothing in the procedure is like the complaint.
    """
    from benchflow.review.evidence.assessment import review_everything, review_search

    if search is not None:
        return review_search(loaded, search, shop, answers=answers, history=history)
    if complaint is None:
        return review_everything(loaded, shop, answers=answers, history=history)
    from benchflow.review.evidence.complaint_review import review_complaint

    return review_complaint(loaded, complaint, shop, answers=answers, history=history)


def _review_as_json(assessed: "Review") -> dict[str, Any]:
    """The review as JSON, with the derived grade of each step and of each reason."""
    from benchflow.review.evidence.shop_cases import CASES_NEEDED

    plain: dict[str, Any] = msgspec.to_builtins(assessed)
    for step, step_object in zip(plain["guards"], assessed.guards, strict=True):
        step["grade"], step["suspect"] = step_object.grade, step_object.suspect
        for reason, reason_object in zip(step["reasons"], step_object.reasons, strict=True):
            reason["grade"], reason["title"] = reason_object.grade, reason_object.title
    if assessed.cases is not None:
        plain["cases"] |= {"needed": CASES_NEEDED, "counts": assessed.cases.counts}
    if assessed.elsewhere is not None:
        reason = assessed.elsewhere.reason
        plain["elsewhere"] |= {"grade": reason.grade, "words": assessed.elsewhere.words}
        plain["elsewhere"]["reason"] |= {"grade": reason.grade, "title": reason.title}
    return plain
