"""A problem in an author's file as data: code, place, message, and a hint for the correction."""

from collections.abc import Iterable
from typing import Literal

from msgspec import Struct

Severity = Literal["error", "warning", "note"]

CODES = frozenset(
    {
        "alias", "bad-formula", "bad-key", "bad-layout", "bad-name", "bad-number", "bad-quantity", "bad-yaml",
        "cannot-prove", "circular-formula", "control-character", "directive", "disagreeing-units", "duplicate-key",
        "duplicate-name", "empty-file", "empty-value", "falling-torque", "gap-in-table", "instrument-does-not-fit",
        "missing-because", "missing-key", "missing-title", "missing-unit", "never-tightened", "not-one-of",
        "not-utf-8", "one-too-many", "overlap-in-table", "remedy-without-limit", "duplicate-item", "several-documents",
        "stage-order", "tag", "too-deep", "too-few", "too-large", "too-long", "too-many-problems", "total-angle",
        "unknown-format", "unknown-key", "unknown-name", "unknown-placeholder", "invisible-character", "unused",
        "value-not-ready", "which-place", "wrong-dimension", "wrong-kind",
    }
)  # fmt: skip
"""The codes of the reader. The proof of the order has its own codes (:mod:`benchflow.ordering.proof`)."""


class Problem(Struct, frozen=True):
    """One problem. ``line`` and ``column`` count from 1; 0 means the file as a whole. ``where`` is the path to the
    place in the author's own keys and ids, such as ``seat-cam.record.end-play.limit``."""

    code: str
    severity: Severity
    file: str
    line: int
    column: int
    message: str
    hint: str = ""
    where: str = ""

    def __str__(self) -> str:
        """``file:line:column: message (hint)``."""
        place = f"{self.file}:{self.line}:{self.column}" if self.line else self.file
        hint = f" ({self.hint})" if self.hint else ""
        kind = "" if self.severity == "error" else f"{self.severity}: "
        return f"{place}: {kind}{self.message}{hint}"


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name that was probably meant, if one is similar."""
    from difflib import get_close_matches  # late import: only an error needs it

    names = list(known)
    folded = {other.casefold(): other for other in names}
    close = get_close_matches(name.casefold(), folded, n=1, cutoff=0.6)
    if close:
        return folded[close[0]]
    # A shortened or extended name, such as `crank` for `turn-the-crank-down`.
    part = [other for other in names if len(name) > 2 and (name in other or (len(other) > 2 and other in name))]
    return min(part, key=len) if part else None


def hint_for(name: str, known: Iterable[str], nothing: str = "") -> str:
    """A hint for an unknown ``name``: the most similar known name, or all of them if they are few.

    ``nothing`` is the hint if no name is known at all.
    """
    names = list(dict.fromkeys(known))
    near = nearest(name, names)
    if near is not None:
        return f"did you mean `{near}`?"
    if not names:
        return nothing
    if len(names) <= 12:
        return "known: " + ", ".join(f"`{other}`" for other in names)
    return ""
