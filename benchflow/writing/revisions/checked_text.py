"""Checks a revised text, and finds which findings are new and which are mended."""

from collections import Counter
from collections.abc import Sequence

from msgspec import Struct

from benchflow.writing.checking.file_report import CheckFinding, FileReport, report_of_loaded, with_proof
from benchflow.writing.revisions.procedure_file import ProcedureFile


class CheckedRevision(Struct, frozen=True):
    """The findings of the revised text, those that are new and those that are mended. ``ok`` is as in `check`."""

    ok: bool
    findings: tuple[CheckFinding, ...]
    new: tuple[CheckFinding, ...]
    mended: tuple[CheckFinding, ...]

    @property
    def has_errors(self) -> bool:
        """True if the revised text has an error, a new one or an old one."""
        return any(finding["severity"] == "error" for finding in self.findings)


def checked_file(file: ProcedureFile) -> FileReport:
    """The report of `check` on the text of a file, with the proof of its order."""
    return with_proof(report_of_loaded(file.loaded, str(file.path), str), str, None)


def reader_errors(file: ProcedureFile) -> list[str]:
    """The errors of the reader in a text, without their places."""
    return [problem.text for problem in file.loaded.problems if problem.severity == "error"]


def new_errors(before: ProcedureFile, after: ProcedureFile) -> list[str]:
    """The errors of the reader in a revised text that the text before did not have."""
    return list((Counter(reader_errors(after)) - Counter(reader_errors(before))).elements())


def check_revision(before: ProcedureFile, after: ProcedureFile) -> CheckedRevision:
    """Check a revised text, and compare its findings with those of the text before."""
    report = checked_file(after)
    old, now = checked_file(before).findings, report.findings
    return CheckedRevision(
        report.ok,
        tuple(now),
        tuple(_without(now, old)),
        () if after.loaded.procedure is None else tuple(_without(old, now)),  # an error hides the others
    )


def _without(findings: Sequence[CheckFinding], others: Sequence[CheckFinding]) -> list[CheckFinding]:
    """The findings that are not among the others. Their lines may differ."""
    left = Counter(map(_key, others))
    found = []
    for finding in findings:
        if left[_key(finding)]:
            left[_key(finding)] -= 1
        else:
            found.append(finding)
    return found


def _key(finding: CheckFinding) -> tuple[str, str, str]:
    return finding["code"], finding["where"], finding["severity"]
