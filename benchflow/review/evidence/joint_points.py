"""Weak points of the tightening of a joint: pauses, cleared ticks, wrenches, settings, and how fast it went."""

from collections import Counter
from collections.abc import Iterator
from decimal import Decimal
from itertools import pairwise
from typing import Final

from benchflow.base.durations import rounded_duration
from benchflow.procedure.identity import StepId
from benchflow.procedure.model import CheckStage, HandStage, Tighten, TorqueStage
from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity, base
from benchflow.review.evidence.clamp_load import final_torque, is_turned
from benchflow.review.evidence.ranking import FASTENER_SECONDS, TAKES_SHARE, WeakPoint
from benchflow.review.evidence.tick_band_points import tick_band_points
from benchflow.review.formatting import count
from benchflow.review.log.fact_collector import log_time_of
from benchflow.review.log.facts import StageFact
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.session.log.line_format import Line
from benchflow.session.rules.measurements import from_stored
from benchflow.session.rules.stage_torques import tighten_in_force
from benchflow.session.state.events import WrenchAdapterChanged, event_of
from benchflow.session.state.state import Tick
from benchflow.trade.calculations.torque_wrench import setting

MENTIONED_PAUSE_SECONDS: Final = 10 * 60.0
"""A pause between two fasteners of a stage is mentioned from this length on."""
STAGES_APART_HOURS: Final = 1.0
"""A pause between two stages is mentioned from this length on."""
SLIP_SIZE: Final = 0.1
"""The size of one cleared tick, whatever the number of fasteners: a slip of the finger."""
FEWEST_FAST: Final = 3
"""A stage with fewer ticks by hand is never too fast: two keys can follow each other quickly after the work."""
PART_OF_CHECK: Final = 0.25
"""A pause within a stage that only checks counts as this part of one."""
WRENCH_SECONDS: Final = 2.0
"""What hands need for one fastener with a wrench: to find it, to pull until it clicks, and to enter it (own rule)."""
BETWEEN_STAGES: Final = 0.5
"""A change between two stages counts half of one within a stage."""


def joint_points(log: LoadedLog, step: Step, stages: list[StageFact]) -> Iterator[WeakPoint]:
    """The weak points of the joint that ``step`` tightens. ``stages`` are the facts in force."""
    tighten = tighten_in_force(log.state, step)
    if tighten is None:
        return
    for stage in stages:
        if not stage.stretch:  # these ticks are counted already, with the torque
            yield from _speed_points(tighten, stage)
            yield from _pause_points(tighten, stage)
    yield from _cleared_points(log, step, stages)
    ticks = {number: made for number, made in _ticks_by_stage(log, step).items() if number <= len(tighten.stages)}
    yield from _fast_stages_points(tighten, ticks, stages)
    yield from _stages_apart_points(step, tighten, ticks)
    yield from _passes_apart_points(log, step, tighten, ticks)
    yield from _wrench_points(log, tighten, ticks)
    yield from _setting_points(log, tighten, ticks)
    yield from tick_band_points(log, step, tighten, stages)
    for fact in log.facts.failed_fasteners:
        if fact.operation == step.id:
            yield WeakPoint("fastener-failed", fact.words, fact.seq, fact.joint, 0.5 if fact.repair else 1.0)


def _which(stage: int, joint: str) -> str:
    return f"stage {stage} of {joint}"


def _ticks_by_stage(log: LoadedLog, step: Step) -> dict[int, list[Tick]]:
    """The ticks in force of each stage that has some, in the order in which they were made."""
    found: dict[int, list[Tick]] = {}
    for tick in sorted(log.state.work(step.id).ticks_in_force.values(), key=lambda tick: tick.seq):
        found.setdefault(tick.stage, []).append(tick)
    return dict(sorted(found.items()))


# --- speed and pauses ---------------------------------------------------------------------------------


