"""Writes into a draft what a list says in words: values, formulas, cautions, signatures, parts."""

import re
from collections.abc import Sequence
from typing import Any

from benchflow.writing.drafts.draft_book import ASK, DraftBook, plain_text, sentence_case
from benchflow.writing.drafts.draft_yaml import Noted
from benchflow.writing.drafts.figures_in_words import MeasuredFigure, StepFigures
from benchflow.writing.drafts.list_cells import Cell
from benchflow.writing.drafts.step_sentences import (
    NamedFasteners,
    StepSentences,
    fasteners_named,
    resolved_formula,
    sentences_in,
)

BEFORE, BEHIND = "measured before", "measured behind"
"""Keys of values that are measured before or after the tightening of their step, until they get an operation."""

NO_ORDER = "The words do not say whether this is measured before or after the tightening. Make it two operations"


def write_limits(
    book: DraftBook, operation: dict[str, Any], comments: list[str], words: StepFigures, place: str
) -> None:
    """Write the limits in the words of a step: values to record, and values calculated from others of the step."""
    names: dict[str, str] = {}
    for measured in words.limits:
        if measured.formula:
            continue
        name = book.name(measured.name, "value", default="value")
        names[name] = measured.name
        record: dict[str, Any] = {"ask": plain_text(sentence_case(measured.name)), "unit": measured.unit,
                                  "limit": measured.limit}  # fmt: skip
        if measured.readings:
            record["readings"] = measured.readings
            if measured.mean:
                record["judge"] = "mean"
        key = _key(operation, measured, words)
        operation.setdefault(key, {})[name] = record
        if key == "record" and "tighten" in operation:
            comments.append(NO_ORDER)
    for measured in words.limits:
        if not measured.formula:
            continue
        formula = resolved_formula(measured.formula, names)
        if not formula:
            why = f"“{measured.formula}” is a formula. Its words are not each one value of this step. Write `work-out`"
            comments.append(f"{book.keep(place, measured.text, why, refused=True)} ({why})")
            continue
        name = book.name(measured.name, "value", default="value")
        operation.setdefault("work-out", {})[name] = {"is": formula, "unit": measured.unit, "limit": measured.limit}


def _key(operation: dict[str, Any], measured: MeasuredFigure, words: StepFigures) -> str:
    """The key for a value. Within an operation that tightens, values and fasteners have no order."""
    if "tighten" not in operation:
        return "record"
    before = re.search(r"\b(?:before|prior to)\b", measured.text, re.IGNORECASE) is not None
    behind = re.search(r"\b(?:after|afterwards|then|again)\b", measured.text, re.IGNORECASE) is not None
    if not (words.stages or words.refused):  # the torque is in another column
        return BEFORE if before else BEHIND if behind else "record"
    return BEFORE if before or (measured.place < words.tightened_at and not behind) else BEHIND


def write_sentences(book: DraftBook, operation: dict[str, Any], comments: list[str], text: str) -> StepSentences:
    """Write the cautions and the signature of a step. What has no key is named in a comment, and counted."""
    found = sentences_in(text)
    for each in found.prohibitions:
        operation.setdefault("cautions", []).append({"caution": plain_text(sentence_case(each))})
    if found.second_person and "hold" not in operation:
        operation["hold"] = {
            "by": "inspector",
            "second-person": True,
            "for": plain_text(sentence_case(found.second_person)),
        }
        comments.append("The signature is that of a second person. Write the role that signs in your shop under `by`")
    elif found.inspector and "hold" not in operation:
        operation["hold"] = {"by": "inspector", "for": plain_text(sentence_case(found.signed))}
    if found.not_taken:
        quoted = ", ".join(f"“{each}”" for each in found.not_taken)
        comments.append(f"Words about remedies, tries or signatures, not taken: {quoted}")
        book.left_in_words += len(found.not_taken)
    return found


