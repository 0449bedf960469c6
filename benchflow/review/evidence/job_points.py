"""Weak points that belong to no step: remarks, clocks, the register and the log itself."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from benchflow.review.evidence.clock_points import job_clock_points
from benchflow.review.evidence.completion_points import audit_points
from benchflow.review.evidence.note_points import job_note_points
from benchflow.review.evidence.people_points import job_people_points
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.evidence.state_points import job_state_points
from benchflow.review.formatting import count
from benchflow.review.log.loaded_log import LoadedLog

if TYPE_CHECKING:
    from benchflow.session.shop.register import Shop


def job_points(log: LoadedLog, shop: "Shop | None" = None) -> Iterator[WeakPoint]:
    """The weak points of the whole job, each in one sentence.

    ``shop`` is the shop's register; it adds what the log does not have about people and instruments.
    """
    if log.damage is not None:
        total = len(log.lines) + max(len(log.untrusted), 1)
        untrusted = f"{count(len(log.untrusted), 'line')} from there on {'is' if len(log.untrusted) == 1 else 'are'}"
        words = f"line {log.damage.line} {log.damage.what}; {untrusted} not trusted"
        yield WeakPoint("log-damaged", words, None, "log", len(log.untrusted) / total)
    yield from audit_points(log, "")
    yield from job_people_points(log)
    yield from job_note_points(log)
    yield from job_state_points(log)
    yield from job_clock_points(log)
