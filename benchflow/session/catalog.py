"""The logs in a folder: a file name for a new log, and a quick summary of each existing one."""

import os
import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from pathlib import Path
from typing import Any, Literal

import msgspec
from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import shown_path
from benchflow.base.regular_file import read_regular_file
from benchflow.session.log import lock, sidecars
from benchflow.session.log.line_format import ZEROS, Damage, UntrustedLine, has_own_hash, read
from benchflow.session.log.log_folder import SUFFIX, TEARDOWN_OPENED, SkippedFile, folder_content, read_or_skip
from benchflow.session.log.timestamps import parse_timestamp
from benchflow.session.state import done_operations
from benchflow.session.state.events import EVENT_TYPES, FORMAT, AnyEvent, typed_event


def new_log_path(folder: Path, procedure: str, unit: str, day: date) -> Path:
    """The path for a new log, such as ``2026-03-01_head-install_job-2417.jsonl``. Makes no file."""
    stem = "_".join((day.isoformat(), file_name_part(procedure, "procedure"), file_name_part(unit, "unit")))
    path, number = folder / f"{stem}{SUFFIX}", 1
    while os.path.lexists(path):  # a link that leads nowhere counts
        number += 1
        path = folder / f"{stem}-{number}{SUFFIX}"
    return path


def file_name_part(text: str, default: str) -> str:
    """``text`` as part of a file name: letters and digits of any script, ``.`` and ``-``; at most 80 bytes."""
    name = re.sub(r"[^\w.]+|_", "-", unicodedata.normalize("NFC", text))
    short = name.encode("utf-8", "ignore")[:80].decode("utf-8", "ignore")
    return re.sub(r"-{2,}", "-", short).strip("-.") or default


LogStatus = Literal["open", "closed", "held", "damaged", "empty", "moved", "skipped"]
"""``held``: another program has the log open. ``empty``: no event yet. ``moved``: it continues in another file.
``skipped``: it is not a file, or it cannot be read."""


class SessionSummary(Struct, frozen=True):
    """A summary of one log. Its texts are as in the log: clean them before printing.

    ``done`` is the number of operations that are done. ``note`` explains ``status``, for example with the file in
    which a moved log continues; it is "" if there is nothing to explain.
    """

    path: Path
    status: LogStatus
    note: str = msgspec.field(default="", name="words")
    procedure: str = ""  # its title, or the name of its file
    sha256: str = ""  # of the procedure's text
    options: dict[str, str] = {}
    unit: str = ""
    by: str = ""
    opened_at: str = ""
    last_at: str = ""
    events: int = 0
    done: int = 0
    simulated: bool = False
    continues: str = ""  # SHA-256 of the log that the job or the teardown continues
    is_teardown: bool = False  # then ``procedure`` is what is taken apart, and ``done`` the number of lines off


class _EventHeader(Struct):
    """The fields of an event that a summary needs. ``data`` is decoded only for some kinds of event."""

    seq: int
    at: str
    by: str
    kind: str
    data: msgspec.Raw
    prev: str
    hash: str


_decode_header = msgspec.json.Decoder(_EventHeader).decode
_decode_data = msgspec.json.Decoder(dict[str, Any]).decode


def list_sessions(folder: Path) -> list[SessionSummary]:
    """The logs in ``folder``, the last one worked on first; empty if the folder does not exist.

    The hash of every line is checked. What is at or after a damaged line does not count: then ``done`` and ``events``
    are the least that there is. A file that cannot be read is in the list as ``skipped``.

    Raises:
        BenchflowError: the folder cannot be read.
    """
    try:
        content = folder_content(folder)
    except FileNotFoundError:
        return []
    except OSError as error:
        raise BenchflowError(f"The folder {folder} cannot be read: {error.strerror}.") from error
    skipped = [_skipped(each) for each in content.skipped]
    logs = [*map(summarize_log, content.logs), *skipped]
    return sorted(logs, key=lambda session: session.last_at, reverse=True)


def summarize_log(path: Path) -> SessionSummary:
    """The summary of one log. It never raises."""
    found = read_or_skip(path, _summary_of)
    return _skipped(found) if isinstance(found, SkippedFile) else found


def _skipped(file: SkippedFile) -> SessionSummary:
    return SessionSummary(file.path, "skipped", file.why)


def _summary_of(path: Path) -> SessionSummary:
    data = read_regular_file(path)
    events = _undamaged_events(data)
    if events is not None:
        return _summary_of_events(path, events)
    parsed = read(data)  # in detail, which is slower
    events = [_decode_header(msgspec.json.encode(line)) for line in parsed.lines]
    summary = _summary_of_events(path, events)
    if parsed.damage is not None:
        return msgspec.structs.replace(summary, status="damaged", note=_damage_text(parsed.damage, parsed.untrusted))
    if parsed.converted and summary.status in ("open", "closed"):
        note = "another program converted its line ends to CR LF; can be viewed, not continued"
        return msgspec.structs.replace(summary, note=note)
    return summary


def _damage_text(damage: Damage, untrusted: Sequence[UntrustedLine]) -> str:
    text = f"line {damage.line} {damage.what}"
    if not untrusted:
        return text
    where = "after it" if damage.line == 1 else "from there on"
    lines = "1 line" if len(untrusted) == 1 else f"{len(untrusted)} lines"
    return f"{text}; {lines} {where} can be read, but not trusted"


def _summary_of_events(path: Path, events: list[_EventHeader]) -> SessionSummary:
    if not events:
        return SessionSummary(path, "empty", "it has no event yet")
    first = events[0]
    if first.kind == TEARDOWN_OPENED:
        return _summary_of_teardown(path, events)
    if first.kind != "opened":
        return SessionSummary(path, "damaged", "its first event is not `opened`")
    opened = _decode_data(first.data)
    status, note = _status(path, opened, events)
    return _summary(opened, first.by, first.at, path, events[1:], status, note)


