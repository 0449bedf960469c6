"""Judges the ticks of an open stage again when its torque or angle is changed."""

from collections.abc import Iterator

from benchflow.procedure.model import AngleStage, OpenStage, TorqueStage
from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity, base
from benchflow.session.context import Context, Entry
from benchflow.session.rules.check_stages import TickReadings, judge_tick
from benchflow.session.rules.joint_progress import joint_of
from benchflow.session.rules.measurements import from_stored
from benchflow.session.rules.stage_torques import tighten_in_force
from benchflow.session.rules.state_after import state_after
from benchflow.session.rules.verdicts import to_stored
from benchflow.session.state import events as ev
from benchflow.session.state.state import State, Tick


def with_ticks_judged_again(state: State, entries: tuple[Entry, ...], context: Context) -> tuple[Entry, ...]:
    """``entries``, and one more for each stage whose torque they change while it has ticks.

    A tick without a reading says that the fastener was tightened to the torque of that time, so that is judged.
    """
    ticked = (state.plan.steps.get(name) for name, work in state.works.items() if work.ticks)
    concerned = [step for step in ticked if step is not None and _has_open_stage(step)]
    if not concerned or not entries:
        return entries
    after = state_after(state, entries, context)
    by = entries[-1].by
    return (*entries, *(Entry(by, event) for step in concerned for event in _judged_again(after, step)))


def _has_open_stage(step: Step) -> bool:
    tighten = step.operation.tighten
    return tighten is not None and any(isinstance(stage, OpenStage) for stage in tighten.stages)


def _judged_again(state: State, step: Step) -> Iterator[ev.TicksJudgedAgain]:
    written, tighten = step.operation.tighten, tighten_in_force(state, step)
    if tighten is None or written is None:
        return
    joint, work = joint_of(state, tighten.joint), state.work(step.id)
    for number, (open_stage, stage) in enumerate(zip(written.stages, tighten.stages, strict=True), 1):
        if not isinstance(open_stage, OpenStage) or not isinstance(stage, TorqueStage | AngleStage):
            continue
        torque = to_stored(figure_of(stage))
        changed = [tick for tick in (*work.ticks, *work.cleared_high) if tick.stage == number and _other(tick, stage)]
        if changed:
            verdicts = {}
            for tick in changed:
                read = tick.quantity or tick.torque
                assert read is not None  # every tick of such a stage has the torque of its time
                result = judge_tick(joint, tighten, stage, TickReadings(from_stored(read)))
                in_band = result.verdict == "ok" and tick.quantity is None
                verdicts[str(tick.seq)] = "none" if in_band else result.verdict
            limit = judge_tick(joint, tighten, stage, TickReadings(figure_of(stage))).limit
            yield ev.TicksJudgedAgain(step.id, joint.id, number, torque, limit, verdicts)


def figure_of(stage: TorqueStage | AngleStage) -> Quantity:
    """The torque or the angle of a stage."""
    return stage.torque if isinstance(stage, TorqueStage) else stage.angle


def _other(tick: Tick, stage: TorqueStage | AngleStage) -> bool:
    """True if a tick was judged by another figure than that of ``stage``."""
    judged_by = tick.judged_by or tick.torque
    if judged_by is None:
        return False
    figure = from_stored(judged_by)
    return base(figure) != base(figure_of(stage)) or (figure.entered != stage.text and stage.band is not None)
