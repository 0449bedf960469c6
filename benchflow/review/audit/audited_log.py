"""Adds the audit to a log that is loaded for a review."""

import shlex

from msgspec.structs import replace

from benchflow.base.errors import BenchflowError
from benchflow.review.audit.audit_log import audit_log
from benchflow.review.audit.audit_report import AuditReport
from benchflow.review.formatting import count
from benchflow.review.log.loaded_log import LoadedLog


def with_audit(log: LoadedLog) -> LoadedLog:
    """The log with its audit. If the audit fails, the first warning says so."""
    try:
        report = audit_log(log.lines, lambda _: log.written_procedure)
    except BenchflowError:  # a newer version wrote the log; another warning says so
        return log
    warnings = log.warnings if report.ok else (audit_warning(report, log.path), *log.warnings)
    return replace(log, audit=report, warnings=warnings)


def audit_warning(report: AuditReport, path: str) -> str:
    """The sentence about a log whose audit fails."""
    places = count(len(report.wrong), "place")
    return (
        f"THE AUDIT FAILS at {places}: the work could not have been logged so. {report.wrong[0].message} "
        f"See them all: benchflow audit {shlex.quote(path)}"
    )
