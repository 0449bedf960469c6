"""Files logs in the archive: finds new and grown logs, verifies them, and writes their facts.

If there is much to read, worker processes read and verify the logs. Each batch is written in one transaction, so
filing can be interrupted, repeated, and run by several benches at once.
"""

import os
import zlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from functools import lru_cache
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Final, NamedTuple

import msgspec
from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import shown_path
from benchflow.review.archive.database import Database
from benchflow.review.archive.filing_report import FilingReport
from benchflow.review.archive.index_writer import (
    FiledLog,
    KnownFile,
    copied_sessions,
    copies_without_facts,
    failing_audits,
    forget_stale,
    known_files,
    store,
)
from benchflow.review.archive.known_heads import BEHIND, FORKED
from benchflow.review.log.facts import SessionFact
from benchflow.review.log.interpretation import PlanOf, plans_or_empty
from benchflow.review.log.log_file import Unusable, facts_of_file, read_log_file
from benchflow.review.log.versions import is_newer
from benchflow.review.many.session_question import LeftOut
from benchflow.session.log.line_format import logged_hash, read
from benchflow.session.log.log_folder import why_not_a_file
from benchflow.session.log.log_heads import START_LENGTH, KnownHead
from benchflow.session.procedure_loading import ProcedureReader, procedure_reader_with_cache

BATCH_ROWS = 20_000  # rows written in one transaction
_LOGS_PER_TASK: Final = 16  # logs handed to a worker at a time
MIN_BYTES_FOR_WORKERS = 8_000_000  # with less to read, starting processes takes longer than reading
_TAIL_BYTES: Final = 65_536  # read from the end of a file to find its last line


class _Job(NamedTuple):
    """A file to read: its path, size and modification time in nanoseconds."""

    path: str
    size: int
    changed: int


Progress = Callable[[int, int], None]
"""A callback; its arguments are the number of files done and the number of all files."""


def file_logs(
    database: Database,
    paths: Iterable[Path],
    bench: str,
    *,
    folders: Sequence[Path] = (),
    copy_logs: bool = False,
    audited: bool = False,
    compiled: Path | None = None,
    workers: int | None = None,
    progress: Progress = lambda done, of: None,
) -> FilingReport:
    """File the logs at ``paths``. ``bench`` is the name of this machine.

    ``folders`` are the folders that ``paths`` were found in: a known log that is missing there is reported as gone.
    ``copy_logs`` also stores copies of the logs, for other benches. ``audited`` audits each log that is read.
    ``compiled`` is the folder with the compiled forms of procedures; ``None``: they are compiled in memory. ``workers``
    is the number of processes that read; by default the number of processors.
    """
    resolved, left_out = _resolved(paths, bench)
    known = known_files(database, bench, resolved)
    copied = copied_sessions(database) if copy_logs else None
    jobs, unreadable, unchanged = _files_to_read(resolved, known, bench, copied)
    left_out += unreadable
    counts = _FilingCounts(left_out=left_out, unchanged=unchanged)
    done = len(resolved) - len(jobs)
    batch: list[FiledLog] = []
    rows = 0
    for entry in _read_all(jobs, _ReadOptions(copy_logs, audited, compiled), _worker_count(jobs, workers)):
        batch.append(entry)
        rows += entry.row_count
        if rows >= BATCH_ROWS:
            counts.add(store(database, bench, batch), batch, bench)
            done += len(batch)
            progress(done, len(resolved))
            batch, rows = [], 0
    if batch:
        counts.add(store(database, bench, batch), batch, bench)
        progress(len(resolved), len(resolved))
    inside = tuple(f"{folder.resolve()}{os.sep}" for folder in folders)
    gone = forget_stale(database, bench, inside, set(resolved)) if inside else ()
    return counts.report(len(resolved), gone, failing_audits(database, bench, set(resolved)))


def file_copies(database: Database, compiled: Path | None = None) -> int:
    """File the stored copies of logs that are not in the index, after its tables were made again. Returns their number.

    A copy belongs to the bench that filed it.
    """
    filed = 0
    for bench, path, body in copies_without_facts(database):
        data = zlib.decompress(body)
        found = facts_of_file(Path(path), data, _plan_of(compiled))
        if not isinstance(found, Unusable):
            head = _head(data, path, found.session)
            entry = FiledLog(path, len(data), 0, "", found.session, _rows_by_table(found), body, head)
            store(database, bench, [entry])
            filed += 1
    return filed


class _FilingCounts:
    """The numbers of the filing report, counted batch by batch."""

    def __init__(self, left_out: list[LeftOut], unchanged: int) -> None:
        self.left_out, self.behind, self.forked = list[LeftOut](), list[LeftOut](), list[LeftOut]()
        self.unchanged = unchanged
        for one in left_out:
            self.leave_out(one)
        self.new = self.grown = self.copies = self.events = 0
        self.newer: list[str] = []

    def add(self, outcomes: Sequence[str], batch: Sequence[FiledLog], bench: str) -> None:
        for entry, outcome in zip(batch, outcomes, strict=True):
            if outcome == "new":
                self.new += 1
            elif outcome == "grown":
                self.grown += 1
            elif outcome == "copy":
                self.copies += 1
            else:
                self.leave_out(LeftOut(bench, entry.path, outcome))
            if entry.session is not None:
                self.events += entry.session.events
                if entry.session.unknown or is_newer(entry.session.version):
                    self.newer.append(entry.path)

    def leave_out(self, one: LeftOut) -> None:
        """Count a file that is not in the index, by its reason."""
        kind = one.why.startswith
        (self.behind if kind(BEHIND) else self.forked if kind(FORKED) else self.left_out).append(one)

    def report(self, looked_at: int, gone: tuple[str, ...], failing: tuple[str, ...]) -> FilingReport:
        left_out = tuple(sorted(self.left_out, key=lambda one: one.path))
        return FilingReport(
            looked_at, self.new, self.grown, self.unchanged, self.copies, self.events, left_out,
            tuple(sorted(self.newer)), gone, failing, _by_path(self.behind), _by_path(self.forked),
        )  # fmt: skip


