"""What people wrote in a log in their own words: notes, and the reasons of deviations, corrections and rework."""

import re
from collections.abc import Iterable, Iterator
from typing import Literal

from msgspec import Struct

from benchflow.procedure.plan import Plan, Step
from benchflow.review.log.facts import Facts
from benchflow.review.log.picture_facts import PictureFact
from benchflow.session.log.line_format import Line

RemarkKind = Literal["note", "deviation", "correction", "rework", "state", "choice", "repair", "close"]


class Remark(Struct, frozen=True):
    """One text of a person. ``operation`` is "" if there is none.

    ``named`` are the steps that a note without an operation plainly names by a part or a joint of theirs.
    ``about_work`` is true for a note with a word of the titles, parts or joints of the procedure, or of the trade.
    """

    seq: int
    by: str
    operation: str
    text: str
    kind: RemarkKind
    named: tuple[str, ...] = ()
    about_work: bool = False


def remarks(lines: Iterable[Line], plan: Plan) -> tuple[Remark, ...]:
    """Every text of a person in the log, oldest first."""
    words: dict[str, frozenset[str]] | None = None
    found: list[Remark] = []
    finished = ""
    for line in lines:
        if line.kind == "finished":
            finished = str(line.data.get("operation") or "")
        key = _TEXT_KEYS.get(line.kind)
        text = str(line.data.get(key[1]) or "") if key is not None else ""
        if key is None or not text.strip():
            continue
        operation = str(line.data.get("operation") or "")
        named: tuple[str, ...] = ()
        about_work = False
        if key[0] == "note":
            words = _words_of_steps(plan) if words is None else words
            about_work = any(word in words or word in _WORK_WORDS for word in _stems(text, 3))
            if not operation:
                named = _steps_named(text, words)
                named = (finished,) if finished in named else named  # it was written just after that one
        found.append(Remark(line.seq, line.by, operation, text, key[0], named, about_work))
    return tuple(found)


def _steps_named(text: str, words: dict[str, frozenset[str]]) -> tuple[str, ...]:
    """The one or two steps that the words of a note name; none if they name more."""
    matches = [words[word] for word in dict.fromkeys(_content_words(text)) if word in words]
    few = [steps for steps in matches if len(steps) <= FEW_STEPS]
    if not few:
        return ()
    common = frozenset.intersection(*few)
    return tuple(sorted(common or few[0]))


FEW_STEPS = 2
"""A word that more steps have names none of them. (Own rule.)"""


def _words_of_steps(plan: Plan) -> dict[str, frozenset[str]]:
    """The steps that have each word in their title, their parts or their joint."""
    found: dict[str, set[str]] = {}
    for step in plan.steps.values():
        for text in _names_in(plan, step):
            for word in _content_words(text):
                found.setdefault(word, set()).add(step.id)
    return {word: frozenset(steps) for word, steps in found.items()}


def _names_in(plan: Plan, step: Step) -> Iterator[str]:
    yield step.title
    kit = plan.procedure.kit_by_id
    yield from (kit[ref.name].title for ref in step.operation.uses if ref.name in kit)
    if step.operation.tighten is not None:
        joint = plan.procedure.joints_by_id.get(step.operation.tighten.joint)
        yield "" if joint is None else joint.title


def _content_words(text: str) -> Iterator[str]:
    yield from (stem for stem in _stems(text, 4) if stem not in _NO_NAMES and stem + "s" not in _NO_NAMES)


def _stems(text: str, shortest: int) -> Iterator[str]:
    """The words of ``shortest`` or more letters, without the ending of a plural."""
    for word in re.findall(r"[^\W\d_]+", text.casefold()):
        if len(word) >= shortest:
            yield word.removesuffix("s")


_WORK_WORDS = frozenset({
    "bead", "bearing", "bolt", "bore", "cap", "dowel", "face", "fastener", "gap", "gasket", "gauge", "hole", "impact",
    "joint", "journal", "lip", "mark", "nut", "oil", "part", "pin", "plug", "ring", "seal", "sealant", "seat", "shim",
    "stud", "thread", "torque", "washer", "wrench",
})  # fmt: skip
"""Words for what is worked on, besides the names in the procedure. (Own list.)"""


_NO_NAMES = frozenset(
    [
        "about",
        "after",
        "again",
        "against",
        "been",
        "before",
        "check",
        "clean",
        "done",
        "down",
        "each",
        "easier",
        "face",
        "felt",
        "first",
        "fitted",
        "floor",
        "force",
        "from",
        "good",
        "hole",
        "into",
        "just",
        "last",
        "left",
        "lift",
        "like",
        "little",
        "loose",
        "made",
        "mark",
        "measure",
        "much",
        "nick",
        "note",
        "part",
        "place",
        "right",
        "side",
        "some",
        "still",
        "stop",
        "take",
        "than",
        "that",
        "them",
        "then",
        "there",
        "they",
        "this",
        "thread",
        "tight",
        "tighten",
        "torque",
        "turn",
        "used",
        "very",
        "well",
        "were",
        "what",
        "when",
        "with",
        "work",
        "wrong",
        "bolt",
        "nut",
        "one",
        "over",
        "under",
        "without",
        "through",
        "come",
        "came",
        "late",
        "went",
        "have",
        "hard",
        "soft",
        "seat",
        "remove",
        "install",
        "put",
        "new",
        "old",
        "oil",
        "sure",
        "make",
        "look",
        "leave",
        "read",
        "take",
        "time",
        "hand",
        "keep",
        "move",
        "open",
        "close",
    ]
)
"""Words that name no part. (Own list.)"""

_TEXT_KEYS: dict[str, tuple[RemarkKind, str]] = {
    "noted": ("note", "text"),
    "deviated": ("deviation", "reason"),
    "corrected": ("correction", "reason"),
    "rework-started": ("rework", "reason"),
    "state-set": ("state", "reason"),
    "chosen": ("choice", "reason"),
    "repaired": ("repair", "repair"),
    "closed": ("close", "reason"),
}


def note_shown(facts: Facts, picture: PictureFact) -> str:
    """The text of the note that a picture shows; "" if it shows something else."""
    return next((note.text for note in facts.notes if note.seq == picture.event), "")
