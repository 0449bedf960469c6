"""The findings of `check` on a revised text: which are new and which are mended."""

from collections import Counter
from typing import Any

from msgspec import Struct

from benchflow.ordering.proof import DEFAULT_BOUND, prove
from benchflow.procedure.checks.unused_names import as_finding, check_structure
from benchflow.trade.joint_findings import joint_problems
from benchflow.writing.revisions.procedure_file import ProcedureFile

CheckFinding = dict[str, Any]
"""As in `benchflow check --json`."""


class CheckedRevision(Struct, frozen=True):
    """The findings of the revised text, those that are new and those that are mended. ``ok`` is as in `check`."""

    ok: bool
    findings: tuple[CheckFinding, ...]
    new: tuple[CheckFinding, ...]
    mended: tuple[CheckFinding, ...]

    @property
    def has_errors(self) -> bool:
        return any(finding["severity"] == "error" for finding in self.findings)


def check_findings(file: ProcedureFile) -> tuple[list[CheckFinding], bool]:
    """The findings of `check`, and true if the order was explored in full."""
    name, loaded = str(file.path), file.loaded
    of_reader = [as_finding(each) for each in loaded.problems]  # at the author's lines already
    found = [as_finding(each) for each in check_structure(loaded.procedure, (), name)]
    complete = False
    if loaded.procedure is not None:
        found += [as_finding(each) for each in joint_problems(loaded.procedure, name)]
        proof = prove(loaded.procedure, bound=DEFAULT_BOUND)
        found += [each.as_json() for each in proof.findings]
        complete = proof.complete
    if loaded.source_map is not None:
        found = [loaded.source_map.finding_in_author_file(each) for each in found]
    return [*of_reader, *found], complete


def reader_errors(file: ProcedureFile) -> list[str]:
    """The errors of the reader in a text, without their places."""
    return [problem.text for problem in file.loaded.problems if problem.severity == "error"]


def new_errors(before: ProcedureFile, after: ProcedureFile) -> list[str]:
    """The errors of the reader that a revised text has and the text before had not."""
    return list((Counter(reader_errors(after)) - Counter(reader_errors(before))).elements())


def check_revision(before: ProcedureFile, after: ProcedureFile) -> CheckedRevision:
    """Check a revised text, and compare its findings with those of the text before."""
    old, _ = check_findings(before)
    now, complete = check_findings(after)
    return CheckedRevision(
        complete and not any(finding["severity"] == "error" for finding in now),
        tuple(now),
        tuple(_without(now, old)),
        () if after.loaded.procedure is None else tuple(_without(old, now)),  # an error hides the others
    )


def _without(findings: list[CheckFinding], others: list[CheckFinding]) -> list[CheckFinding]:
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
