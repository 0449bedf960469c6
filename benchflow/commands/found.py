"""The command ``found``: records what a come-back turned out to be."""

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.console_output import print_json, print_line, print_message, print_warning
from benchflow.commands.exit_codes import PROBLEM_FOUND, SUCCESS, exit_code_help
from benchflow.commands.loaded_files import is_terminal, load_named_log

if TYPE_CHECKING:
    from benchflow.commands.come_back_entry import AddedEntry
    from benchflow.review.log.loaded_log import LoadedLog

OUTCOMES = {
    "ours": "our work", "machine-shop": "the machine shop", "part": "a part that we supplied",
    "customer-part": "a part of the customer", "use": "the use of the engine", "unknown": "not found out",
}  # fmt: skip


@click.command(epilog=exit_code_help("The finding is in the log, but the log could not be added to the archive."))
@click.argument("name", metavar="JOB")
@click.option(
    "--complaint", metavar="TEXT", help="The complaint, in the customer's words. Default: the last one in the log."
)
@click.option("--finding", metavar="TEXT", help="What was found.")
@click.option("--step", metavar="STEP", help="The step that caused it: its number or id. 'none' if no step did.")
@click.option("--outcome", type=click.Choice(list(OUTCOMES)), help="Whose cause it was.")
@click.option("--date", metavar="DATE", help="The day of the finding, such as 2026-03-01. Default: today.")
@click.option("--hours", metavar="HOURS", help="Hours of work that the come-back took.")
@click.option("--by", metavar="NAME", help="Who signs for it. Default: as in the shop file, or the builder.")
@click.option("--replaces", type=int, metavar="EVENT", help="This corrects the finding of that event.")
@click.option("--withdraw", type=int, metavar="EVENT", help="Withdraw the finding of that event. Needs --reason.")
@click.option("--reason", metavar="TEXT", help="Why a finding is withdrawn.")
@click.option("--shop", type=click.Path(path_type=Path), help="Use this shop file instead of the usual one.")
@click.option("--archive", "url", metavar="URL", help="Add the log to this archive. Default: this machine's own.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def found(
    name: str, complaint: str | None, finding: str | None, step: str | None, outcome: str | None, date: str | None,
    hours: str | None, by: str | None, replaces: int | None, withdraw: int | None, reason: str | None,
    shop: Path | None, url: str | None, as_json: bool,
) -> int:  # fmt: skip
    """Record what a come-back turned out to be, in the log of its job, and add the log to the archive. Later reviews
    show it beside the steps that had the same complaint before. JOB is a log, or a part of its file name.

    On a terminal, what is missing is asked for. A job can have several findings. Correct a wrong one with --replaces,
    or withdraw it with --withdraw.
    """
    from benchflow.commands.come_back_entry import NotAdded, add_entry
    from benchflow.review.log.log_file import NoLog
    from benchflow.session.log.log_folder import NOT_A_JOB

    if withdraw is not None:
        if not reason:
            raise click.UsageError("--withdraw needs --reason.")
        intent: dict[str, Any] = {"intent": "withdraw", "event": withdraw, "reason": reason}
    else:
        given = {"complaint": complaint, "finding": finding, "outcome": outcome, "operation": step, "hours": hours,
                 "date": date}  # fmt: skip
        try:
            loaded = load_named_log(name)
        except NoLog as error:
            if NOT_A_JOB in str(error):
                raise
            raise NotAdded(Path(name), str(error), {"intent": "found", **given}) from error
        intent = {"intent": "found", **_complete(loaded, given)}
        if replaces is not None:
            intent["replaces"] = replaces
    signer = by or _default_signer(shop)
    if signer:
        intent["by"] = signer
    try:
        entry = add_entry(name, intent, shop)
    except NotAdded as error:
        if as_json:
            print_json({"added": False, "why": error.why, "intent": error.intent})
        raise
    return _report(name, entry, url, as_json)


def _default_signer(shop: Path | None) -> str:
    from benchflow.commands.loaded_files import load_register

    register = load_register(shop)
    return "" if register is None else register.defaults.by


