"""Files logs in the archive: finds new and grown logs, verifies them, and writes their facts.

If there is much to read, worker processes read and verify the logs. Each batch is written in one transaction, so
filing can be interrupted, repeated, and run by several benches at once.
"""

import os
import zlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import get_context
from pathlib import Path
from typing import Final

import msgspec
from msgspec import Struct

from benchflow.base.plaintext import shown_path
from benchflow.review.archive.database import Database
from benchflow.review.archive.filed_log import FiledLog, ReadingJob, ReadingOptions, filed_copy, read_group, read_one
from benchflow.review.archive.filing_report import FilingReport
from benchflow.review.archive.index_writer import (
    KnownFile,
    copied_sessions,
    copies_without_facts,
    failing_audits,
    forget_stale,
    known_files,
    store,
)
from benchflow.review.archive.known_heads import BEHIND, FORKED
from benchflow.review.log.versions import is_newer
from benchflow.review.many.session_question import LeftOut
from benchflow.session.log.log_folder import why_not_a_file

BATCH_ROWS = 20_000  # rows written in one transaction
_LOGS_PER_TASK: Final = 16  # logs handed to a worker at a time
MIN_BYTES_FOR_WORKERS = 8_000_000  # with less to read, starting processes takes longer than reading
_TAIL_BYTES: Final = 65_536  # read from the end of a file to find its last line


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
    for entry in _read_all(jobs, ReadingOptions(copy_logs, audited, compiled), _worker_count(jobs, workers)):
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
        entry = filed_copy(path, data, body, compiled)
        if entry is not None:
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
) -> tuple[list[ReadingJob], list[LeftOut], int]:
    jobs: list[ReadingJob] = []
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
            jobs.append(ReadingJob(path, status.st_size, status.st_mtime_ns))
        elif before.why:
            left_out.append(LeftOut(bench, path, before.why))
        elif copied is not None and before.session not in copied:
            jobs.append(ReadingJob(path, status.st_size, status.st_mtime_ns))
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


def _worker_count(jobs: Sequence[ReadingJob], requested: int | None) -> int:
    if sum(job.size for job in jobs) < MIN_BYTES_FOR_WORKERS:
        return 0
    return min(len(jobs), os.cpu_count() or 1) if requested is None else requested


def _read_all(jobs: Sequence[ReadingJob], options: ReadingOptions, workers: int) -> Iterator[FiledLog]:
    if workers < 2:
        for job in jobs:
            yield read_one(job, options)
        return
    groups = [(jobs[start : start + _LOGS_PER_TASK], options) for start in range(0, len(jobs), _LOGS_PER_TASK)]
    # Spawned, not forked: the caller may have threads.
    with _cancelled_on_exit(ProcessPoolExecutor(workers, mp_context=get_context("spawn"))) as pool:
        for entries in pool.map(read_group, groups):
            yield from entries


@contextmanager
def _cancelled_on_exit(pool: ProcessPoolExecutor) -> Iterator[ProcessPoolExecutor]:
    """A context manager that shuts down ``pool`` at its end. Jobs that have not started are cancelled."""
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)