def _summary_of_teardown(path: Path, events: list[_EventHeader]) -> SessionSummary:
    """The summary of a teardown log; ``done`` is the number of lines that are off."""
    opened = _decode_data(events[0].data)
    kinds = [event.kind for event in events]
    status: LogStatus = "open"
    note = ""
    if "teardown-closed" in kinds:
        status = "closed"
    elif (new_path := sidecars.moved_to(path)) is not None:
        status, note = "moved", f"continues in {shown_path(new_path)}"
    elif (holder := lock.current_holder(path)) is not None:
        status, note = "held", f"open in another program: {holder.text}"
    parse_timestamp(events[-1].at)  # the list shows it in local time
    continued = opened.get("continues")
    continued = continued if isinstance(continued, dict) else {}
    return SessionSummary(
        path=path,
        status=status,
        note=note,
        procedure=_text(opened, "what"),
        unit=_text(opened, "unit"),
        by=events[0].by,
        opened_at=_text(continued, "opened_at") or events[0].at,
        last_at=events[-1].at,
        events=len(events),
        done=_lines_off(events),
        simulated=opened.get("simulated") is True,
        continues=_text(continued, "sha256"),
        is_teardown=True,
    )


def _lines_off(events: Iterable[_EventHeader]) -> int:
    """The number of lines that are off in a teardown, without those that were undone, put back or taken away."""
    changes: dict[int, tuple[str, dict[str, Any]]] = {}
    for event in events:
        if event.kind == "undone":
            undone = _decode_data(event.data).get("event")
            changes.pop(undone if isinstance(undone, int) else 0, None)
        elif event.kind in ("came-off", "put-back", "off-again", "line-removed", "line-split"):
            changes[event.seq] = event.kind, _decode_data(event.data)
    off: set[str] = set()
    for kind, data in changes.values():
        line, lines = _text(data, "line"), data.get("lines")
        if kind in ("came-off", "off-again"):
            off.add(line)
        elif kind in ("put-back", "line-removed"):
            off.discard(line)
        elif line in off and isinstance(lines, list):  # a split line; the first part keeps its id
            off.update(map(str, lines))
    return len(off)


def _undamaged_events(data: bytes) -> list[_EventHeader] | None:
    """The events of a log; ``None`` if a line or a group is damaged or incomplete, or not in the canonical form.

    It takes a third of the time of :func:`benchflow.session.log.line_format.read`.
    """
    events: list[_EventHeader] = []
    prev = ZEROS
    *lines, tail = data.split(b"\n")
    if tail:
        return None
    for number, line in enumerate(lines, start=1):
        try:
            event = _decode_header(line)
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
            return None
        if event.seq != number or event.prev != prev or not has_own_hash(line, event.hash):
            return None
        prev = event.hash
        events.append(event)
    return events if not events or _decode_data(events[-1].data).get("of", 1) == 1 else None


def _status(path: Path, opened: dict[str, Any], events: Iterable[_EventHeader]) -> tuple[LogStatus, str]:
    """The status of a readable log, and the note on it."""
    if any(event.kind == "closed" for event in events):
        return "closed", ""
    if (new_path := sidecars.moved_to(path)) is not None:
        return "moved", f"continues in {shown_path(new_path)}"
    if opened.get("format", 1) != FORMAT:
        return "open", f"written by benchflow {_text(opened, 'version')}; can be viewed, not continued"
    if any(event.kind not in EVENT_TYPES for event in events):
        return "open", "a newer version of benchflow worked on it; can be viewed, not continued"
    holder = lock.current_holder(path)
    return ("held", f"open in another program: {holder.text}") if holder else ("open", "")


def _summary(
    data: dict[str, Any], by: str, at: str, path: Path, events: list[_EventHeader], status: LogStatus, note: str
) -> SessionSummary:
    options = data.get("options")
    last_at = events[-1].at if events else at
    parse_timestamp(last_at)  # the list shows it in local time
    return SessionSummary(
        path=path,
        status=status,
        note=note,
        procedure=_title(_text(data, "procedure")) or _text(data, "file"),
        sha256=_text(data, "procedure_sha256"),
        options={name: str(value) for name, value in options.items()} if isinstance(options, dict) else {},
        unit=_text(data, "unit"),
        by=by,
        opened_at=at,
        last_at=last_at,
        events=1 + len(events),
        done=len(done_operations.done_after(_done_events(events))),
        simulated=data.get("simulated") is True,
        continues=_text(continued, "sha256") if isinstance(continued := data.get("continues"), dict) else "",
    )


def _done_events(events: Iterable[_EventHeader]) -> Iterator[AnyEvent]:
    """The events that change which operations are done. Events that cannot be read are left out."""
    for event in events:
        if event.kind not in done_operations.KINDS:
            continue
        try:
            typed = typed_event(event.kind, _decode_data(event.data))
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
            continue
        if typed is not None:
            yield typed


def _text(data: dict[str, Any], name: str) -> str:
    value = data.get(name)
    return value if isinstance(value, str) else ""


def _title(procedure: str) -> str:
    """The title in the text of a procedure, without parsing it. In every valid file its line is not indented."""
    found = re.search(r"^title:[ \t]+([^\s|>&].*?)[ \t]*(?:[ \t]#.*)?$", procedure, re.MULTILINE)
    if found is None:
        return ""
    quoted = re.fullmatch(r"(['\"])(.*)\1", found[1])
    return quoted[2] if quoted else found[1]