def _complete(loaded: "LoadedLog", given: dict[str, str | None]) -> dict[str, str]:
    """The fields of a finding. On a terminal, those that are missing are asked for, one line each.

    Raises:
        click.UsageError: there is no terminal, and a field is missing that must be given.
        BenchflowError: the step is not in the build.
    """
    terminal, complaints = is_terminal(), loaded.facts.complaints
    if not terminal and complaints and not given["complaint"]:
        given = {**given, "complaint": complaints[-1].text}
    missing = [name for name in ("complaint", "finding", "outcome") if not given[name]]
    if missing and not terminal:
        options = ", ".join(f"--{name}" for name in missing)
        raise click.UsageError(f"Give {options}.")
    fields = dict(given)
    if missing:
        fields = _asked(loaded, given)
    operation = _operation_named(loaded, fields.pop("operation", None) or "")
    today = _today()
    found = {name: text for name, text in fields.items() if text}
    return {"date": today, **found, **({"operation": operation} if operation else {})}


def _today() -> str:
    """The local day."""
    from datetime import date

    return date.today().isoformat()


def _asked(loaded: "LoadedLog", given: dict[str, str | None]) -> dict[str, str | None]:
    complaints = loaded.facts.complaints
    print_message(f"Finding for {loaded.facts.session.unit or name_of(loaded)}. Press Enter to leave a line open.")
    print_message("Outcome: " + "; ".join(f"{name} ({text})" for name, text in OUTCOMES.items()))
    questions = (
        ("complaint", "Complaint", complaints[-1].text if complaints else None),
        ("finding", "What was found", None),
        ("operation", "Step (number or id)", ""),
        ("outcome", "Outcome", None),
        ("date", "Day", _today()),
        ("hours", "Hours of work", ""),
    )
    fields = dict(given)
    for name, question, default in questions:
        if fields[name] is None:
            kind = click.Choice(list(OUTCOMES)) if name == "outcome" else str
            check = partial(_asked_operation, loaded) if name == "operation" else None
            fields[name] = click.prompt(
                question, default=default, show_default=bool(default), type=kind, value_proc=check, err=True
            )
    return fields


def _asked_operation(loaded: "LoadedLog", text: str) -> str:
    """As :func:`_operation_named`; a wrong answer is asked for again."""
    try:
        return _operation_named(loaded, text)
    except BenchflowError as error:
        raise click.UsageError(str(error)) from error


def name_of(loaded: "LoadedLog") -> str:
    """The file name of a log."""
    return Path(loaded.path).name


def _operation_named(loaded: "LoadedLog", text: str) -> str:
    """The id of the step that ``text`` names by its number or id; "" for none.

    Raises:
        BenchflowError: this build has no such step.
    """
    text = text.strip()
    if text.casefold() in ("", "none", "no", "-"):
        return ""
    steps = loaded.plan.steps
    if text in steps:
        return text
    by_number = {str(loaded.plan.number(name)): name for name in steps}
    if text in by_number:
        return by_number[text]
    from benchflow.procedure.problems import hint_for

    hint = hint_for(text, steps) or f"Give a number from 1 to {len(steps)}, or the id of a step."
    raise BenchflowError(f"The build has no step {text!r}. {hint} If no step caused it: --step none")


def _report(name: str, entry: "AddedEntry", url: str | None, as_json: bool) -> int:
    """Add the log to the archive and print what was done. The finding is on disk before."""
    from benchflow.commands.come_back_entry import add_to_archive, already_text
    from benchflow.session.history.event_text import event_text
    from benchflow.session.history.log_titles import LogTitles
    from benchflow.session.state.events import event_of

    loaded = load_named_log(name)
    archive, problem = "", ""
    try:
        archive = add_to_archive(Path(loaded.path), url)
    except BenchflowError as error:
        problem = str(error)
    if entry.warning:
        print_warning(entry.warning)
    line = loaded.lines[entry.seq - 1]
    if as_json:
        data = {key: value for key, value in line.data.items() if key not in ("clock", "intent", "of", "sent")}
        print_json({
            "added": entry.new is not None, "log": loaded.path, "session": loaded.facts.session.session,
            "event": line.seq, "by": line.by, "at": line.at, **data, "archive": archive or None,
            "archive_problem": problem or None, "warning": entry.warning or None,
        })  # fmt: skip
    else:
        event = event_of(line)
        assert event is not None  # this version has written it
        print_line(f"{loaded.path}: event {line.seq} added." if entry.new else f"{loaded.path}: {already_text(entry)}")
        print_line(event_text(event, LogTitles(loaded.plan)))
    if problem:
        print_warning(f"{problem} The finding is in the log. Add the log later: benchflow archive {loaded.path}")
        return PROBLEM_FOUND
    if not as_json:
        print_message(f"Added to the archive {archive}.")
    return SUCCESS