def _speed_points(tighten: Tighten, stage: StageFact) -> Iterator[WeakPoint]:
    least = _least_seconds(tighten, stage.stage)
    which = _which(stage.stage, stage.joint)
    by_hand = stage.fasteners - stage.measured  # a gauge that enters its readings may be fast
    if stage.together and stage.fasteners:
        words = f"{count(stage.fasteners, 'fastener')} of {which} entered together"
        yield WeakPoint("entered-together", words, stage.seq, stage.joint)
    elif by_hand >= FEWEST_FAST and stage.seconds < least * (by_hand - 1):
        words = f"{count(stage.fasteners, 'fastener')} of {which} ticked in {stage.seconds:.1f} s"
        size = stage.seconds / (least * (by_hand - 1)) * TAKES_SHARE
        yield WeakPoint("too-fast", words, stage.seq, stage.joint, size)


def _least_seconds(tighten: Tighten, number: int) -> float:
    """What hands need for one fastener of the stage ``number``, from 1."""
    by_hand = number <= len(tighten.stages) and isinstance(tighten.stages[number - 1], HandStage)
    return FASTENER_SECONDS if by_hand else WRENCH_SECONDS


def _fast_stages_points(tighten: Tighten, ticks: dict[int, list[Tick]], stages: list[StageFact]) -> Iterator[WeakPoint]:
    """Few fasteners that were ticked through all stages faster than hands work: an axle nut in three stages in 2 s."""
    if any(stage.together or stage.measured or stage.fasteners >= FEWEST_FAST for stage in stages):
        return
    made = sorted((tick for one in ticks.values() for tick in one), key=lambda tick: tick.seq)
    times = [log_time_of(tick.at) for tick in made if tick.at is not None]
    if len(times) < FEWEST_FAST or len(ticks) < 2:
        return
    seconds, needed = times[0].seconds_until(times[-1]), sum(_least_seconds(tighten, tick.stage) for tick in made[1:])
    if seconds < needed:
        words = f"{count(len(ticks), 'stage')} of {tighten.joint} ticked in {seconds:.1f} s"
        yield WeakPoint("too-fast", words, made[0].seq, tighten.joint, seconds / needed * TAKES_SHARE)


def _pause_points(tighten: Tighten, stage: StageFact) -> Iterator[WeakPoint]:
    if stage.gap > MENTIONED_PAUSE_SECONDS:
        words = f"{rounded_duration(stage.gap)} between two fasteners of {_which(stage.stage, stage.joint)}"
        check = _is_check(tighten, stage.stage)
        size = stage.gap / 60 * (PART_OF_CHECK if check else 1.0)
        more = ", which only checks: the clamp load was on" if check else ""
        yield WeakPoint("long-pause", f"{words}{more}", stage.gap_seq, stage.joint, size)


def _is_check(tighten: Tighten, number: int) -> bool:
    """True if the stage ``number``, from 1, only checks the fasteners."""
    return number <= len(tighten.stages) and isinstance(tighten.stages[number - 1], CheckStage)


def _stages_apart_points(step: Step, tighten: Tighten, ticks: dict[int, list[Tick]]) -> Iterator[WeakPoint]:
    """The hours between two stages that tighten. Time that the procedure states for the step is not counted."""
    numbers = [number for number in ticks if not _is_check(tighten, number)]
    for before, after in pairwise(numbers):
        last, first = ticks[before][-1].at, ticks[after][0].at
        if last is None or first is None:
            continue
        seconds = log_time_of(last).seconds_until(log_time_of(first))
        hours = (seconds - (step.takes or 0.0)) / 3600
        if hours > STAGES_APART_HOURS:
            words = f"{rounded_duration(seconds)} between stage {before} and {_which(after, tighten.joint)}"
            yield WeakPoint("stages-apart", words, ticks[after][0].seq, tighten.joint, hours)


