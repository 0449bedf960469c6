"""Weak points of steps that were finished faster than hands work."""

from collections.abc import Iterator
from typing import Final

from benchflow.base.durations import rounded_duration
from benchflow.procedure.plan import Step
from benchflow.review.evidence.ranking import TAKES_SHARE, WeakPoint
from benchflow.review.formatting import count
from benchflow.review.log.facts import OperationFact
from benchflow.review.log.loaded_log import LoadedLog

LEAST_SECONDS: Final = 4.0
ENTRY_SECONDS: Final = 2.0
HABIT_SHARE: Final = 0.5
"""What hands need: this many seconds for a step, and for each of its entries. (Own rule, no source: an entry is a look,
a movement and a key.) If more than this part of a job's steps are faster, its builder enters the work afterwards."""


def too_fast_points(log: LoadedLog, step: Step, fact: OperationFact | None) -> Iterator[WeakPoint]:
    """The weak point of a step that took a small part of the time that the procedure states, or that hands need."""
    finished = log.state.done.get(step.id)
    if fact is None or finished is None or fact.started is None or log.state.work(step.id).takeover is not None:
        return
    if step.takes:
        if much_shorter_than_stated(step, fact):
            words = f"done in {short_duration(fact.in_progress)}; the procedure states {rounded_duration(step.takes)}"
            words += "; what it measured is not proven" if step.operation.record else ""
            yield WeakPoint("too-fast", words, finished.seq, size=fact.in_progress / step.takes)
        return
    needed = seconds_needed(fact)
    if fact.in_progress < TAKES_SHARE * needed and not entered_afterwards(log):
        entries = f" with {count(fact.entries + fact.checks, 'entry', 'entries')}" if fact.entries + fact.checks else ""
        words = f"started and finished{entries} in {short_duration(fact.in_progress)}; hands need about {needed:.0f} s"
        yield WeakPoint("too-fast", words, finished.seq, size=fact.in_progress / needed)


def much_shorter_than_stated(step: Step, fact: OperationFact) -> bool:
    """True if a step took a small part of the time that the procedure states for it. False if it states none."""
    return fact.in_progress < TAKES_SHARE * step.takes


def entered_afterwards(log: LoadedLog) -> bool:
    """True if the builder of this job often starts and finishes a step at once, after the work."""
    facts = [fact for fact in log.facts.operations if fact.done and fact.started is not None]
    fast = sum(fact.in_progress < TAKES_SHARE * seconds_needed(fact) for fact in facts)
    return fast > HABIT_SHARE * len(facts) and (fast > 1 or len(facts) == 1)


def seconds_needed(fact: OperationFact) -> float:
    """The least seconds that hands need for the entries of an operation."""
    return LEAST_SECONDS + ENTRY_SECONDS * (fact.entries + fact.checks)


def short_duration(seconds: float) -> str:
    """``6.0 s``, ``12 min``: below 10 s to a tenth of a second."""
    return f"{seconds:.1f} s" if seconds < 10 else rounded_duration(seconds)
