"""Reads the fate of a part as mechanics write it, such as ``replace: pitted`` or ``to the machine shop``.

A fate can be that of another part of the line. Words that could mean something else are never read as a fate.
"""

import re

from msgspec import Struct

from benchflow.session.teardown.fastener_text import is_about_fasteners, is_kind
from benchflow.session.teardown.renewed_parts import is_seal, is_used_once
from benchflow.session.teardown.teardown_record import PartFate

_TO_SHOP = (
    r"(?:(?:goes|go|send|take|bring|off) )?(?:it |them )?(?:to|for) (?:the )?(?:machine[- ]?shop|machinist)"
    r"|(?:for machining|to be machined)"
)
_ASK = r"ask (?:the )?(?:customer|owner)"
_AWAY = r"throw (?:it |them )?(?:away|out)|discard|bin (?:it|them)"
_NOT_AGAIN = (
    r"(?:do not|don['’]?t|never|cannot|can['’]?t|not to be|must not be|not) (?:be )?"
    r"(?:re-?used?|re-?usable|used? again|refit(?:ted)?)"
)
_AGAIN = r"(?:(?:to|can|may) be )?used? again|re-?use|(?:to|can|may) be re-?used"
_BARE_SHOP = r"(?:the )?machine[- ]?shop|machinist"
_VERBS = r"machine|regrind|grind|skim|rebore|hone|reface|resurface"

_FATES: tuple[tuple[str, PartFate], ...] = (
    (_NOT_AGAIN, "replace"),
    (rf"{_AGAIN}|refit", "use-again"),
    (rf"replace|renew|scrap|to order|order new|order(?=\s*$)|{_AWAY}", "replace"),
    (_TO_SHOP, "machine"),
    (rf"(?:{_BARE_SHOP})(?=\s*(?:$|[:(]|for\b))", "machine"),
    (rf"(?:{_VERBS})(?![ -](?:marks?|patterns?|lines?|screws?|bolts?|finish|side|paste|shop)\b)", "machine"),
    (rf"{_ASK}|ask(?=\s*:)", "ask-customer"),
)
_INSIDE = re.compile(
    rf"(\S.*?)(?:\s*:\s*|\s+[–—-]\s+|\s+)((?:{_NOT_AGAIN}|{_AGAIN}|{_AWAY}|{_TO_SHOP}|{_ASK})(?!\w).*"
    r"|(?:replace|renew|scrap|regrind|rebore|reface|resurface|skim)\s*(?:$|[:(].*)"
    rf"|(?:{_VERBS})\s*:.*)",
    re.IGNORECASE,
)
"""A fate after other words, without a comma between them."""
_AFTER_COLON = re.compile(rf"(\S[^:]*?)\s*:\s*((?:{_BARE_SHOP}|{_VERBS})\s*(?:$|[:(].*))", re.IGNORECASE)
_ENDS_OPEN = re.compile(
    r"(?:\b(?:not|never|no|if|or|when|maybe|perhaps|possibly|was|were|been|had|marked|stamped|to|be)|n['’]t)$",
    re.IGNORECASE,
)
"""Words before a fate that make it doubtful: ``do not replace``, ``if worn replace``."""
_UNDECIDED = re.compile(r"\?$|(?:or|if|unless|when|maybe|perhaps)\b", re.IGNORECASE)
"""The start of a reason after which nobody has decided yet: ``use again if in spec``."""
_OTHER_PARTS = frozenset({"bearing", "spring", "bush", "shim", "spacer", "ball", "dowel", "ring", "boot", "hose"})
_REPLACED = re.compile(
    rf"(?:replace|renew|{_AWAY})\s+(?!or\b)(\S.*)|(\S.*?)\s+(?:replace|renew|{_AWAY})", re.IGNORECASE
)
"""Words about another part of a line: ``replace o-ring``."""


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
        keyword, reason = found[1].lower(), (found[2] or "").strip(" -–—")
        if fate != "ask-customer" and _UNDECIDED.match(reason):
            return None
        owner = reason or words_before
        if owner and not re.search(r"[:(]", text) and fate != "ask-customer" and _is_other_part(owner, what):
            return FateText(fate, "", owner)
        if fate == "machine":
            is_verb = keyword != "machine" and re.fullmatch(_VERBS, keyword) is not None
            return FateText(fate, text if is_verb else re.sub(r"^for\s+", "", reason))
        return FateText(fate, reason)
    return None


def apart_from_fate(text: str) -> tuple[str, str] | None:
    """The words before a fate and the fate, if ``text`` has both without a comma: ``housing to the machine shop``."""
    if begins_with_fate(text):
        return None
    in_brackets = re.fullmatch(r"(\S.*?)\s*\(([^()]+)\)", text)
    if in_brackets is not None and begins_with_fate(in_brackets[2]):
        return in_brackets[1], in_brackets[2]
    found = _INSIDE.fullmatch(text) or _AFTER_COLON.fullmatch(text)
    if found is None or (found[2].rstrip().endswith("?") and not re.search(_ASK, found[2], re.IGNORECASE)):
        return None
    before = found[1].rstrip(" :–—-")
    if not before or _ENDS_OPEN.search(before) or re.match(r"(?:if|when)\b", before, re.IGNORECASE):
        return None
    return before, found[2].strip()


def begins_with_fate(text: str) -> bool:
    """True if a text is a fate and no name. ``machine guard`` is a name; ``machine: scored`` is a fate."""
    fates = rf"(?:{_NOT_AGAIN}|{_AGAIN}|refit|replace|renew|{_AWAY}|{_TO_SHOP}|{_ASK}|to order|order new)(?!\w)"
    words = rf"(?:{_BARE_SHOP}|{_VERBS}|scrap|ask)\s*(?:$|[:(])"
    return re.match(rf"{fates}|{words}", text, re.IGNORECASE) is not None


def named_after_fate(text: str) -> str:
    """``text`` with the thing first: ``o-ring, replace`` for ``replace o-ring``, ``cover, machine: bent`` otherwise."""
    found = re.fullmatch(rf"(replace|renew|{_AWAY}|{_AGAIN})\s+(\w.*)", text, re.IGNORECASE)
    return f"{found[2]}, {found[1]}" if found is not None else f"cover, {text}"


def replaced_part(words: str) -> str:
    """The other part that the words of a line say to replace, "" if they say none: ``o-ring`` of ``replace o-ring``."""
    found = _REPLACED.fullmatch(words)
    part = "" if found is None else found[1] or found[2]
    return "" if _ENDS_OPEN.search(part) or re.match(r"(?:no|not)\b", part) or _UNDECIDED.match(part) else part


def question_in(text: str) -> str | None:
    """The question to the customer in ``ask customer: which oil``, "" if it is not written, ``None`` if it is none."""
    found = re.fullmatch(rf"(?:{_ASK}|ask(?=\s*:))(?!\w)\s*[:,–—-]?\s*(.*)", text.strip(), re.IGNORECASE)
    return None if found is None else found[1]


def _is_other_part(words: str, what: str) -> bool:
    """True if ``words`` name a part that is not in the name ``what``."""
    own = {word.rstrip("s") for word in re.findall(r"[\w-]+", what.lower())}
    named = words.strip().split()[-1].lower().rstrip("s")
    known = is_seal(words) or is_used_once(words) or is_kind(words) or named in _OTHER_PARTS
    return known and named not in own
