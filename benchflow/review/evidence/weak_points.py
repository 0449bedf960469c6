"""Finds the weak points of one step: missing, doubtful or unusual evidence."""

from collections import Counter
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from benchflow.base.durations import rounded_duration
from benchflow.procedure.model import CheckStage
from benchflow.procedure.plan import Step
from benchflow.review.evidence.completion_points import (
    audit_points,
    not_done_points,
    rework_points,
    takeover_points,
)
from benchflow.review.evidence.instrument_points import instrument_points
from benchflow.review.evidence.note_points import note_points
from benchflow.review.evidence.people_points import signature_points
from benchflow.review.evidence.ranking import (
    FASTENER_SECONDS,
    NEAR_SHARE,
    NEAR_SHARE_ONE_END,
    ONE_END_FACTOR,
    TAKES_SHARE,
    WeakPoint,
)
from benchflow.review.evidence.speed_points import too_fast_points
from benchflow.review.evidence.window_points import time_window_points
from benchflow.review.formatting import count, margin_text, shown_reading
from benchflow.review.log.facts import StageFact
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.log.reading_values import Value, values_of
from benchflow.session.rules.joint_progress import open_out_ticks
from benchflow.trade.verdict import OUT_OF_LIMIT

if TYPE_CHECKING:
    from benchflow.session.shop.register import Shop


PAUSE_SECONDS: Final = 10 * 60.0
"""A pause between two fasteners of a stage is mentioned from this length on."""


def weak_points_of(log: LoadedLog, step: Step, shop: "Shop | None" = None) -> Iterator[WeakPoint]:
    """The weak points of ``step``, each in one sentence.

    ``shop`` is the shop's register; it adds what the log does not have about the instruments.
    """
    fact = next((fact for fact in log.facts.operations if fact.operation == step.id), None)
    finished = log.state.done.get(step.id)
    stages = [s for s in log.facts.stages if s.operation == step.id and s.in_force]
    values = values_of(log, step)
    yield from not_done_points(log, step, fact)
    yield from takeover_points(log, step)
    yield from audit_points(log, step.id)
    for value in values:
        yield from _value_points(value)
    yield from instrument_points(log, step, values, stages, shop)
    if finished is not None:
        yield from time_window_points(log, step, fact, _signed_time(log, step) or finished.seq)
    yield from signature_points(log, step, shop)
    yield from note_points(log, step)
    yield from rework_points(log, step)
    yield from _lubricant_points(log, step)
    yield from too_fast_points(log, step, fact)
    yield from _tick_points(stages)
    yield from _band_points(log, step, stages)
    yield from _failed_fastener_points(log, step)
    taken_over = log.state.work(step.id).takeover is not None
    if finished is not None and not taken_over and not _has_evidence(log, step, values, stages):
        yield WeakPoint("word-only", "finished without a reading, tick, check or signature", finished.seq)


def _signed_time(log: LoadedLog, step: Step) -> int | None:
    """The event in which somebody signed for a time window of the step: what to look at first."""
    signed = (one.seq for one in log.facts.deviations if one.operation == step.id and one.about.startswith("time"))
    return next(signed, None)


# --- values -----------------------------------------------------------------------------------------


def _value_points(value: Value) -> Iterator[WeakPoint]:
    last = max((reading.seq for reading in value.readings), default=None)
    if value.judged is not None and value.open:
        figure = f"{value.ask} is {value.judged_text}"
        if value.verdict in OUT_OF_LIMIT:
            yield WeakPoint("out-of-limit", f"{figure}, outside {value.limit}", last, value.name)
        elif value.verdict == "not-proven":
            yield WeakPoint(
                "not-proven", f"{figure}, not proven within {value.limit}: {value.reason}", last, value.name
            )
    if value.verdict == "ok":
        yield from _near_limit_points(value, last)
    yield from _retaken_points(value)


def _near_limit_points(value: Value, last: int | None) -> Iterator[WeakPoint]:
    least = NEAR_SHARE if value.band.two_ended else NEAR_SHARE_ONE_END
    for reading, _, share in value.margins():
        if 0 <= share < least:
            slot = f" ({reading.slot})" if reading is not None and len(value.readings) > 1 else ""
            figure = value.judged_text if reading is None else shown_reading(reading)
            words = f"{value.ask}{slot} {figure}: {margin_text(share, value.band, value.limit)}"
            size = share if value.band.two_ended else share * ONE_END_FACTOR
            yield WeakPoint("near-limit", words, last if reading is None else reading.seq, value.name, size)


