"""Compares the findings of two checks: what is new, what is mended, what remains."""

from collections.abc import Sequence

from msgspec import Struct

from benchflow.writing.checking.file_report import CheckFinding

_ONCE = frozenset({"no-source", "no-rule", "not-explored"})
"""Codes of findings about the whole file. Their place is only one example."""

_HIDES_ALL = frozenset({"bad-yaml", "empty-file", "not-utf-8", "too-large", "too-many-problems", "several-documents"})
"""Codes of errors after which the file, or the rest of it, is not read."""


class FindingChanges(Struct, frozen=True):
    """The difference of two checks. ``reworded`` are findings that were there before with another message.

    ``unseen`` are earlier findings that the later check could not look for, because other mistakes hide them.
    """

    new: tuple[CheckFinding, ...] = ()
    mended: tuple[CheckFinding, ...] = ()
    reworded: tuple[CheckFinding, ...] = ()
    remaining: tuple[CheckFinding, ...] = ()
    unseen: tuple[CheckFinding, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.new or self.mended or self.reworded)


def finding_changes(before: Sequence[CheckFinding], after: Sequence[CheckFinding]) -> FindingChanges:
    """Compare by code and by the place as operation and key, never by line: a line that is inserted changes nothing.

    Findings with the same message are paired first, then the others of the same code and place. While the file has an
    error, notes and warnings are not looked for, so they do not count as mended. After a YAML error
    nothing counts as mended.
    """
    left = list(before)
    remaining, reworded, new = [], [], []
    unpaired = []
    for finding in after:
        same = next((old for old in left if _key(old) == _key(finding) and _words(old) == _words(finding)), None)
        if same is None:
            unpaired.append(finding)
        else:
            left.remove(same)
            remaining.append(finding)
    for finding in unpaired:
        old = next((old for old in left if _key(old) == _key(finding)), None)
        if old is None:
            new.append(finding)
        else:
            left.remove(old)
            reworded.append(finding)
    mended = [old for old in left if _can_be_mended(old, after)]
    unseen = [old for old in left if old not in mended]
    return FindingChanges(tuple(new), tuple(mended), tuple(reworded), tuple(remaining), tuple(unseen))


def _can_be_mended(old: CheckFinding, after: Sequence[CheckFinding]) -> bool:
    errors = {finding["code"] for finding in after if finding["severity"] == "error"}
    if errors & _HIDES_ALL:
        return False
    return not errors or old["severity"] == "error"


def _key(finding: CheckFinding) -> tuple[str, str]:
    code = finding["code"]
    return code, "" if code in _ONCE else finding["where"]


def _words(finding: CheckFinding) -> tuple[str, tuple[str, ...]]:
    return finding["message"], tuple(finding.get("order") or ())
