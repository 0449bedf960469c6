"""Weak points of what people wrote: notes, and the reasons of deviations, corrections and rework."""

from collections.abc import Iterator

from benchflow.base.plaintext import clean_line
from benchflow.procedure.plan import Step
from benchflow.review.evidence.odd_words import DAMAGE_SIZE, UNEASE_SIZE, oddness
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.log.remarks import Remark

_WRITTEN = {
    "note": "wrote", "deviation": "gave as reason of a deviation", "correction": "gave as reason of a correction",
    "rework": "gave as reason of the rework", "state": "gave as reason of a state",
    "choice": "gave as reason of a part", "repair": "gave as repair", "close": "gave as reason for closing",
}  # fmt: skip
_FULL_WEIGHT = ("note",)
_REASONS_OF_RULES = ("deviation",)
CHOICE_SIZE = 0.2
"""The largest size of the reason for another part: if no part on hand fits, that explains the choice. (Own rule.)"""
EXCUSE_SIZE = 0.3
"""The size of unease in the reason of a deviation. Its cause is a weak point of its own. (Own rule.)"""
MENTION_SIZE = 0.12
"""The size of a note about the work without an odd word. (Own rule.)"""


def note_points(log: LoadedLog, step: Step) -> Iterator[WeakPoint]:
    """Odd words in the entries of a step, and in notes of no operation that name a part or joint of it.

    A note about the work without an odd word is only mentioned: the word list does not know every fault.
    """
    for remark in log.remarks:
        if remark.operation == step.id or step.id in remark.named:
            size = _size(remark)
            if size > 0:
                yield _point(remark, size)


def job_note_points(log: LoadedLog) -> Iterator[WeakPoint]:
    """Notes that name no step, odd or not, and the reason for closing the job unfinished."""
    for remark in log.remarks:
        if not remark.operation and not any(name in log.plan.steps for name in remark.named):
            size = _size(remark)
            if size > 0 or remark.kind == "note":
                yield _point(remark, size)


def _size(remark: Remark) -> float:
    """The size by the words. A reason explains what was put right or typed wrong, so only damage counts, and less."""
    size = oddness(remark.text)
    if remark.kind in _FULL_WEIGHT:
        return max(size, MENTION_SIZE if remark.about_work else 0.0)
    if remark.kind in _REASONS_OF_RULES:
        return size if size >= DAMAGE_SIZE else min(size, EXCUSE_SIZE)
    if remark.kind == "choice":
        return min(size, CHOICE_SIZE)
    return UNEASE_SIZE if size >= DAMAGE_SIZE else 0.0


def _point(remark: Remark, size: float) -> WeakPoint:
    words = f"{remark.by} {_WRITTEN[remark.kind]}: “{clean_line(remark.text)}”"
    return WeakPoint("odd-note", words, remark.seq, remark.kind, size)
