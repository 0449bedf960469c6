"""Adds a complaint or a finding of a come-back to the log of a job."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec
from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.commands.file_lookup import find_log

if TYPE_CHECKING:
    from benchflow.session.come_back_log import AlreadyInLog
    from benchflow.session.log.line_format import Line
    from benchflow.session.log_writer import Answer


class NotAdded(BenchflowError):
    """The entry was not added to the log. ``why`` is the reason, and ``intent`` what was to be added."""

    def __init__(self, path: Path, why: str, intent: dict[str, Any]) -> None:
        text = msgspec.json.encode(intent).decode()
        super().__init__(f"Nothing was added to {path}. {why}\nKeep this entry, and add it later:\n{text}")
        self.why, self.intent = why, intent


class AddedEntry(Struct, frozen=True):
    """The event ``seq`` of a log with a complaint or a finding.

    ``new`` is its line if it was added now, ``None`` if the log has the same finding already. ``warning`` is a sentence
    about a log that is behind what this machine remembers, or forked from it; "" if it is neither.
    """

    seq: int
    new: "Line | None"
    warning: str


def add_entry(name: str, intent: dict[str, Any], shop: Path | None) -> AddedEntry:
    """Add an entry to the log that ``name`` names, unless it has the same finding already. It is on disk before this
    returns.

    Raises:
        NotAdded: the log cannot be written or continued, is an earlier copy, or the entry is refused.
        BenchflowError: no log or several logs match.
    """
    (entry,) = add_entries(name, [intent], shop)
    if isinstance(entry, NotAdded):
        raise entry
    return entry


def add_entries(name: str, intents: list[dict[str, Any]], shop: Path | None) -> list[AddedEntry | NotAdded]:
    """Add entries to the log that ``name`` names, as :func:`add_entry`. The others are added if one is refused.

    Raises:
        NotAdded: the log cannot be written or continued, or is an earlier copy.
        BenchflowError: no log or several logs match.
    """
    from benchflow.session.come_back_log import add_to_log
    from benchflow.session.head_memory import HeadMemory
    from benchflow.session.machine_folders import machine_folders
    from benchflow.session.procedure_loading import procedure_reader
    from benchflow.session.shop.live_register import Register

    path, folders = find_log(name), machine_folders()
    if shop is not None and not shop.exists():
        raise BenchflowError(f"There is no shop file {shop}. Name an existing one.")
    register = Register(shop or folders.shop, folders.compiled)
    try:
        replies, warning = add_to_log(path, intents, procedure_reader(), register, HeadMemory(folders.heads))
    except BenchflowError as error:
        raise NotAdded(path, str(error), intents[0]) from error
    return [_entry(path, intent, reply, warning) for intent, reply in zip(intents, replies, strict=True)]


def _entry(path: Path, intent: dict[str, Any], reply: "Answer | AlreadyInLog", warning: str) -> AddedEntry | NotAdded:
    from benchflow.session.come_back_log import AlreadyInLog
    from benchflow.session.refusal import Refusal

    if isinstance(reply, Refusal):
        return NotAdded(path, " ".join(reason.message for reason in reply.refused), intent)
    if isinstance(reply, AlreadyInLog):
        return AddedEntry(reply.seq, None, warning)
    return AddedEntry(reply.lines[-1].seq, reply.lines[-1], warning)


def add_to_archive(path: Path, url: str | None) -> str:
    """Add the log to the archive, which is made if needed. Returns where the archive is.

    Raises:
        BenchflowError: the archive cannot be used, or does not take the log.
    """
    from benchflow.commands.log_search import compiled_folder, machine_name, opened_archive
    from benchflow.review.archive.filing import file_logs
    from benchflow.session.machine_folders import machine_folders

    with opened_archive(url) as database:
        report = file_logs(database, [path], machine_name(), compiled=compiled_folder())
        for one in (*report.left_out, *report.behind, *report.forked):
            raise BenchflowError(f"The archive does not take {one.path}: {one.why}.")
        return database.shown if url and "://" in url else url or str(machine_folders().archive)


def record_come_back(name: str, intent: dict[str, Any], shop: Path | None, url: str | None) -> str:
    """Add a complaint or a finding to the log, and a finding to the archive too. Returns a message about it.

    Raises:
        NotAdded: it was not added to the log.
        BenchflowError: no log or several logs match.
    """
    entry = add_entry(name, intent, shop)
    message = f"Added to the log as event {entry.seq}." if entry.new is not None else already_text(entry)
    if entry.warning:
        message = f"{message} {entry.warning}"
    if intent["intent"] != "found":
        return message
    try:
        return f"{message} The log is in the archive {add_to_archive(find_log(name), url)}."
    except BenchflowError as error:
        return f"{message} {error} Add the log to the archive later: benchflow archive"


def already_text(entry: AddedEntry) -> str:
    """The message that a finding was not added again."""
    return f"The log has this finding already: event {entry.seq}. It was not added again."
