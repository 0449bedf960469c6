"""The words for a condition, such as ``pitted``, and for what was found, such as ``swarf``.

Source: common practice, no source.
"""

import re

from benchflow.session.teardown.teardown_record import FoundKind

CONDITION = re.compile(
    r"condition\s*:?\s*(\S.*)|((?:good|fair|poor|ok)$|(?:.*\b)?(?:worn|wear|scor(?:ed|ing)|pitt(?:ed|ing)|rust[y]?|"
    r"corro(?:ded|sion)|burnt|blued|polished|bent|scratched|dented|hardened)\b.*)",
    re.IGNORECASE,
)
_FOUND: tuple[tuple[str, FoundKind], ...] = (
    (r"\b(?:debris|swarf|chips|sludge|filings)\b", "debris"),
    (r"\bimprint\b", "gasket-imprint"),
    (r"\b(?:thread )?inserts?\b", "thread-insert"),
    (r"\b(?:odd|wrong) (?:bolt|screw|nut|stud|length)s?\b", "odd-bolt"),
    (r"\b(?:missing|no) dowels?\b|\bdowels? (?:is |are )?missing\b", "missing-dowel"),
    (r"\b(?:broken|broke|snapped|sheared|cracked|stripped|seized)\b", "broken"),
    (r"\b(?:leaks?(?!-)|leaked|leaking|weeps|weeping)\b", "leak"),
    (r"\bmissing\b|^found\b", "other"),
)


def found_kind(text: str) -> FoundKind | None:
    """The kind of a finding that the words of ``text`` name; ``None`` if they name none."""
    return next((kind for pattern, kind in _FOUND if re.search(pattern, text, re.IGNORECASE)), None)
