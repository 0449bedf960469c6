"""The command ``attach``: attaches pictures to a job, also after its end."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.console_output import print_json, print_line, print_message, print_warning
from benchflow.commands.exit_codes import PROBLEM_FOUND, SUCCESS, exit_code_help
from benchflow.commands.file_lookup import find_log
from benchflow.commands.teardown_attach import attach_to_teardown

if TYPE_CHECKING:
    from benchflow.commands.come_back_entry import AddedEntry, NotAdded


@click.command(epilog=exit_code_help("A file was not attached. The others were."))
@click.argument("name", metavar="JOB")
@click.argument("files", metavar="[FILE]...", nargs=-1)
@click.option("--operation", metavar="STEP", help="A picture of this operation: its number or id.")
@click.option("--value", metavar="NAME", help="A picture of this value, such as bore, or of one reading: bore[2].")
@click.option("--fastener", metavar="JOINT[N]", help="A picture of this fastener, such as studs[3], or of a joint.")
@click.option("--note", type=int, metavar="EVENT", help="A picture of the note, deviation or complaint of that event.")
@click.option("--line", metavar="LINE", default="", help="In a teardown: a picture of this line, such as 12.")
@click.option("--text", metavar="TEXT", default="", help="A caption.")
@click.option("--by", metavar="NAME", help="Who attaches it. Default: the builder of the job.")
@click.option("--withdraw", type=int, metavar="EVENT", help="Withdraw the picture of that event. Needs --reason.")
@click.option("--reason", metavar="TEXT", help="Why a picture is withdrawn.")
@click.option("--shop", type=click.Path(path_type=Path), help="Use this shop file instead of the usual one.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per file.")
def attach(
    name: str, files: tuple[str, ...], operation: str | None, value: str | None, fastener: str | None,
    note: int | None, line: str, text: str, by: str | None, withdraw: int | None, reason: str | None, shop: Path | None,
    as_json: bool,
) -> int:  # fmt: skip
    """Attach pictures to the log of a job, also after its end: JPEG, PNG, WebP, GIF, TIFF, AVIF, HEIC or PDF.

    Each FILE is copied unchanged into the folder JOB.pictures beside the log, under its SHA-256. Data in it such as the
    position of a phone is copied too. The log gets its name, size and SHA-256. The FILE itself stays where it is.

    Without an option, it is a picture of the operation in progress, or of the whole job. JOB can be a teardown: then
    it is a picture of the line given with --line, or of the whole assembly.
    """
    if (log := _teardown_named(name, wanted=bool(line))) is not None:
        if operation or value or fastener or note or withdraw is not None:
            raise click.UsageError("In a teardown, a picture is of a line (--line) or of the whole assembly.")
        if not files:
            raise click.UsageError("Name a picture: benchflow attach TEARDOWN FILE")
        return attach_to_teardown(log, files, line=line, text=text, by=by or "", as_json=as_json)
    if line:
        raise click.UsageError("--line is for a teardown. Name a step of a job with --operation.")
    if withdraw is not None:
        if not reason or files:
            raise click.UsageError("--withdraw needs --reason, and no FILE.")
        intents: list[dict[str, Any]] = [{"intent": "withdraw", "event": withdraw, "reason": reason}]
    elif not files:
        raise click.UsageError("Name a picture: benchflow attach JOB FILE")
    else:
        subject = _subject(name, operation, value, fastener, note)
        intents = [{"intent": "attach", "file": file, **subject, **({"text": text} if text else {})} for file in files]
    if by:
        intents = [{**intent, "by": by} for intent in intents]
    from benchflow.commands.come_back_entry import NotAdded, add_entries

    try:
        entries = add_entries(name, intents, shop)
    except NotAdded as error:
        raise BenchflowError(f"Nothing was attached. {error.why}") from error
    done = [_report(name, intent, entry, as_json) for intent, entry in zip(intents, entries, strict=True)]
    return SUCCESS if all(done) else PROBLEM_FOUND


def _teardown_named(name: str, *, wanted: bool) -> Path | None:
    """The teardown with this name or path; ``None`` if it is a job. If both have the name, ``wanted`` decides."""
    from benchflow.session.log.log_folder import is_teardown_log

    log = find_log(name, kind="teardown" if wanted else "job")
    return log if is_teardown_log(log) else None


def _subject(
    name: str, operation: str | None, value: str | None, fastener: str | None, note: int | None
) -> dict[str, Any]:
    """The fields of the intent for what the picture shows.

    Raises:
        click.UsageError: more than one thing is named.
        BenchflowError: the job has no such operation.
    """
    named = [option for option, given in (("--value", value), ("--fastener", fastener), ("--note", note)) if given]
    if len(named) > 1:
        raise click.UsageError(f"Give only one of {' and '.join(named)}. A picture is attached to one thing.")
    fields: dict[str, Any] = {}
    if operation is not None:
        fields["operation"] = _operation_id(name, operation)
    if value is not None:
        fields["name"] = value
    if note is not None:
        fields["event"] = note
    if fastener is not None:
        joint, bracket, number = fastener.partition("[")
        fields["joint"] = joint
        if bracket:
            fields["fastener"] = number.removesuffix("]")
    return fields


def _operation_id(name: str, text: str) -> str:
    """The id of a step that is named by its id or its number."""
    if not text.strip().isdecimal():
        return text
    from benchflow.commands.loaded_files import load_named_log

    plan = load_named_log(name).plan
    return next((step for step in plan.steps if str(plan.number(step)) == text.strip()), text)


def _report(name: str, intent: dict[str, Any], entry: "AddedEntry | NotAdded", as_json: bool) -> bool:
    """Print what was attached or withdrawn, or why it was refused. Returns false if it was refused."""
    from benchflow.commands.come_back_entry import NotAdded

    if isinstance(entry, NotAdded):
        if as_json:
            print_json({"attached": False, "file": intent.get("file"), "why": entry.why})
        else:
            print_warning(entry.why)
        return False
    line = entry.new
    assert line is not None  # only a finding can be in the log already
    if entry.warning:
        print_warning(entry.warning)
    if as_json:
        data = {key: value for key, value in line.data.items() if key not in ("clock", "intent", "of", "sent")}
        print_json({"attached": True, "event": line.seq, "by": line.by, "at": line.at, **data})
        return True
    from benchflow.commands.loaded_files import load_named_log
    from benchflow.session.history.event_text import event_text
    from benchflow.session.history.log_titles import LogTitles
    from benchflow.session.pictures.picture_file import no_thumbnail
    from benchflow.session.state.events import PictureAttached, event_of

    event = event_of(line)
    assert event is not None  # this version has written it
    print_line(f"Event {line.seq}: {event_text(event, LogTitles(load_named_log(str(find_log(name))).plan))}")
    if isinstance(event, PictureAttached) and no_thumbnail(event.facts):
        print_message(no_thumbnail(event.facts))
    return True