def _passes_apart_points(
    log: LoadedLog, step: Step, tighten: Tighten, ticks: dict[int, list[Tick]]
) -> Iterator[WeakPoint]:
    """The hours and a change of wrench between the passes of a joint that are separate steps.

    A wait that the procedure asks for is not counted.
    """
    if not ticks:
        return
    first = next(iter(ticks.values()))[0]
    found = _pass_before(log, step, tighten, first)
    if found is None or not _is_part_of_load(log, found[0], step):
        return
    other, last = found
    yield from _other_wrench_points(log, tighten, other, last, first)
    waits = any(window.low or window.high for window in step.time)
    if not waits and last.at is not None and first.at is not None:
        seconds = log_time_of(last.at).seconds_until(log_time_of(first.at))
        if seconds > STAGES_APART_HOURS * 3600:
            words = f"{rounded_duration(seconds)} between “{other.title}” and this pass of {tighten.joint}"
            yield WeakPoint("stages-apart", words, first.seq, tighten.joint, seconds / 3600)


def _other_wrench_points(log: LoadedLog, tighten: Tighten, other: Step, last: Tick, first: Tick) -> Iterator[WeakPoint]:
    """Another wrench for the same need than in the pass before."""
    before, after = log.lines[last.seq - 1].data, log.lines[first.seq - 1].data
    same_need = before.get("instrument") == after.get("instrument")
    serials = before.get("serial"), after.get("serial")
    if same_need and all(serials) and serials[0] != serials[1]:
        words = f"the wrench was changed between the passes of {tighten.joint}: {serials[1]} here"
        words += f", {serials[0]} in “{other.title}”"
        yield WeakPoint("wrench-changed", words, first.seq, tighten.joint, BETWEEN_STAGES)


def _pass_before(log: LoadedLog, step: Step, tighten: Tighten, first: Tick) -> tuple[Step, Tick] | None:
    """The last step that tightened the same fasteners before ``first``, with its last tick."""
    before: tuple[Step, Tick] | None = None
    for other in log.plan.steps.values():
        same = other.operation.tighten is not None and other.operation.tighten.joint == tighten.joint
        if not same or other.id == step.id or other.place != step.place:
            continue
        made = [tick for tick in log.state.work(other.id).ticks_in_force.values() if tick.seq < first.seq]
        last = max(made, key=lambda tick: tick.seq, default=None)
        if last is not None and (before is None or last.seq > before[1].seq):
            before = other, last
    return before


def _is_part_of_load(log: LoadedLog, before: Step, after: Step) -> bool:
    """True if a step leaves the joint at a lower torque than the one after it, and is not taken apart between."""
    trials = {ref.name for step in log.plan.steps.values() for ref in step.operation.takes_apart}
    low, high = final_torque(log, before), final_torque(log, after)
    turned = is_turned(before.operation.tighten)
    is_trial = StepId.parse(before.id).operation in trials
    return not turned and not is_trial and low is not None and high is not None and base(low) < base(high)


def _cleared_points(log: LoadedLog, step: Step, stages: list[StageFact]) -> Iterator[WeakPoint]:
    """Ticks that were cleared and made again, one by one or with the whole stage."""
    cleared: dict[int, list[StageFact]] = {}
    for stage in stages:
        if not stage.stretch:
            cleared.setdefault(stage.stage, []).append(stage)
    for number, facts in cleared.items():
        unticked, fasteners = sum(fact.unticked for fact in facts), sum(fact.fasteners for fact in facts)
        if unticked:
            words = f"{count(unticked, 'tick')} of {_which(number, facts[0].joint)} cleared and ticked again"
            size = SLIP_SIZE if unticked == 1 else unticked / max(fasteners, 1)
            yield WeakPoint("ticks-cleared", words, facts[0].seq, facts[0].joint, size)
    since = max((back.seq for back in log.facts.undone_steps if back.operation == step.id), default=0)
    for line in log.lines_by_operation.get(step.id, ()):
        if line.kind == "stage-again" and line.seq > since:
            number, joint = line.data["stage"], line.data["joint"]
            fasteners = sum(fact.fasteners for fact in cleared.get(number, ()))
            words = f"{_which(number, joint)} begun again after {count(line.data['cleared'], 'tick')}"
            size = line.data["cleared"] / max(fasteners, line.data["cleared"])
            yield WeakPoint("ticks-cleared", words, line.seq, joint, size)


# --- wrenches and settings ------------------------------------------------------------------------------


