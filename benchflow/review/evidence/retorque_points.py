"""The weak point of fasteners that were not checked again after the build, although that was due."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime
from decimal import Decimal
from typing import Final

from benchflow.procedure.model import FollowUp
from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity, convert, dimension_of
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.evidence.symptom_words import stem, stems
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.session.log.timestamps import parse_timestamp
from benchflow.session.rules.hours_or_distance import known_hours_or_distance
from benchflow.session.state.come_back_events import FirstAnswers

_AMOUNT: Final = re.compile(r"\d[\d ,.]*(?:km|mi|h)\b", re.ASCII)
_FASTENERS: Final = frozenset(stem(word) for word in ("nut", "bolt", "stud", "screw", "torque", "tighten"))


def retorque_points(log: LoadedLog, step: Step, answers: FirstAnswers) -> Iterator[WeakPoint]:
    """The weak points of ``step`` if its fasteners were not checked again. Of a joint, the last step that tightens it
    has them. Only a follow-up that is due makes the step suspect."""
    tightens = step.operation.tighten
    if answers.retorque != "no" or tightens is None:
        return
    joints = [(s.id, s.operation.tighten.joint) for s in log.plan.steps.values() if s.operation.tighten is not None]
    if [name for name, joint in joints if joint == tightens.joint][-1] != step.id:
        return
    for item in log.procedure.follow_up:
        if tightens.joint not in _joints_to_check(log, item):
            continue
        due, why = _due(item, answers.since, _days_since_build(log, answers))
        yield WeakPoint(
            "retorque-not-done",
            f"the fasteners were not checked again (“{item.title}”{_due_text(item)}{why})",
            about=tightens.joint,
            size=1.0 if due else 0.0,
        )


def _joints_to_check(log: LoadedLog, item: FollowUp) -> set[str]:
    """The joints whose fasteners a follow-up asks to check: those that it names, or all if it names none."""
    asked = set(stems(item.title))
    if not asked & _FASTENERS:
        return set()
    joints = {joint.id: set(stems(joint.title or joint.id.replace("-", " "))) for joint in log.procedure.joints}
    named = {joint for joint, words in joints.items() if words and words <= asked}
    return named or (set(joints) if asked & {stem("torque"), stem("tighten")} else set())


def _due_text(item: FollowUp) -> str:
    due = [f"due after {item.due.entered}"] if item.due is not None else []
    due += [item.or_ if due else f"due {item.or_}"] if item.or_ else []
    return f", {' or '.join(due)}" if due else ""


def _due(item: FollowUp, since: str, days: Decimal | None) -> tuple[bool, str]:
    """Whether a follow-up is due, and why, as a clause. What the engine has run counts before the calendar.

    ``since`` is what it has run, ``days`` the age of the build.
    """
    run = known_hours_or_distance(since)
    stated = None if run is None else _amount_like(run, item.or_)
    if run is not None and stated is not None:
        due = convert(run, stated.unit).value >= stated.value
        return due, f"; {since} since the build{'' if due else ': not due yet'}"
    if days is not None and item.due is not None:
        due = days >= convert(item.due, "d").value
        return due, f"; the build is {int(days)} d old{'' if due else ': not due yet'}"
    return False, "; whether it is due is not known"


def _amount_like(run: Quantity, text: str) -> Quantity | None:
    """The hours or the distance in a text such as ``after the first 500 km``, of the same dimension as ``run``."""
    amounts = (known_hours_or_distance(found[0]) for found in _AMOUNT.finditer(text))
    return next((each for each in amounts if each and dimension_of(each.unit) == dimension_of(run.unit)), None)


def _days_since_build(log: LoadedLog, answers: FirstAnswers) -> Decimal | None:
    """The days from the end of the job to the complaint with these answers in the log, or else to now.

    ``None`` if that is before the end of the job.
    """
    session = log.facts.session
    asked = next(
        (fact.at for fact in reversed(log.facts.complaints)
         if (fact.retorque, fact.since) == (answers.retorque, answers.since)), None,
    )  # fmt: skip
    then = now() if asked is None else parse_timestamp(asked)
    seconds = (then - parse_timestamp(session.closed_at or session.last_at)).total_seconds()
    return None if seconds < 0 else Decimal(int(seconds)) / 86_400


def now() -> datetime:
    """The present time."""
    return datetime.now(UTC)
