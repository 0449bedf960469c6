"""Reads one teardown log for a search or the archive: who, what and when, and the whole record."""

from pathlib import Path

import msgspec
from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.review.log.facts import SessionFact
from benchflow.review.log.log_file import Unusable
from benchflow.session.log.line_format import ParsedLog, read
from benchflow.session.log.log_folder import begins_teardown
from benchflow.session.teardown.fold_teardown import record_of_lines
from benchflow.session.teardown.teardown_record import TeardownRecord


class TeardownFact(Struct, frozen=True):
    """The record of a teardown, as JSON text."""

    record: str


class LoggedTeardown(Struct, frozen=True):
    """A teardown that was read: its log as a session, and its record."""

    session: SessionFact
    record: TeardownRecord


def teardown_in(path: Path, data: bytes) -> LoggedTeardown | Unusable | None:
    """The teardown in the log ``data``; the reason why it is unusable; ``None`` if it is not the log of a teardown.

    ``path`` is for messages. It never raises.
    """
    if not begins_teardown(data.partition(b"\n")[0]):
        return None
    found = read(data)
    if found.damage is not None:
        return Unusable(f"does not verify: line {found.damage.line} {found.damage.what}")
    try:
        return _logged(found, record_of_lines(tuple(found.lines), path))
    except BenchflowError as error:
        return Unusable(f"cannot be read: {str(error).removeprefix(f'{path}: ')}".removesuffix("."))


def _logged(found: ParsedLog, record: TeardownRecord) -> LoggedTeardown:
    first, last = found.lines[0], found.lines[-1]
    closed = next((line.at for line in found.lines if line.kind == "teardown-closed"), None)
    session = SessionFact(
        session=first.hash, unit=record.unit, by=record.by, opened_at=first.at,
        closed_at=closed if record.closed else None,
        last_at=last.at, events=len(found.lines), head=last.hash, file="", procedure="", options={}, start={},
        version=str(first.data.get("version", "")), simulated=record.simulated, shop=None,
        clock_back=sum(line.kind == "clock-went-back" for line in found.lines), left_open=(), why_open="", unknown=0,
        teardown=record.what,
    )  # fmt: skip
    return LoggedTeardown(session, record)


def record_as_text(record: TeardownRecord) -> str:
    """The record as JSON text."""
    return msgspec.json.encode(record).decode()


def record_in_text(text: str) -> TeardownRecord:
    """The record in text of :func:`record_as_text`."""
    return msgspec.json.decode(text, type=TeardownRecord)
