"""Finds the weak points of one step: missing, doubtful or unusual evidence."""

from collections import Counter
from collections.abc import Iterator
from datetime import date
from functools import partial
from typing import TYPE_CHECKING, Final

from benchflow.base.durations import rounded_duration
from benchflow.ordering.wording import in_a_sentence, state_text, step_title
from benchflow.procedure.model import CheckStage
from benchflow.procedure.plan import Step
from benchflow.review.evidence.ranking import (
    FASTENER_SECONDS,
    NEAR_SHARE,
    NEAR_SHARE_ONE_END,
    ONE_END_FACTOR,
    TAKES_SHARE,
    WeakPoint,
)
from benchflow.review.evidence.window_points import time_window_points
from benchflow.review.formatting import count, local_day, margin_text, shown_reading
from benchflow.review.log.continuation_remarks import contradicted_states, takeover_text
from benchflow.review.log.facts import OperationFact, StageFact
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.log.reading_values import Value, values_of
from benchflow.session.rules.deviation_subjects import subject_text
from benchflow.session.rules.joint_progress import open_out_ticks
from benchflow.session.state.clock import EventTime
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
    if finished is None:
        yield _not_done_point(log, fact)
    stages = [s for s in log.facts.stages if s.operation == step.id and s.in_force]
    values = values_of(log, step)
    taken_over = log.state.work(step.id).takeover is not None
    yield from _takeover_points(log, step)
    yield from _audit_points(log, step)
    yield from _deviation_points(log, step)
    for value in values:
        yield from _value_points(value)
    yield from _instrument_points(log, step, values, stages, shop)
    if finished is not None:
        yield from time_window_points(log, step, fact, _signed_time(log, step) or finished.seq)
    yield from _signature_points(log, step)
    yield from _rework_points(log, step)
    yield from _lubricant_points(log, step)
    yield from _too_fast_points(step, fact, finished)
    yield from _tick_points(stages)
    yield from _band_points(log, step, stages)
    yield from _failed_fastener_points(log, step)
    if finished is not None and not taken_over and not _has_evidence(log, step, values, stages):
        yield WeakPoint("word-only", "finished without a reading, tick, check or signature", finished.seq)


def _not_done_point(log: LoadedLog, fact: OperationFact | None) -> WeakPoint:
    if log.damage is not None:
        return WeakPoint("not-known", f"the log is damaged from line {log.damage.line} on")
    if fact is not None and fact.redone and fact.started is None:
        words = "reworked, and not done again"
    elif fact is not None and fact.started is not None:
        words = "started, and not finished"
    elif log.facts.session.closed:
        words = "never started"
    else:
        words = "not started yet (the job is still open)"
    return WeakPoint("never-done", words)


def _signed_time(log: LoadedLog, step: Step) -> int | None:
    """The event in which somebody signed for a time window of the step: what to look at first."""
    signed = (one.seq for one in log.facts.deviations if one.operation == step.id and one.about.startswith("time"))
    return next(signed, None)


def _takeover_points(log: LoadedLog, step: Step) -> Iterator[WeakPoint]:
    takeover = log.state.work(step.id).takeover
    if takeover is None:
        return
    kind = "taken-over" if takeover.event.basis == "trusted" else "taken-on-trust"
    yield WeakPoint(kind, takeover_text(log.state, step.id), takeover.seq)
    for found in contradicted_states(log.state):
        if found.step == step.id:
            set_ = in_a_sentence(state_text(log.procedure, found.variable, found.value))
            asked = in_a_sentence(state_text(log.procedure, found.variable, log.state.opened.start[found.variable]))
            words = f"it leaves {set_}, but when the state was asked again, {asked}"
            yield WeakPoint("state-contradicted", words, takeover.seq, found.variable)


def _audit_points(log: LoadedLog, step: Step) -> Iterator[WeakPoint]:
    for finding in () if log.audit is None else log.audit.wrong:
        if log.lines[finding.line - 1].data.get("operation") == step.id:
            yield WeakPoint("failed-audit", finding.message.removesuffix("."), finding.line)


def _deviation_points(log: LoadedLog, step: Step) -> Iterator[WeakPoint]:
    for fact in log.facts.deviations:
        if fact.operation == step.id and fact.in_force:
            subject = subject_text(fact.about, partial(step_title, log.plan))
            words = f"{fact.by} signed a deviation from {subject}: {fact.reason}"
            yield WeakPoint("deviation", words, fact.seq, fact.about)


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


# --- instruments -------------------------------------------------------------------------------------


