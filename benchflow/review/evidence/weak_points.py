"""Finds the weak points of one step: missing, doubtful or unusual evidence."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from benchflow.procedure.plan import Step
from benchflow.review.evidence.calculation_points import calculation_points
from benchflow.review.evidence.clock_points import joint_clock_points
from benchflow.review.evidence.completion_points import (
    answered_no_points,
    audit_points,
    not_done_points,
    rework_points,
    takeover_points,
)
from benchflow.review.evidence.instrument_points import instrument_points
from benchflow.review.evidence.joint_points import joint_points
from benchflow.review.evidence.lubricant_points import lubricant_points
from benchflow.review.evidence.note_points import note_points
from benchflow.review.evidence.part_points import part_points
from benchflow.review.evidence.people_points import signature_points
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.evidence.reading_points import reading_points
from benchflow.review.evidence.sibling_points import sibling_points
from benchflow.review.evidence.speed_points import too_fast_points
from benchflow.review.evidence.state_points import state_points
from benchflow.review.evidence.window_points import time_window_points
from benchflow.review.log.facts import StageFact
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.log.reading_values import Value, values_of

if TYPE_CHECKING:
    from benchflow.session.shop.register import Shop


def weak_points_of(log: LoadedLog, step: Step, shop: "Shop | None" = None) -> Iterator[WeakPoint]:
    """The weak points of ``step``, each in one sentence.

    ``shop`` is the shop's register; it adds what the log does not have about the instruments.
    """
    fact = next((fact for fact in log.facts.operations if fact.operation == step.id), None)
    finished = log.state.done.get(step.id)
    stages = [s for s in log.facts.stages if s.operation == step.id and s.in_force]
    values = values_of(log, step)
    yield from not_done_points(log, step, fact)
    yield from answered_no_points(log, step)
    yield from takeover_points(log, step)
    yield from audit_points(log, step.id)
    yield from reading_points(log, step, values)
    yield from sibling_points(log, step, values)
    yield from calculation_points(log, step, values)
    yield from instrument_points(log, step, values, stages, shop)
    if finished is not None:
        yield from time_window_points(log, step, fact, _signed_time(log, step) or finished.seq)
    yield from signature_points(log, step, shop)
    yield from note_points(log, step)
    yield from rework_points(log, step)
    yield from part_points(log, step)
    yield from state_points(log, step)
    yield from joint_clock_points(log, step)
    yield from lubricant_points(log, step)
    yield from too_fast_points(log, step, fact)
    yield from joint_points(log, step, stages)
    taken_over = log.state.work(step.id).takeover is not None
    if finished is not None and not taken_over and not _has_evidence(log, step, values, stages):
        yield WeakPoint("word-only", "finished without a reading, tick, check or signature", finished.seq)


def _signed_time(log: LoadedLog, step: Step) -> int | None:
    """The event in which somebody signed for a time window of the step: what to look at first."""
    signed = (one.seq for one in log.facts.deviations if one.operation == step.id and one.about.startswith("time"))
    return next(signed, None)


def _has_evidence(log: LoadedLog, step: Step, values: tuple[Value, ...], stages: list[StageFact]) -> bool:
    work = log.state.work(step.id)
    return bool(
        any(value.readings for value in values)
        or stages
        or work.checks
        or work.failed
        or work.chosen
        or work.lots
        or work.signed
    )