def _retaken_points(value: Value) -> Iterator[WeakPoint]:
    """Earlier attempts that were out of the limit, unless the reading in force is a correction of a typing error."""
    out = [reading for reading in value.earlier if reading.verdict in OUT_OF_LIMIT]
    if out and not any(reading.corrected for reading in value.readings):
        first = shown_reading(out[0])
        words = f"{value.ask} was out of its limit {count(len(out), 'time')} before the accepted reading, first {first}"
        yield WeakPoint("retaken", words, out[0].seq, value.name, len(out))


def _lubricant_points(log: LoadedLog, step: Step) -> Iterator[WeakPoint]:
    tighten = step.operation.tighten
    used = log.state.lubricants.get(tighten.joint) if tighten is not None else None
    if used is not None:
        joint = log.procedure.joints_by_id[used.joint]
        words = f"{used.lubricant} on the threads; the torque is stated for {joint.lubricant or 'another lubricant'}"
        yield WeakPoint("other-lubricant", words, None, used.joint)


def _tick_points(stages: list[StageFact]) -> Iterator[WeakPoint]:
    for stage in stages:
        if stage.stretch:
            continue  # these ticks are counted already, with the torque
        which = f"stage {stage.stage} of {stage.joint}"
        by_hand = stage.fasteners - stage.measured
        if stage.together and stage.fasteners:
            words = f"{count(stage.fasteners, 'fastener')} of {which} entered together"
            yield WeakPoint("entered-together", words, stage.seq, stage.joint)
        elif by_hand > 3 and stage.seconds < FASTENER_SECONDS * (by_hand - 1):
            words = f"{count(stage.fasteners, 'fastener')} of {which} ticked in {rounded_duration(stage.seconds)}"
            size = stage.seconds / (FASTENER_SECONDS * (by_hand - 1)) * TAKES_SHARE
            yield WeakPoint("too-fast", words, stage.seq, stage.joint, size)
        if stage.gap > PAUSE_SECONDS:
            words = f"{rounded_duration(stage.gap)} between two fasteners of {which}"
            yield WeakPoint("long-pause", words, stage.gap_seq, stage.joint, stage.gap / 60)
        if stage.unticked:
            words = f"{count(stage.unticked, 'tick')} of {which} cleared and ticked again"
            size = stage.unticked / max(stage.fasteners, 1)
            yield WeakPoint("ticks-cleared", words, stage.seq, stage.joint, size)


def _band_points(log: LoadedLog, step: Step, stages: list[StageFact]) -> Iterator[WeakPoint]:
    """Weak points of fasteners whose torque, angle or stretch was out of its band, now or in an earlier attempt."""
    tighten = step.operation.tighten
    if tighten is None:
        return
    work = log.state.work(step.id)
    out = Counter(tick.stage for tick in open_out_ticks(work))
    for number, stage in enumerate(tighten.stages, 1):
        facts = [fact for fact in stages if fact.stage == number and not fact.stretch]
        if not facts:
            continue
        which, seq = f"stage {number} of {tighten.joint}", facts[0].seq
        if out[number]:
            words = f"{count(out[number], 'fastener')} of {which} out of the limits"
            yield WeakPoint("out-of-limit", words, seq, tighten.joint)
        high, low = sum(fact.high for fact in facts), sum(fact.low for fact in facts)
        loosened = sum(fact.loosened for fact in facts)
        retaken: tuple[str, ...] = ("low",)
        if isinstance(stage, CheckStage):
            low, high, retaken = low + high, 0, OUT_OF_LIMIT
        if high:
            then = f"; {loosened} ticked again as loosened" if loosened else ""
            yield WeakPoint(
                "overtightened", f"{count(high, 'tick')} of {which} above the band{then}", seq, tighten.joint
            )
        replaced = low - sum(tick.stage == number and tick.verdict in retaken for tick in work.ticks_in_force.values())
        if replaced > 0:
            yield WeakPoint(
                "retaken", f"{count(replaced, 'tick')} of {which} out of the band first", seq, tighten.joint
            )


def _failed_fastener_points(log: LoadedLog, step: Step) -> Iterator[WeakPoint]:
    for fact in log.facts.failed_fasteners:
        if fact.operation == step.id:
            yield WeakPoint("fastener-failed", fact.words, fact.seq, fact.joint)


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
