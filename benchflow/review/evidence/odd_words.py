"""Judges a note by its words: damage or a wrong fit, unease, or nothing odd.

It compares words with a list of the trade in English (:mod:`benchflow.review.evidence.odd_phrases`); it does not
understand the text. A note whose words are not in the list is neutral: it is shown, and does not make a step suspect.
"""

import re
from functools import cache
from typing import Final

from benchflow.review.evidence.odd_phrases import DAMAGE, UNEASE, UNEASE_ALWAYS

DAMAGE_SIZE: Final = 1.0
UNEASE_SIZE: Final = 0.5
REPLACED_SIZE: Final = 0.2
"""The sizes of a note: with a word for damage, with a word of unease, and with what was put right or taken off."""

_NEGATION: Final = r"""
no\b
not\b
without\b
never\b
none\b
nothing\b
free (?:of|from)\b
zero\b
nor\b
neither\b
(?:is|was|are|were|do|does|did|has)n['’]?t\b
(?:check|look|inspect|test|search)(?:ed|ing)? for\b
any\b
against\b
"""
_NO_BEFORE: Final = r"(?:no|nothing|none|without|never|nowhere|any|not|zero)(?: \w+)?\s+$"
_NONE_AFTER: Final = r"""
(?:none|nil|nothing|no|negative|ok|free|spray|dye|test kit)\b
(?:test|check)(?:ed|s)?\b
detect
"""
_CLAUSE_END: Final = (
    r"(?:[.;,!?\n]|:(?!\s*(?:none|nil|no\b|nothing|ok\b)))+\s*"
    r"|\s+[-\u2013\u2014]+\s+|\s+(?:but|although|however|though)\s+"
)
_LIST_WORDS: Final = r"\b(?:or|and|nor|any|other|marks?|sign|signs|of)\b|\W"
_REPLACED: Final = r"""
(?<!not )(?:replaced|renewed|exchanged|scrapped)\b
(?:threw (?:it|them)|thrown) away\b
(?:fitted|took|used|put in|got) (?:a |another |the )?(?:new|fresh)\b
new one (?:fitted|in)\b
sent (?:it |them )?back\b
now (?:it |they )?(?:runs?|turns?|goes|fits?|is|are|moves?|works?) (?:\w+ )?(?:free|freely|fine|ok|okay|well|
    smooth|smoothly|good|flat|clean|clear)\b
(?:ran|run) a (?:die|tap|chaser) (?:over|through|down)\b
(?:poked|cleaned|blown|blew|rinsed|flushed|washed|dressed|stoned|filed|polished|lapped|wiped) (?:it |them )?(?:\w+ )?
    (?:clear|free|out|smooth|clean|flat|down)\b
(?:old|previous|removed|original) (?:\w+ ){0,2}(?:was|were|is|are|had|has|leaked|leaks|looked|came)\b
(?:customer|client|owner|he|she) (?:said|says|told|reports?|complained|complains|thinks?|heard|hears)\b
"""
_NO_NEW: Final = r"""
no (?:new|spare|other|fresh)\b
not (?:in )?yet\b
old (?:one|ones) (?:back|again|in)\b
(?:put|used|fitted|re-?used|refitted) (?:\w+ ){0,3}old\b
(?:did|could|would|will)(?: not|n['’]?t)\b
"""
_OTHER_MATTERS: Final = r"""
(?:customer|client|owner|supplier|courier|wife|husband)\b
(?:lunch|coffee|tea|dinner|holiday|birthday|weekend|traffic|home|van)\b
(?:phone|rang|call(?:ed|s)?|e?-?mail|invoice|bill|parcel|post|deliver(?:y|ed)|order(?:ed)?)\b
(?:radio|music|photo|camera|screen|keyboard|printer|wi-?fi|internet|computer|power cut)\b
(?:light|lamp|bulb|heater|heating|weather|rain(?:ing)?|snow|cold in|hot in|hot day)\b
(?:pen|pencil|broom|rag|apron|gloves?|bench)\b
(?:be here|be back|here tomorrow|tonight|game|match|party|film)\b
(?:in|into) (?:\w+ ){0,2}(?:box|bag|drawer|tray|tin|shelf|folder|cupboard)\b
"""
"""What a neutral sentence is often about: people, weather, the room."""

_OTHER_THINGS: Final = r"""
(?:radio|lamp|bulb|heater|phone|screen|keyboard|printer|van|camera|pen|pencil|broom|kettle|coffee machine|glasses)\b
(?:my|his|her|your) (?:\w+ )?(?:hand|finger|thumb|knuckle|arm|wrist|knee|eye|back|head|shirt|sleeve|coat|boot)s?\b
"""
"""Things and people whose damage says nothing of the work."""

