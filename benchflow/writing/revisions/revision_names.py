"""The name of the next revision: one more of the same kind."""

import re
from datetime import date

_DATE = re.compile(r"(\d{4}-\d{2}-\d{2})(?:\.(\d+))?")
FIRST_REVISION = "1"
"""The next revision of a procedure without one."""


def next_revision(now: str, today: date) -> str:
    """The name after ``now``: ``B`` gives ``C``, ``Z`` gives ``AA``, ``1.3`` gives ``1.4``, a date gives today's.

    A second revision of one day is ``2026-03-01.2``. Any other name gets or counts up a number: ``draft 2``.
    """
    text = now.strip()
    if not text:
        return FIRST_REVISION
    dated = _DATE.fullmatch(text)
    if dated is not None:
        return today.isoformat() if dated[1] < today.isoformat() else f"{dated[1]}.{int(dated[2] or 1) + 1}"
    numbered = re.fullmatch(r"(.*?)(\d+)", text, re.DOTALL)
    if numbered is not None:
        following = str(int(numbered[2]) + 1)
        return f"{numbered[1]}{following.zfill(len(numbered[2]))}"
    lettered = re.fullmatch(r"(|.*[^A-Za-z])([A-Z]{1,2}|[a-z]{1,2})", text, re.DOTALL)
    return f"{lettered[1]}{_next_letters(lettered[2])}" if lettered is not None else f"{text} 2"


def _next_letters(letters: str) -> str:
    first, last = ("A", "Z") if letters.isupper() else ("a", "z")
    kept = letters.rstrip(last)
    rest = first * (len(letters) - len(kept))
    return f"{kept[:-1]}{chr(ord(kept[-1]) + 1)}{rest}" if kept else f"{first}{rest}"
