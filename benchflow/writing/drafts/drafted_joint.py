"""Drafts the joints of a line of a teardown: thread, count, lengths, and what its tightening asks for."""

from typing import Any

from msgspec import Struct

from benchflow.session.teardown.part_text import fasteners_text
from benchflow.session.teardown.teardown_record import FastenerGroup
from benchflow.writing.drafts.draft_book import ASK, DraftBook, block_comment, sentence_case, unique
from benchflow.writing.drafts.draft_yaml import Noted
from benchflow.writing.drafts.line_facts import LineFacts
from benchflow.writing.drafts.part_words import is_breakaway, is_fastener, is_written_torque

WRENCH, THREAD_LOCKER = "torque-wrench", "thread-locker"
_STAGES = "Write the stages that the manual prints: [10 N·m, 25 N·m, +90°]"


class DraftedJoint(Struct, frozen=True):
    """A joint in the draft: its title, the key `tighten` for it, how it is loosened, and comments for the operation.

    ``kinds`` is the word for its fasteners, such as ``bolts``.
    """

    title: str
    kinds: str
    count: int
    tighten: dict[str, Any]
    loosen: str
    above: list[str]


def drafted_joints(book: DraftBook, facts: LineFacts) -> list[DraftedJoint]:
    """Write the joints of a line into the draft, one for each thread."""
    by_thread: dict[str, list[FastenerGroup]] = {}
    for group in facts.tightened:
        by_thread.setdefault(group.thread, []).append(group)
    several = len(by_thread) > 1
    return [_drafted(book, facts, thread, groups, several=several) for thread, groups in by_thread.items()]


def _drafted(
    book: DraftBook, facts: LineFacts, thread: str, groups: list[FastenerGroup], *, several: bool
) -> DraftedJoint:
    count = sum(group.count for group in groups)
    kinds = unique(group.kind for group in groups)
    kind = kinds[0] if len(kinds) == 1 else "fastener"
    plural = f"{kind}{'s' if count > 1 else ''}"
    if facts.is_own_thread or (kind == "fastener" and is_fastener(facts.what)):
        title = named = f"{facts.what}{f' {thread}' if several and thread else ''}"
    else:
        title = f"{facts.what} {plural}{f' {thread}' if several and thread else ''}"
        named = plural
    name = book.name(title, "joint", default="joint")
    drawn: dict[str, Any] = {"title": sentence_case(title), "thread": thread or ASK, "lubricant": ASK}
    comments: list[str] = []
    if facts.thread_locked:
        drawn["lubricant"] = "thread locker"
        comments.append("Thread locker was found here. The manual names which, and whether the torque is for it.")
    if facts.counts_unknown and any(group.where for group in groups):
        drawn["layout"] = ASK
        comments.append("The count is one of several (see the line): draw all of them in the layout.")
    elif count < facts.line.description.count:
        drawn["layout"] = ASK
        fasteners, parts = f"{count} {plural}", facts.line.description.count
        why = f"{fasteners} for {parts} parts: how many are there?"
        comments.append(book.keep(f"line {facts.line.id}", facts.line.description.entered or facts.what,
                                  f"{why} Draw all of them in `layout`", refused=True))  # fmt: skip
    elif count <= 2 or facts.is_own_thread:
        drawn["layout"] = " ".join(str(number) for number in range(1, count + 1))
    else:
        drawn |= {"layout": ASK, "count": count}
    odd = [one.text for part in facts.line.parts for one in part.found if one.kind == "odd-bolt"]
    for text in unique(odd):
        why = f"the joint counts {count}: is the odd bolt one of them?"
        comments.append(book.keep(f"line {facts.line.id}", text, why, refused=True))
    lengths = [group for group in groups if group.length is not None or group.where]
    if len(lengths) > 1:
        comments.append("Lengths and places, for `groups` once the layout is drawn:")
        comments += [f"  {fasteners_text(group)}" for group in lengths]
    book.joints[name] = Noted(drawn, tuple(comments)) if comments else drawn
    loosen = f"Loosen the {named}"
    if count > 2 and not facts.is_own_thread:
        loosen = f"Loosen the {count} {named} a little at a time, in the reverse of the tightening order"
    tighten = {"joint": name, "with": WRENCH, "stages": [{"torque": ASK}]}
    return DraftedJoint(title, named, count, tighten, loosen, _above(book, facts, count))


def _above(book: DraftBook, facts: LineFacts, count: int) -> list[str]:
    """The comments above the operation. How stages are written is said once in a draft."""
    above = [*book.once(_STAGES)]
    broke = [each.value for each in facts.line.values if each.value is not None and is_breakaway(each.name)]
    above += [f"It let go at {value.value} {value.unit} during the teardown: for comparison only." for value in broke]
    written = [each.value for each in facts.line.values if each.value is not None and is_written_torque(each.name)]
    above += [f"The teardown says {value.value} {value.unit}: compare it with the manual." for value in written]
    if facts.line.description.count > 1 and count > 2 and "cap" in facts.what.lower():
        above += book.once(block_comment("caps-drawn-down"))
    return above
