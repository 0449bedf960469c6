"""The logs in a folder: the name of a new one, and a quick summary of each that is there."""

import re
import unicodedata
from collections.abc import Iterable, Iterator
from datetime import date
from pathlib import Path
from typing import Any, Literal

import msgspec
from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.session.log import lock, sidecars
from benchflow.session.log.line_format import read
from benchflow.session.state import done_operations
from benchflow.session.state.events import FORMAT, AnyEvent, typed_event

SUFFIX = ".jsonl"


def new_log_path(folder: Path, procedure: str, unit: str, day: date) -> Path:
    """A free, readable file name: ``2026-03-01_head-install_job-2417.jsonl``. Makes no file."""
    stem = "_".join((day.isoformat(), _plain(procedure, "procedure"), _plain(unit, "unit")))
    path, number = folder / f"{stem}{SUFFIX}", 1
    while path.exists():
        number += 1
        path = folder / f"{stem}-{number}{SUFFIX}"
    return path


def _plain(text: str, otherwise: str) -> str:
    """``text`` as part of a file name: letters and digits of any script, ``.`` and ``-``; at most 80 bytes."""
    name = re.sub(r"[^\w.]+|_", "-", unicodedata.normalize("NFC", text))
    short = name.encode("utf-8", "ignore")[:80].decode("utf-8", "ignore")
    return re.sub(r"-{2,}", "-", short).strip("-.") or otherwise


LogStatus = Literal["open", "closed", "held", "damaged", "empty", "moved"]
"""``held``: another program is writing the log. ``empty``: it has no event yet. ``moved``: it continues elsewhere."""


class Session(Struct, frozen=True):
    """A summary of one log. Texts are as in the log: clean them before showing.

    ``done`` counts the operations that are done, as the fold does. ``words`` adds to ``status`` where there is more
    to say, such as where a moved session continues.
    """

    path: Path
    status: LogStatus
    words: str = ""
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


class _Summary(Struct):
    """What a summary needs of every event; ``data`` is decoded only where it matters."""

    seq: int
    at: str
    kind: str
    data: msgspec.Raw


_summary = msgspec.json.Decoder(_Summary).decode
_data = msgspec.json.Decoder(dict[str, Any]).decode


def sessions(folder: Path) -> list[Session]:
    """The sessions in ``folder``, last worked on first. A folder that does not exist has none.

    Only the hash of the first line is checked: ``damaged`` means that a log cannot be read at all, and
    :func:`benchflow.session.log.journal.verify` checks every line.

    Raises:
        BenchflowError: the folder cannot be read.
    """
    try:
        paths = sorted(folder.glob(f"*{SUFFIX}"))
    except OSError as wrong:
        raise BenchflowError(f"The folder {folder} cannot be read: {wrong.strerror}.") from wrong
    found = (summary(path) for path in paths if path.is_file())
    return sorted(found, key=lambda session: session.last_at, reverse=True)


def summary(path: Path) -> Session:
    """The summary of one log, without checking every hash. Never raises."""
    try:
        data = path.read_bytes()
    except OSError as wrong:
        return Session(path, "damaged", f"cannot be read: {wrong.strerror}")
    end = data.find(b"\n") + 1
    first = read(data[:end])
    if first.damage:
        return Session(path, "damaged", f"line 1 {first.damage.what}")
    if not first.lines:
        return Session(path, "empty", "it has no event yet")
    opened = first.lines[0]
    if opened.kind != "opened":
        return Session(path, "damaged", "its first event is not `opened`")
    events: list[_Summary] = []
    for number, line in enumerate(data[end:].split(b"\n")[:-1], start=2):
        try:
            events.append(_summary(line))
        except (msgspec.DecodeError, UnicodeDecodeError):
            words = f"line {number} is not an event"
            return _described(opened.data, opened.by, opened.at, path, events, "damaged", words)
    status, words = _standing(path, opened.data, events)
    return _described(opened.data, opened.by, opened.at, path, events, status, words)


def _standing(path: Path, opened: dict[str, Any], events: Iterable[_Summary]) -> tuple[LogStatus, str]:
    if any(event.kind == "closed" for event in events):
        return "closed", ""
    if (there := sidecars.moved_to(path)) is not None:
        return "moved", f"continues in {there}"
    if opened.get("format", 1) != FORMAT:
        return "open", f"written by benchflow {_text(opened, 'version')}: it can be viewed, not continued"
    holder = lock.is_held(path)
    return ("held", f"open in another program: {holder.words}") if holder else ("open", "")


def _described(
    data: dict[str, Any], by: str, at: str, path: Path, events: list[_Summary], status: LogStatus, words: str
) -> Session:
    options = data.get("options")
    return Session(
        path=path,
        status=status,
        words=words,
        procedure=_title(_text(data, "procedure")) or _text(data, "file"),
        sha256=_text(data, "procedure_sha256"),
        options={name: str(value) for name, value in options.items()} if isinstance(options, dict) else {},
        unit=_text(data, "unit"),
        by=by,
        opened_at=at,
        last_at=events[-1].at if events else at,
        events=1 + len(events),
        done=len(done_operations.done_after(_done_events(events))),
        simulated=data.get("simulated") is True,
    )


def _done_events(events: Iterable[_Summary]) -> Iterator[AnyEvent]:
    """The events that change which operations are done; one whose data is not understood is left out."""
    for event in events:
        if event.kind not in done_operations.KINDS:
            continue
        try:
            typed = typed_event(event.kind, _data(event.data))
        except (msgspec.DecodeError, UnicodeDecodeError):
            continue
        if typed is not None:
            yield typed


def _text(data: dict[str, Any], name: str) -> str:
    value = data.get(name)
    return value if isinstance(value, str) else ""


def _title(procedure: str) -> str:
    """The title, without parsing the procedure: in every valid file it is at the left margin."""
    found = re.search(r"^title:[ \t]+([^\s|>&].*?)[ \t]*(?:[ \t]#.*)?$", procedure, re.MULTILINE)
    if found is None:
        return ""
    quoted = re.fullmatch(r"(['\"])(.*)\1", found[1])
    return quoted[2] if quoted else found[1]
