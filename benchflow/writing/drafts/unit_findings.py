"""What was found at the one unit that was taken apart: it becomes comments, because a procedure is for every unit.

The checks are general. They ask whether the part is sound, without the words about this unit.
"""

import re

from benchflow.session.teardown.part_text import fate_text, finding_text
from benchflow.writing.drafts.draft_book import DraftBook, plain_text, unique
from benchflow.writing.drafts.line_facts import LineFacts
from benchflow.writing.drafts.part_words import is_sealed, is_thread_locked

_GOOD = re.compile(r"(?:good|ok|fine)(?: condition)?", re.IGNORECASE)
_FAULT = re.compile(
    r"\b(?:torn|worn|wear|chip(?:s|ped|ping)?|crack(?:s|ed)?|scor(?:e|ed|ing)|scratch\w*|scuff\w*|bent|broke(?:n)?|"
    r"pit(?:s|ted|ting)|rough|nois[ey]|wet|leak\w*|sweats?|blued?|carbon|swarf|debris|blocked|clogged|corro\w+|rust\w*|"
    r"hardened|perished|oval|seized|missing|fell|damaged?|burn\w*|stretched|stiff|jumps?|slips?|flakes?|sludge|paste|"
    r"dent(?:s|ed)?|nick(?:s|ed)?|gall(?:ed|ing)|fretted|fretting|contaminated|dirty|cleaned|loose|impact marks?)\b",
    re.I,
)
"""Words about the condition of a part. Source: common practice, no source."""
_DISPOSAL = re.compile(
    r"\b(?:throw|thrown|discard(?:ed)?|scrap(?:ped)?|bin(?:ned)?|replaced?|renew(?:ed)?|not used again)\b", re.I
)
"""Words about what becomes of the old part. In an instruction they would be read as about the new one."""
_OWN_MARK = re.compile(r"\b(?:felt|pen|paint(?:ed)?|marker|chalk(?:ed)?|scribed?|scratched|tape)\b", re.I)


def is_finding(text: str) -> bool:
    """True for words about the condition of one unit: ``o-ring torn``. Sealant or thread locker is none."""
    return _FAULT.search(text) is not None and not (is_sealed(text) or is_thread_locked(text))


def is_own_mark(text: str) -> bool:
    """True for a mark that the person who took it apart made: another unit does not have it."""
    return _OWN_MARK.search(text) is not None


def instruction_words(facts: LineFacts) -> list[str]:
    """The words and notes of a line that are about its kind of part, and so belong in the instruction."""
    words = [*facts.remarks, *(note.text for note in facts.line.notes)]
    return [plain_text(each) for each in words if is_instruction(each)]


def is_instruction(text: str) -> bool:
    """True for words that are no finding, and that say nothing about throwing the old part away."""
    if re.fullmatch(r"\d{1,3}\s*[x×]", text.strip(), re.I):
        return False  # it is the count of the parts
    return not (is_finding(text) or is_sealed(text) or is_thread_locked(text) or _DISPOSAL.search(text))


def general_checks(facts: LineFacts) -> list[str]:
    """What is checked at this part of every unit, because something was found there, or because of its fate."""
    stands, line = facts.word("It is", "They are"), facts.line
    sound = f"{stands} sound, and within the limits of wear"
    checks: list[str] = []
    for part in line.parts:
        is_new = facts.renewed or part.place in facts.replaced
        for one in part.found:
            if is_sealed(finding_text(one)):
                continue  # the operation that puts the bead on is about them
            if one.kind in ("debris", "broken", "worn", "leak", "other") and is_new:
                continue
            checks.append({
                "debris": f"{stands} clean, without debris", "gasket-imprint": "Both faces are clean, and flat",
                "thread-insert": "The threads are sound at full depth",
                "odd-bolt": "Each fastener is of the kind and length that belongs there",
                "missing-dowel": "The dowels are in place", "leak": "The sealing faces are sound",
            }.get(one.kind, sound))  # fmt: skip
        if part.fate == "machine":
            checks.append(f"After machining: {stands.lower()} measured, and clean")
        elif part.fate == "ask-customer":
            checks.append(sound)
    if _has_condition(facts) and not facts.all_new:
        checks.append(f"{stands} clean, and good to use")
    return unique(checks)


def unit_findings(facts: LineFacts) -> list[str]:
    """What was found at the parts of a line, and what became of them, in the words of the teardown."""
    line, found = facts.line, []
    for part in line.parts:
        place = f"{part.place}: " if part.place and len({(each.found, each.fate) for each in line.parts}) > 1 else ""
        found += [f"{place}{finding_text(one)}" for one in part.found]
        if part.fate in ("machine", "ask-customer") or (part.fate == "replace" and part.fate_reason):
            found.append(f"{place}{fate_text(part.fate, part.fate_reason)}")
    if _has_condition(facts):
        found.append(line.description.condition)
    if is_own_mark(line.description.marks):
        found.append(line.description.marks)
    found += [each for each in (*facts.remarks, *(note.text for note in line.notes)) if is_finding(each)]
    return unique(plain_text(each) for each in found)


def found_comment(book: DraftBook, facts: LineFacts) -> tuple[str, ...]:
    """The comment about what was found at the parts of a line; none if nothing was."""
    return book.found_on([f"{each} (line {facts.line.id})" for each in unit_findings(facts)])


def customer_questions(facts: LineFacts) -> list[str]:
    """What the customer has to decide about the parts of a line of this unit."""
    reasons = unique(each.fate_reason or "use again or replace" for each in facts.line.parts
                     if each.fate == "ask-customer")  # fmt: skip
    return [f"{facts.what}: {plain_text(each)} (line {facts.line.id})" for each in reasons]


def _has_condition(facts: LineFacts) -> bool:
    condition = facts.line.description.condition.strip()
    return bool(condition) and not _GOOD.fullmatch(condition)
