"""Audits a log file, up to the first line that is damaged."""

from pathlib import Path

from benchflow.base.regular_file import read_regular_file
from benchflow.review.audit.audit_log import audit_log
from benchflow.review.audit.audit_report import AuditReport
from benchflow.review.log.log_file import NoLog, regular_file
from benchflow.session.log.line_format import read
from benchflow.session.procedure_loading import ProcedureReader


def audit_file(path: Path, read_procedure: ProcedureReader) -> tuple[AuditReport, str]:
    """The audit of the log at ``path``, and its damage as a clause; "" without damage. The file is only read.

    Raises:
        NoLog: the file cannot be read, or has no line that is not damaged.
        BenchflowError: the log is not one of a session, or a newer version wrote it.
    """
    try:
        data = read_regular_file(regular_file(path))
    except OSError as error:
        raise NoLog(f"{path} cannot be read: {error.strerror}.") from error
    found = read(data)
    damage = "" if found.damage is None else f"line {found.damage.line} {found.damage.what}"
    if not found.lines:
        raise NoLog(f"{path} has no event to audit{f': {damage}' if damage else ''}.")
    return audit_log(found.lines, read_procedure), damage