def split_measuring(book: DraftBook) -> None:
    """Give values that are measured before or after the tightening of their step an operation of their own."""
    for section in book.sections:
        operations: list[Any] = []
        for each in section.operations:
            noted = each if isinstance(each, Noted) else Noted(each)
            operation: dict[str, Any] = noted.value
            before, behind = operation.pop(BEFORE, None), operation.pop(BEHIND, None)
            comment = ("The words of the step below. Only this `after` keeps the order: measure, then tighten.",)
            if before:
                first = _measuring(book, before, operation.get("after", []))
                operation["after"] = [first["id"]]
                operations.append(Noted(first, comment))
            operations.append(each)
            if behind:
                last = _measuring(book, behind, [operation["id"]])
                operations.append(Noted(last, ("The words of the step above. It is measured once that is tight.",)))
                _come_after(book, operation["id"], last)
        section.operations = operations


def _measuring(book: DraftBook, record: dict[str, Any], after: list[str]) -> dict[str, Any]:
    title = f"Measure: {', '.join(each['ask'][:1].lower() + each['ask'][1:] for each in record.values())}"
    operation: dict[str, Any] = {"id": book.name(title), "title": title[:90]}
    if after:
        operation["after"] = after
    return {**operation, "record": record}


def _come_after(book: DraftBook, before: str, new: dict[str, Any]) -> None:
    """Let what came after the operation ``before`` come after the new one."""
    for operation in book.operations:
        if operation is not new and before in operation.get("after", ()):
            operation["after"] = [new["id"] if each == before else each for each in operation["after"]]


def fill_joints(book: DraftBook, words: Sequence[Cell]) -> None:
    """Fill thread, class and lubricant of joints from the words outside of the steps, such as a parts line.

    Fasteners belong to a joint if it alone has their number and the same noun in its title. Others are named.
    """
    for cell in words:
        for named in fasteners_named(cell.text):
            joints = [joint for joint in book.joints.values() if _fits(joint, named)]
            alike = [one for other in words for one in fasteners_named(other.text)
                     if (one.count, one.noun) == (named.count, named.noun)]  # fmt: skip
            if len(joints) != 1 or len(alike) != 1:
                why = "no step tightens exactly these fasteners. Write them to their joint"
                book.tail.append(book.keep(cell.place, named.text, why, refused=True))
                continue
            _fill(joints[0], named)


def fill_from_step_before(book: DraftBook, steps: Sequence[tuple[dict[str, Any], list[str], str]]) -> None:
    """Fill the thread of a joint from its step, or the one directly before: ``Fit the 6 bolts M8x1.25``.

    ``steps`` are operation, comments and words, in their order. The number and the noun must be the same, and no
    other fasteners of these steps may have them. The printed sequence of a step is named beside it.
    """
    before = ""
    for operation, comments, text in steps:
        if "tighten" in operation:
            joint = book.joints[operation["tighten"]["joint"]]
            named = [one for one in fasteners_named(f"{before}\n{text}") if _fits(joint, one)]
            if len(named) == 1:
                _fill(joint, named[0])
                comments.append(f"The thread is from the words of the list: {named[0].text}")
            stages = operation["tighten"]["stages"]
            if len(stages) == 1 and re.search(r"\bstage\s+1\b|\b(?:1st|first)\s+stage\b", text, re.IGNORECASE):
                stages.append({"torque": ASK})
                comments.append("The list names a first stage, but no next one was found. Write the next stages")
            if sequence := re.search(r"\b\d{1,2}(?:\s?[-–]\s?\d{1,2}){3,}\b", text):
                comments.append(f"The list prints the sequence {sequence[0]}. Number the `layout` so")
        before = text


def _fits(joint: Any, named: NamedFasteners) -> bool:
    own = joint.value if isinstance(joint, Noted) else joint
    count = own.get("count") or len(str(own.get("layout", "")).split())
    noun = named.noun.removesuffix("s")
    return (
        own.get("thread") == ASK
        and count == named.count
        and re.search(rf"\b{noun}s?\b", own["title"], re.I) is not None
    )


def _fill(joint: Any, named: NamedFasteners) -> None:
    own: dict[str, Any] = joint.value if isinstance(joint, Noted) else joint
    own["thread"] = named.thread
    if named.strength:
        own["class"] = named.strength
    if named.lubricant and own["lubricant"] == ASK:
        own["lubricant"] = named.lubricant
