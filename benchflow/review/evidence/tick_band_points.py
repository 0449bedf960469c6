"""Weak points of fasteners whose torque, angle or stretch was out of its band, or near an end of it."""

from collections.abc import Iterator
from fractions import Fraction
from typing import Final

from benchflow.procedure.model import CheckStage, Tighten, TorqueStage
from benchflow.procedure.plan import Step
from benchflow.quantity import base, show_converted
from benchflow.review.evidence.clamp_load import clamp_load, joint_of_step, load_change_text
from benchflow.review.evidence.ranking import ONE_END_FACTOR, WeakPoint
from benchflow.review.formatting import count
from benchflow.review.log.facts import StageFact
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.session.rules.measurements import from_stored
from benchflow.session.state.state import Tick
from benchflow.trade.tick_bands import TickBand, band_of_stage
from benchflow.trade.verdict import OUT_OF_LIMIT

NOT_READ: Final = 0.1
"""The size of a tick above the band whose torque was not read."""
NEAR_SHARE_OF_TICK: Final = 0.005
"""A tick is near the end of its band if less than this part of it is left: the band is narrow as it is."""
TICK_FACTOR: Final = 10.0
"""The part of the band of a tick that is left, times this, is as much as that part of the limit of a value."""


def tick_band_points(log: LoadedLog, step: Step, tighten: Tighten, stages: list[StageFact]) -> Iterator[WeakPoint]:
    """The weak points of ticks out of their band, now or in an earlier attempt. ``stages`` are the facts in force."""
    work = log.state.work(step.id)
    joint = joint_of_step(log, step)
    in_force = work.ticks_in_force.values()
    for number, stage in enumerate(tighten.stages, 1):
        facts = [fact for fact in stages if fact.stage == number and not fact.stretch]
        if not facts:
            continue
        tolerances = (tighten.tolerance,) if joint is None else (tighten.tolerance, joint.tolerance)
        band = band_of_stage(stage, *tolerances)
        which, seq = f"stage {number} of {tighten.joint}", facts[0].seq
        ticks = [tick for tick in in_force if tick.stage == number]
        out = [tick for tick in ticks if tick.verdict in OUT_OF_LIMIT]
        if out:
            worst = max(out, key=lambda tick: _beyond(tick, band))
            words = f"{count(len(out), 'fastener')} of {which} out of the limits{_figure(worst, band)}"
            words += _effect(log, step, tighten, number, worst)
            yield WeakPoint("out-of-limit", words, worst.entry, tighten.joint, _beyond(worst, band))
        # a stage that was begun again has facts that are no longer in force, but its fasteners were that tight
        ever = [
            fact for fact in log.facts.stages
            if (fact.operation, fact.stage, fact.round, fact.stretch) == (step.id, number, work.redone, False)
        ]  # fmt: skip
        check = isinstance(stage, CheckStage)
        if not check:
            high = [
                tick for tick in (*work.ticks, *work.cleared_high) if (tick.stage, tick.verdict) == (number, "high")
            ]
            yield from _high_points(log, step, tighten, ever, high, band, which)
            yield from _near_points(ticks, band, which, tighten.joint)
        yield from _replaced_points(facts, out, which, seq, tighten.joint, check=check)


def _high_points(
    log: LoadedLog,
    step: Step,
    tighten: Tighten,
    facts: list[StageFact],
    ticks: list[Tick],
    band: TickBand | None,
    which: str,
) -> Iterator[WeakPoint]:
    high, loosened = sum(fact.high for fact in facts), sum(fact.loosened for fact in facts)
    if not high:
        return
    read = [tick for tick in ticks if tick.quantity is not None]
    worst = max(read, key=lambda tick: _above(tick, band), default=None)
    words = f"{count(high, 'tick')} of {which} above the band"
    size = NOT_READ
    if worst is not None:
        size = _above(worst, band)
        words += _figure(worst, band) + _effect(log, step, tighten, worst.stage, worst)
    then = f"; {loosened} ticked again as loosened" if loosened else ""
    yield WeakPoint("overtightened", words + then, facts[0].seq if worst is None else worst.seq, tighten.joint, size)


