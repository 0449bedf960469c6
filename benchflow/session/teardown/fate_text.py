"""Reads the fate of a part, such as ``replace: pitted``, and whether it is that of another part of the line."""

import re

from msgspec import Struct

from benchflow.session.teardown.fastener_text import is_about_fasteners, is_kind
from benchflow.session.teardown.renewed_parts import is_seal, is_used_once
from benchflow.session.teardown.teardown_record import PartFate

_FATES: tuple[tuple[str, PartFate], ...] = (
    (r"use again|re-?use|refit", "use-again"),
    (r"replace|renew|scrap", "replace"),
    (r"machine|regrind|grind|skim|rebore|hone|reface|resurface", "machine"),
    (r"ask (?:the )?customer", "ask-customer"),
)
_OTHER_PARTS = frozenset({"bearing", "spring", "bush", "shim", "spacer", "ball", "dowel", "ring", "boot", "hose"})


class FateText(Struct, frozen=True):
    """A fate in words: the fate, its reason, and the part that it is about, "" for the thing of the line."""

    fate: PartFate
    reason: str
    other_part: str = ""


def read_fate(text: str, what: str, words_before: str) -> FateText | None:
    """The fate that ``text`` names in the line of ``what``; ``None`` if it names none.

    ``words_before`` are the words of the segment before, "" if that was understood. ``replace o-ring`` in the line of
    another part is about the O-ring, and so is ``o-ring, replace``. What follows a colon is the reason for the thing.
    """
    if is_about_fasteners(text):
        return None
    for pattern, fate in _FATES:
        found = re.fullmatch(rf"((?:{pattern}))(?!\w)(?:\s*[:(]?\s*([^)]*)\)?)?", text, re.IGNORECASE)
        if found is None:
            continue
        keyword, reason = found[1].lower(), (found[2] or "").strip()
        owner = reason or words_before
        if owner and not re.search(r"[:(]", text) and _is_other_part(owner, what):
            return FateText(fate, "", owner)
        return FateText(fate, text if fate == "machine" and keyword != "machine" else reason)
    return None


def _is_other_part(words: str, what: str) -> bool:
    """True if ``words`` name a part that is not in the name ``what``."""
    own = {word.rstrip("s") for word in re.findall(r"[\w-]+", what.lower())}
    named = words.strip().split()[-1].lower().rstrip("s")
    known = is_seal(words) or is_used_once(words) or is_kind(words) or named in _OTHER_PARTS
    return known and named not in own
