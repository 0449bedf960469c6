"""Finds the jobs of a procedure among the given logs, and its jobs that are still open."""

from collections.abc import Iterable
from pathlib import Path

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line, shown_path
from benchflow.base.regular_file import read_regular_file
from benchflow.procedure.model import Procedure
from benchflow.review.audit.audit_log import audit_log
from benchflow.review.log.loaded_log import load_log
from benchflow.session.catalog import list_sessions
from benchflow.session.log.line_format import read
from benchflow.session.procedure_loading import ProcedureReader
from benchflow.writing.revisions.job_evidence import DoneJob, change_key


class SkippedLog(Struct, frozen=True):
    """A log that is left out, and why. ``bad`` is true if something is wrong with it."""

    log: str
    why: str
    bad: bool = True


class GatheredJobs(Struct, frozen=True):
    """The jobs of a procedure, oldest first, and the logs that are left out."""

    jobs: tuple[DoneJob, ...]
    skipped: tuple[SkippedLog, ...]


class JobOnRevision(Struct, frozen=True):
    """A job that is still open. ``revision`` is that of its procedure."""

    unit: str
    log: str
    revision: str


def gather_jobs(paths: Iterable[Path], procedure: Procedure, reader: ProcedureReader) -> GatheredJobs:
    """The jobs of ``procedure`` in these logs. A log that is damaged or breaks the rules is left out."""
    jobs: dict[str, DoneJob] = {}
    skipped: list[SkippedLog] = []
    for path in paths:
        found = _job(path, procedure, reader)
        if isinstance(found, SkippedLog):
            skipped.append(found)
            continue
        session = found.log.facts.session
        old = jobs.get(session.session)
        if old is not None:
            skipped.append(SkippedLog(shown_path(path), "It is a copy of a log that was used.", bad=False))
        if old is None or session.is_better_copy_than(old.log.facts.session):
            jobs[session.session] = found
    ordered = sorted(jobs.values(), key=lambda job: job.log.facts.session.opened_at)
    return GatheredJobs(tuple(ordered), tuple(skipped))


def _job(path: Path, procedure: Procedure, reader: ProcedureReader) -> DoneJob | SkippedLog:
    name = shown_path(path)
    try:
        log = load_log(path, reader)
        if log.damage is not None:
            return SkippedLog(name, f"It is damaged: line {log.damage.line} {log.damage.what}.")
        if log.procedure.id != procedure.id:
            other = f"{clean_line(log.procedure.title)} ({log.procedure.id})"
            return SkippedLog(name, f"It is a job by another procedure: {other}.", bad=False)
        report = audit_log(log.lines, reader)
    except BenchflowError as error:
        return SkippedLog(name, str(error))
    if report.wrong:
        first = report.wrong[0]
        return SkippedLog(name, f"It fails the audit: line {first.line}: {first.message}")
    return DoneJob(log)


def newer_jobs(jobs: Iterable[DoneJob], procedure: Procedure) -> list[DoneJob]:
    """The jobs whose procedure has changes that ``procedure`` does not have: a later revision, or another copy."""
    known = set(map(change_key, procedure.changes))
    return [job for job in jobs if not job.changes <= known]


def open_jobs(folders: Iterable[Path], procedure: Procedure, reader: ProcedureReader) -> list[JobOnRevision]:
    """The open jobs of ``procedure`` in these folders."""
    found: dict[Path, JobOnRevision] = {}
    for folder in dict.fromkeys(folder.resolve() for folder in folders):
        try:
            sessions = list_sessions(folder)
        except BenchflowError:
            continue
        for session in sessions:
            if session.status not in ("open", "held"):
                continue
            used = _procedure_of(session.path, reader)
            if used is not None and used.id == procedure.id:
                found[session.path] = JobOnRevision(clean_line(session.unit), shown_path(session.path), used.revision)
    return list(found.values())


def _procedure_of(path: Path, reader: ProcedureReader) -> Procedure | None:
    try:
        lines = read(read_regular_file(path)).lines
        return reader(str(lines[0].data.get("procedure") or "")) if lines else None
    except (OSError, BenchflowError):
        return None