_ALL_THE_SAME: Final = r"""
(?:but|though) (?:it |they )?(?:is |are |was |were )?(?:ok|okay|fine|good|normal|as it should be|as before)\b
as (?:usual|expected|always)\b
"""
"""What cancels unease. It does not cancel damage."""

_PROPER_BEND: Final = r"(?:tabs?|cotter|split pin|lock ?wire|locking wire|locking plate)\b"
_LOOSENED: Final = r"\b(?:crack(?:ed)?|broke|break) (?:\w+ ){0,3}(?:loose|open|off)\b"
_PERSON: Final = r"(?<!\b[Aa] )(?<!\b[Tt]he )(?<!\b[Oo]ne )\bNick (?!on\b|in\b|at\b|near\b|along\b|under\b)"


@cache
def _pattern(phrases: str) -> re.Pattern[str]:
    """The pattern of all phrases, one for each line. Blanks at the start of a line continue the line before."""
    lines = re.sub(r"\n +", "", phrases.strip()).splitlines()
    return re.compile(rf"\b(?:{'|'.join(lines)})", re.IGNORECASE)


def oddness(text: str) -> float:
    """How odd a note is: 0 for nothing odd, :data:`UNEASE_SIZE` for unease, :data:`DAMAGE_SIZE` for damage."""
    plain = re.sub(_LOOSENED, "", re.sub(_PERSON, "", text), flags=re.IGNORECASE)
    worst, negated = 0.0, False
    for clause in re.split(_CLAUSE_END, plain, flags=re.IGNORECASE):
        damage, unease, negated = _judge_clause(clause, list_negated=negated)
        worst = max(worst, DAMAGE_SIZE if damage else 0.0, UNEASE_SIZE if unease else 0.0)
    if text.rstrip().endswith("?") and not _pattern(_OTHER_MATTERS).search(text):
        worst = max(worst, UNEASE_SIZE)  # a question of the person at the bench
    if worst and _pattern(_REPLACED).search(text) and not _pattern(_NO_NEW).search(text):
        return REPLACED_SIZE
    if worst == UNEASE_SIZE and _pattern(_ALL_THE_SAME).search(text):
        return REPLACED_SIZE
    return worst


def _judge_clause(clause: str, *, list_negated: bool) -> tuple[bool, bool, bool]:
    """Whether a clause has a word for damage, and one of unease, and whether a list of negated words goes on after it.

    ``list_negated`` is true after ``no cracks``: then ``nicks or burrs`` is negated too.
    """
    damage, unease_words = _pattern(DAMAGE), _pattern(UNEASE)
    found = [match for match in damage.finditer(clause) if not _is_proper_bend(clause, match)]
    if _pattern(_OTHER_THINGS).search(clause):
        found = []
    if list_negated and found and not re.sub(_LIST_WORDS, "", damage.sub("", clause), flags=re.IGNORECASE):
        return False, False, True
    sound = [match for match in found if _is_negated(clause, match)]
    no_before = _pattern(_NO_BEFORE)
    uneasy = any(not no_before.search(clause[: match.start()]) for match in unease_words.finditer(clause))
    unease = bool(_pattern(UNEASE_ALWAYS).search(clause)) or (uneasy and not _pattern(_OTHER_MATTERS).search(clause))
    if sound and len(sound) == len(found):
        # "Did not find any burrs": the words of unease may be the negation.
        left = _pattern(_NEGATION).sub(" ", clause[: sound[0].start()])
        unease = unease and bool(unease_words.search(left) or unease_words.search(clause[sound[-1].end() :]))
    return len(sound) < len(found), unease, bool(sound)


def _is_proper_bend(clause: str, match: re.Match[str]) -> bool:
    """True for a locking tab that is bent, as it has to be."""
    return match.group().lower().startswith(("bent", "split")) and bool(_pattern(_PROPER_BEND).search(clause))


def _is_negated(clause: str, match: re.Match[str]) -> bool:
    """True if the clause says that there is none: ``no burrs``, ``not cracked``, ``crack test ok``."""
    if match.group().lower().startswith("without"):
        return False
    before, after = clause[: match.start()], clause[match.end() :]
    if not re.search(r"\b(?:fail|not\b)", after, re.IGNORECASE):
        next_words = [word.start() for word in re.finditer(r"\b\w", after)][:3]
        if any(_pattern(_NONE_AFTER).match(after, start) for start in next_words):
            return True
    negations = list(_pattern(_NEGATION).finditer(before))
    # A negation reaches over a list: "no nicks, burrs or cracks". "Not sure if it is cracked" is not a negation.
    doubt = r"\b(?:sure|certain|if|whether|only|just)\b"
    return bool(negations) and not re.search(doubt, before[negations[-1].start() :], re.IGNORECASE)