def _replaced_points(
    facts: list[StageFact], out: list[Tick], which: str, seq: int, joint: str, *, check: bool
) -> Iterator[WeakPoint]:
    """Ticks that were out and made again. A fastener that was too loose and is pulled on is ordinary work."""
    retaken = OUT_OF_LIMIT if check else ("low",)
    earlier = sum(fact.low + (fact.high if check else 0) for fact in facts)
    replaced = earlier - sum(tick.verdict in retaken for tick in out)
    if replaced > 0:
        words = f"{count(replaced, 'tick')} of {which} out of the band first"
        yield WeakPoint("retaken", words, seq, joint, replaced if check else 1)


def _near_points(ticks: list[Tick], band: TickBand | None, which: str, joint: str) -> Iterator[WeakPoint]:
    if band is None or band.exact.low is None or band.exact.high is None or band.exact.high <= band.exact.low:
        return
    low, high = band.exact.low, band.exact.high
    for tick in ticks:
        if tick.quantity is None or tick.verdict != "ok":
            continue
        value = base(from_stored(tick.quantity))
        share = float(min(value - low, high - value) / (high - low))
        if share < NEAR_SHARE_OF_TICK:
            words = (
                f"fastener {tick.fastener} of {which} at {tick.quantity.entered}, at the end of its band {band.shown}"
            )
            yield WeakPoint("near-limit", words, tick.seq, joint, share * TICK_FACTOR)


# --- figures -------------------------------------------------------------------------------------------


def _beyond(tick: Tick, band: TickBand | None) -> float:
    """How far a tick is out of its band, as a part of it; of a band with one end, 2.5 times the part of that end."""
    if tick.quantity is None or band is None:
        return NOT_READ
    value, low, high = base(from_stored(tick.quantity)), band.exact.low, band.exact.high
    distances = [low - value] if low is not None else []
    distances += [value - high] if high is not None else []
    distance = max([*distances, Fraction(0)])
    if low is not None and high is not None:
        return float(distance / (high - low)) if high > low else float(distance / abs(high)) if high else NOT_READ
    end = high if high is not None else low
    return float(distance / abs(end)) * ONE_END_FACTOR if end else NOT_READ


def _above(tick: Tick, band: TickBand | None) -> float:
    """How far a tick is above its band, as a part of the upper end."""
    if tick.quantity is None or band is None or not band.exact.high:
        return NOT_READ
    return max(float(base(from_stored(tick.quantity)) / band.exact.high) - 1, 0.0)


def _figure(tick: Tick, band: TickBand | None) -> str:
    if tick.quantity is None or band is None:
        return ""
    read = from_stored(tick.quantity)
    same = f" ({show_converted(read, band.unit)})" if read.unit != band.unit else ""
    return f": fastener {tick.fastener} at {tick.quantity.entered}{same}, band {band.text}"


def _effect(log: LoadedLog, step: Step, tighten: Tighten, number: int, tick: Tick) -> str:
    """The change of the clamp load by a torque that is out; "" if another stage follows, or if it is not a torque."""
    stage, joint = tighten.stages[number - 1], joint_of_step(log, step)
    later = any(not isinstance(one, CheckStage) for one in tighten.stages[number:])
    if not isinstance(stage, TorqueStage) or tick.quantity is None or joint is None:
        return ""
    change = float(base(from_stored(tick.quantity)) / base(stage.torque)) - 1
    if later and change < 0:
        return ""
    factor = joint.nut_factor
    now = clamp_load(joint, from_stored(tick.quantity), factor)
    return f", {load_change_text(change, now, clamp_load(joint, stage.torque, factor))}"
