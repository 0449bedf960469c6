"""A problem in an author's file as data: code, place, message, and a hint that says how to correct it."""

from collections.abc import Iterable
from typing import Literal

from msgspec import Struct

from benchflow.base.plaintext import sentence

Severity = Literal["error", "warning", "note"]

CODES = frozenset(
    {
        "alias", "bad-formula", "bad-key", "bad-layout", "bad-name", "bad-number", "bad-quantity", "bad-yaml",
        "block-conflict", "block-cycle", "block-replaced",
        "cannot-prove", "circular-formula", "control-character", "directive", "disagreeing-units", "duplicate-key",
        "duplicate-name", "empty-file", "empty-value", "falling-torque", "gap-in-table", "hidden-values",
        "instrument-does-not-fit",
        "many-turns", "missing-because", "missing-key", "missing-title", "missing-unit",
        "kept-ticks", "never-called", "never-carried-out", "never-found", "never-ok", "never-tightened",
        "not-covered", "not-one-of", "order-cycle", "other-edition",
        "not-utf-8", "one-too-many", "overlap-in-table", "remedy-without-limit", "duplicate-item", "several-documents",
        "no-rule", "no-source", "split-check", "stage-order", "tag", "too-deep", "too-few", "too-large", "too-long",
        "to-fill",
        "too-many-problems", "total-angle", "unknown-document", "unknown-format", "unknown-key", "unknown-name",
        "unknown-placeholder", "invisible-character", "until-without-limit", "unused", "weak-evidence", "which-place",
        "which-reading", "wrong-dimension", "wrong-kind",
    }
)  # fmt: skip
"""The codes of the reader. The proof of the order has its own codes (:mod:`benchflow.ordering.proof`)."""


class Problem(Struct, frozen=True):
    """One problem in a file.

    ``line`` and ``column`` count from 1; 0 means the file as a whole. ``message`` says what is wrong, ``hint`` how to
    correct it; a full stop at the end is optional in both. ``where`` is the path of keys and ids to the place, such as
    ``seat-cam.record.end-play.limit``. ``block`` is the file and line of the block that it is about; "" for none.
    """

    code: str
    severity: Severity
    file: str
    line: int
    column: int
    message: str
    hint: str = ""
    where: str = ""
    block: str = ""

    @property
    def text(self) -> str:
        """The message and the hint as sentences."""
        return f"{sentence(self.message)} {sentence(self.hint)}".rstrip()

    def __str__(self) -> str:
        """``file:line:column: Message. Hint.``; with ``warning:`` or ``note:`` before the message of one."""
        place = f"{self.file}:{self.line}:{self.column}" if self.line else self.file
        kind = "" if self.severity == "error" else f"{self.severity}: "
        block = f" (block {self.block})" if self.block else ""
        return f"{place}: {kind}{self.text}{block}"


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name most similar to ``name``; ``None`` if no name is similar."""
    from difflib import get_close_matches  # late import: only an error needs it

    names = list(known)
    folded = {other.casefold(): other for other in names}
    close = get_close_matches(name.casefold(), folded, n=1, cutoff=0.6)
    if close:
        return folded[close[0]]
    # A shortened or extended name, such as `crank` for `turn-the-crank-down`.
    part = [other for other in names if len(name) > 2 and (name in other or (len(other) > 2 and other in name))]
    return min(part, key=len) if part else None


def hint_for(name: str, known: Iterable[str], if_none: str = "") -> str:
    """A hint for an unknown ``name``: the most similar known name, or all of them if they are few.

    ``if_none`` is the hint if there is no known name at all.
    """
    names = list(dict.fromkeys(known))
    near = nearest(name, names)
    if near is not None:
        return f"Did you mean `{near}`?"
    if not names:
        return if_none
    if len(names) <= 12:
        return "Known names: " + ", ".join(f"`{other}`" for other in names)
    return ""
