"""Reads one log for the archive: its facts as rows, its head and its audit, without the library for databases.

Worker processes load only this module, so they start faster.
"""

import zlib
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.review.archive.fact_rows import FACT_TABLES, to_row
from benchflow.review.log.facts import SessionFact
from benchflow.review.log.interpretation import PlanOf, plans_or_empty
from benchflow.review.log.log_file import Unusable, facts_of_file, read_log_file
from benchflow.review.log.teardown_log import LoggedTeardown, TeardownFact, record_as_text, teardown_in
from benchflow.session.log.line_format import logged_hash, read
from benchflow.session.log.log_heads import START_LENGTH, KnownHead
from benchflow.session.procedure_loading import ProcedureReader, procedure_reader_with_cache

Rows = dict[str, list[tuple[Any, ...]]]
"""Rows by table name. The session number, which is the first cell in the table, is left out."""


class FiledLog(Struct, frozen=True):
    """A log that was read: its facts as rows, or the reason ``why`` it is left out.

    ``body`` is a compressed copy of the log; ``None``: no copy is stored. ``audit_wrong`` is the number of places where
    the audit fails; ``None``: it was not audited.
    """

    path: str
    size: int
    changed: int
    why: str = ""
    session: SessionFact | None = None
    rows: Rows = {}
    body: bytes | None = None
    head: KnownHead | None = None  # set with ``session``
    audit_wrong: int | None = None

    @property
    def row_count(self) -> int:
        return 1 + sum(map(len, self.rows.values()))


class ReadingJob(NamedTuple):
    """A file to read: its path, size and modification time in nanoseconds."""

    path: str
    size: int
    changed: int


class ReadingOptions(NamedTuple):
    """The options for reading logs: whether to copy and audit each log, and the folder of compiled procedures."""

    copy_logs: bool
    audited: bool
    compiled: Path | None


def read_group(group: tuple[Sequence[ReadingJob], ReadingOptions]) -> list[FiledLog]:
    """The logs of a group of jobs, in their order."""
    jobs, options = group
    return [read_one(job, options) for job in jobs]


@lru_cache(maxsize=1)
def _plan_of(compiled: Path | None) -> PlanOf:
    """The plans of this process. They are cached, because the logs of a shop share a few procedures."""
    return plans_or_empty(procedure_reader_with_cache(compiled))


def read_one(job: ReadingJob, options: ReadingOptions) -> FiledLog:
    """The log of a job, or the reason why it is left out."""
    data = read_log_file(Path(job.path))
    if isinstance(data, Unusable):
        return FiledLog(job.path, job.size, job.changed, why=data.why)
    if (teardown := teardown_in(Path(job.path), data)) is not None:
        return _filed_teardown(job, data, teardown, copied=options.copy_logs)
    # The file may have grown since it was found: the size recorded is that of the data read.
    found = facts_of_file(Path(job.path), data, _plan_of(options.compiled))
    if isinstance(found, Unusable):
        return FiledLog(job.path, len(data), job.changed, why=found.why)
    body: bytes | None = None
    if options.copy_logs:
        body = zlib.compress(data, 1)
    return FiledLog(
        job.path,
        len(data),
        job.changed,
        session=found.session,
        rows=_rows_by_table(found),
        body=body,
        head=_head(data, job.path, found.session),
        audit_wrong=_audit_wrong(data, options.compiled) if options.audited else None,
    )


def _filed_teardown(job: ReadingJob, data: bytes, teardown: LoggedTeardown | Unusable, *, copied: bool) -> FiledLog:
    """The log of a teardown: its record, and no other facts."""
    if isinstance(teardown, Unusable):
        return FiledLog(job.path, len(data), job.changed, why=teardown.why)
    session = teardown.session
    rows: Rows = {"teardown_records": [(0, *to_row(TeardownFact(record_as_text(teardown.record))))]}
    body = zlib.compress(data, 1) if copied else None
    return FiledLog(job.path, len(data), job.changed, "", session, rows, body, _head(data, job.path, session))


def filed_copy(path: str, data: bytes, body: bytes, compiled: Path | None) -> FiledLog | None:
    """The stored copy ``body`` of a log, with the content ``data``; ``None`` if it is unusable."""
    if (teardown := teardown_in(Path(path), data)) is not None:
        filed = _filed_teardown(ReadingJob(path, len(data), 0), data, teardown, copied=True)
        return filed if filed.session is not None else None
    found = facts_of_file(Path(path), data, _plan_of(compiled))
    if isinstance(found, Unusable):
        return None
    head = _head(data, path, found.session)
    return FiledLog(path, len(data), 0, "", found.session, _rows_by_table(found), body, head)


def _head(data: bytes, path: str, session: SessionFact) -> KnownHead:
    """The head of a log whose lines are verified."""
    lines = data.replace(b"\r\n", b"\n").split(b"\n")[: session.events]
    starts = bytes.fromhex("".join([logged_hash(raw)[: 2 * START_LENGTH] for raw in lines]))
    return KnownHead(session.session, session.events, session.head, starts, session.unit, session.opened_at, path)


def _audit_wrong(data: bytes, compiled: Path | None) -> int | None:
    """The number of places where the audit of a log fails; ``None`` if a newer version wrote it."""
    from benchflow.review.audit.audit_log import audit_log

    try:
        return len(audit_log(read(data).lines, _procedure_of(compiled)).wrong)
    except BenchflowError:
        return None


@lru_cache(maxsize=1)
def _procedure_of(compiled: Path | None) -> ProcedureReader:
    """The reader of procedures of this process. Those read last are kept, as :func:`_plan_of` keeps plans."""
    return lru_cache(8)(procedure_reader_with_cache(compiled))


def _rows_by_table(facts: Any) -> dict[str, list[tuple[Any, ...]]]:
    return {
        name: [(place, *to_row(fact)) for place, fact in enumerate(getattr(facts, name, ()))] for name in FACT_TABLES
    }