def _by_path(found: list[LeftOut]) -> tuple[LeftOut, ...]:
    return tuple(sorted(found, key=lambda one: one.path))


# --- which files have to be read --------------------------------------------------------------------


def _resolved(paths: Iterable[Path], bench: str) -> tuple[list[str], list[LeftOut]]:
    """The absolute paths as text, and the files whose names a database cannot keep."""
    resolved: list[str] = []
    left_out: list[LeftOut] = []
    for path in paths:
        # Where a link leads to no file, the link is named.
        text = str(path.absolute() if why_not_a_file(path) else path.resolve())
        try:
            text.encode()
        except UnicodeEncodeError:
            left_out.append(LeftOut(bench, shown_path(text), "has a name that is not UTF-8 text: rename it"))
            continue
        resolved.append(text)
    return resolved, left_out


def _files_to_read(
    paths: Sequence[str], known: dict[str, KnownFile], bench: str, copied: set[str] | None
) -> tuple[list[_Job], list[LeftOut], int]:
    jobs: list[_Job] = []
    left_out: list[LeftOut] = []
    unchanged = 0
    for path in paths:
        try:
            status = os.stat(path)
        except OSError:
            left_out.append(LeftOut(bench, path, why_not_a_file(Path(path)) or "cannot be read"))
            continue
        before = known.get(path)
        if before is None or not _is_unchanged(path, status, before):
            jobs.append(_Job(path, status.st_size, status.st_mtime_ns))
        elif before.why:
            left_out.append(LeftOut(bench, path, before.why))
        elif copied is not None and before.session not in copied:
            jobs.append(_Job(path, status.st_size, status.st_mtime_ns))
        else:
            unchanged += 1
    return jobs, left_out, unchanged


def _is_unchanged(path: str, status: os.stat_result, before: KnownFile) -> bool:
    """True if the file is unchanged since it was filed, by size, modification time and last hash."""
    if (status.st_size, status.st_mtime_ns) != (before.size, before.changed):
        return False
    return bool(before.why) or _last_hash(path, status.st_size) == before.head


class _HashedLine(Struct):
    """The member ``hash`` of a log line. The other members are ignored."""

    hash: str


_decode_hash = msgspec.json.Decoder(_HashedLine).decode


def _last_hash(path: str, size: int) -> str:
    """The hash of the last complete line; "" if it is not found near the end of the file."""
    try:
        with open(path, "rb") as file:  # a file that was filed before, so it is a regular one
            file.seek(max(0, size - _TAIL_BYTES))
            tail = file.read(_TAIL_BYTES)
    except OSError:
        return ""
    lines = tail.split(b"\n")
    whole = lines[1:-1] if size > _TAIL_BYTES else lines[:-1]
    try:
        return _decode_hash(whole[-1]).hash if whole else ""
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return ""


# --- reading, in this process or in others -----------------------------------------------------------


def _worker_count(jobs: Sequence[_Job], requested: int | None) -> int:
    if sum(job.size for job in jobs) < MIN_BYTES_FOR_WORKERS:
        return 0
    return min(len(jobs), os.cpu_count() or 1) if requested is None else requested


class _ReadOptions(NamedTuple):
    """The options for reading logs: whether to copy and audit each log, and the folder of compiled procedures."""

    copy_logs: bool
    audited: bool
    compiled: Path | None


def _read_all(jobs: Sequence[_Job], options: _ReadOptions, workers: int) -> Iterator[FiledLog]:
    if workers < 2:
        for job in jobs:
            yield _read_one(job, options)
        return
    groups = [(jobs[start : start + _LOGS_PER_TASK], options) for start in range(0, len(jobs), _LOGS_PER_TASK)]
    # Spawned, not forked: the caller may have threads.
    with _cancelled_on_exit(ProcessPoolExecutor(workers, mp_context=get_context("spawn"))) as pool:
        for entries in pool.map(_read_group, groups):
            yield from entries


@contextmanager
def _cancelled_on_exit(pool: ProcessPoolExecutor) -> Iterator[ProcessPoolExecutor]:
    """A context manager that shuts down ``pool`` at its end. Jobs that have not started are cancelled."""
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)


def _read_group(group: tuple[Sequence[_Job], _ReadOptions]) -> list[FiledLog]:
    jobs, options = group
    return [_read_one(job, options) for job in jobs]


@lru_cache(maxsize=1)
def _plan_of(compiled: Path | None) -> PlanOf:
    """The plans of this process. They are cached, because the logs of a shop share a few procedures."""
    return plans_or_empty(procedure_reader_with_cache(compiled))


def _read_one(job: _Job, options: _ReadOptions) -> FiledLog:
    data = read_log_file(Path(job.path))
    if isinstance(data, Unusable):
        return FiledLog(job.path, job.size, job.changed, why=data.why)
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
    from benchflow.review.archive.index_schema import FACT_TABLES, to_row

    return {name: [(place, *to_row(fact)) for place, fact in enumerate(getattr(facts, name))] for name in FACT_TABLES}