def _instrument_points(
    log: LoadedLog, step: Step, values: tuple[Value, ...], stages: list[StageFact], shop: "Shop | None"
) -> Iterator[WeakPoint]:
    used: dict[str, tuple[int, str]] = {}  # by serial: event and local day of its first use
    unnamed: dict[str, None] = {}
    for reading in (reading for value in values for reading in value.readings):
        for serial, name in reading.tools:
            if serial:
                used.setdefault(serial, (reading.seq, local_day(reading.at)))
            else:
                unnamed[name] = None
    for stage in stages:
        if stage.serial:
            used.setdefault(stage.serial, (stage.seq, local_day(stage.first_at)))
        elif stage.instrument:
            unnamed[stage.instrument] = None
    for serial, (seq, day) in used.items():
        yield from _unfit_instrument_points(log, serial, seq, day, shop)
    for need in unnamed:
        yield WeakPoint("no-serial", f"the log does not say which {_instrument_title(log, need)} was used", None, need)


def _unfit_instrument_points(
    log: LoadedLog, serial: str, seq: int, day: str, shop: "Shop | None"
) -> Iterator[WeakPoint]:
    """Weak points of an instrument that was not fit on the local ``day`` of its first use.

    The log decides if it describes the instrument, otherwise the register decides.
    """
    known = [fact for fact in log.facts.instruments if fact.serial == serial and fact.seq <= seq]
    due, doubt = _due_date_and_doubt(shop, serial)
    due = known[-1].due if known else due
    late = (date.fromisoformat(day) - date.fromisoformat(due)).days if due else 0
    if known and known[-1].warnings:
        words = f"{serial}: {'. '.join(known[-1].warnings)}"
        kind = "instrument-overdue" if late > 0 else "instrument-unfit"
        yield WeakPoint(kind, words, seq, serial, max(late, 0))
    elif late > 0:
        words = f"{serial}: Its calibration had run out on {due}. It was used on {day}"
        yield WeakPoint("instrument-overdue", words, seq, serial, late)
    if doubt:
        yield WeakPoint("instrument-bad", f"the shop's register marks {serial} as doubtful: {doubt}", seq, serial)


def _due_date_and_doubt(shop: "Shop | None", serial: str) -> tuple[str, str]:
    """The calibration due date of an instrument, and why it is in doubt, from the register. ``""`` if there is none."""
    if shop is None:
        return "", ""
    from benchflow.session.shop.register import find_instrument  # imported late: most reviews have no register
    from benchflow.trade.instruments import due_date

    found = find_instrument(shop, serial)
    if found is None:
        return "", ""
    due = due_date(found)
    return "" if due is None else due.isoformat(), found.doubt


def _instrument_title(log: LoadedLog, need: str) -> str:
    found = log.procedure.instruments_by_id.get(need)
    return found.title or need if found is not None else need


# --- time -------------------------------------------------------------------------------------------


def _lubricant_points(log: LoadedLog, step: Step) -> Iterator[WeakPoint]:
    tighten = step.operation.tighten
    used = log.state.lubricants.get(tighten.joint) if tighten is not None else None
    if used is not None:
        joint = log.procedure.joints_by_id[used.joint]
        words = f"{used.lubricant} on the threads; the torque is stated for {joint.lubricant or 'another lubricant'}"
        yield WeakPoint("other-lubricant", words, None, used.joint)


def _too_fast_points(step: Step, fact: OperationFact | None, finished: EventTime | None) -> Iterator[WeakPoint]:
    if fact is not None and finished is not None and step.takes and fact.active < TAKES_SHARE * step.takes:
        least = rounded_duration(step.takes)
        words = f"done in {rounded_duration(fact.active)}; the procedure states {least}"
        yield WeakPoint("too-fast", words, finished.seq, size=fact.active / step.takes)


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


# --- people, rework -----------------------------------------------------------------------


def _signature_points(log: LoadedLog, step: Step) -> Iterator[WeakPoint]:
    for fact in log.facts.signatures:
        if fact.operation == step.id and fact.in_force and fact.self_signed:
            words = f"the hold point for the {fact.role} was signed by {fact.by}, who did the work"
            yield WeakPoint("self-signed", words, fact.seq, "hold")


def _rework_points(log: LoadedLog, step: Step) -> Iterator[WeakPoint]:
    for back in log.facts.undone_steps:
        if back.operation == step.id:
            why = f"{back.by}: {back.reason}" if back.cause == "rework" else f"remedy: {back.reason}"
            yield WeakPoint("redone", f"reworked ({why})", back.seq)


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