def _wrench_points(log: LoadedLog, tighten: Tighten, ticks: dict[int, list[Tick]]) -> Iterator[WeakPoint]:
    """More than one wrench for the same need of the procedure. A check with another wrench is good practice, but all
    fasteners are checked with one."""
    used: dict[str, list[tuple[int, Counter[str]]]] = {}  # by need: the serials in each stage
    first: dict[str, int] = {}  # by serial: its first tick
    for number, made in ticks.items():
        serials: dict[str, Counter[str]] = {}
        for tick in made:
            data = log.lines[tick.seq - 1].data
            need, serial = data.get("instrument") or "", data.get("serial") or ""
            if serial:
                serials.setdefault(need, Counter())[serial] += 1
                first.setdefault(serial, tick.seq)
        for need, counted in serials.items():
            if len(counted) > 1 or not _is_check(tighten, number):
                used.setdefault(need, []).append((number, counted))
    for by_stage in used.values():
        mixed = [(number, counted) for number, counted in by_stage if len(counted) > 1]
        for number, counted in mixed:
            tools = ", ".join(f"{serial} {count(fasteners, 'fastener')}" for serial, fasteners in counted.items())
            words = f"the wrench was changed within {_which(number, tighten.joint)}: {tools}"
            size = 0.5 if _is_check(tighten, number) else 1.0
            yield WeakPoint("wrench-changed", words, max(first[serial] for serial in counted), tighten.joint, size)
        names = list(dict.fromkeys(serial for _, counted in by_stage for serial in counted))
        if not mixed and len(names) > 1:
            stages = ", ".join(f"stage {number} {next(iter(counted))}" for number, counted in by_stage)
            words = f"the wrench was changed between the stages of {tighten.joint}: {stages}"
            yield WeakPoint("wrench-changed", words, first[names[1]], tighten.joint, 0.5)


def _setting_points(log: LoadedLog, tighten: Tighten, ticks: dict[int, list[Tick]]) -> Iterator[WeakPoint]:
    """Adapters that were put on or taken off after the first fastener and before the last one was tightened."""
    torque = {number: made for number, made in ticks.items() if isinstance(tighten.stages[number - 1], TorqueStage)}
    seqs = [tick.seq for made in torque.values() for tick in made]
    before: WrenchAdapterChanged | None = None
    for line in log.lines if seqs else ():
        if line.kind != "wrench-fitted":
            continue
        event = event_of(line)
        assert isinstance(event, WrenchAdapterChanged)
        if min(seqs) < line.seq < max(seqs):
            yield _setting_point(tighten, torque, line, before, event)
        before = event


def _setting_point(
    tighten: Tighten,
    ticks: dict[int, list[Tick]],
    line: Line,
    before: WrenchAdapterChanged | None,
    after: WrenchAdapterChanged,
) -> WeakPoint:
    within = next((n for n, made in ticks.items() if made[0].seq < line.seq < made[-1].seq), None)
    change = _setting_factor(before) / _setting_factor(after) - 1
    what = (
        "the adapter was taken off"
        if after.extension is None
        else f"an adapter of {after.extension.entered} was put on"
    )
    where = f"the stages of {tighten.joint}" if within is None else _which(within, tighten.joint)
    more = f"{abs(change):.0%} too {'high' if change > 0 else 'low'}".replace("%", " %")
    words = f"{what} {'between' if within is None else 'within'} {where}"
    words += f"; if the wrench was not set again, the torque is {more}"
    size = abs(change) * (BETWEEN_STAGES if within is None else 1.0)
    return WeakPoint("setting-changed", words, line.seq, tighten.joint, size)


def _setting_factor(fitted: WrenchAdapterChanged | None) -> float:
    """The setting of the wrench as a share of the torque at the fastener."""
    if fitted is None or fitted.extension is None or fitted.lever is None:
        return 1.0
    torque = Quantity(Decimal(100), "N·m", "100 N·m")
    angle = None if fitted.angle is None else from_stored(fitted.angle)
    return float(base(setting(torque, from_stored(fitted.lever), from_stored(fitted.extension), angle)) / base(torque))
