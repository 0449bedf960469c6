"""Handlers of the intents `tick-rest` and `stage-again`, which are about all fasteners of the current stage."""

from benchflow.session.context import Context, Decision, Entry, refuse
from benchflow.session.intents import intent_types as intents
from benchflow.session.intents.tightening import figure_not_in_file
from benchflow.session.refusal import Refusal
from benchflow.session.rules.current_operation import joint_in_progress
from benchflow.session.rules.joint_progress import progress_text
from benchflow.session.rules.stage_tools import tool_of_stage
from benchflow.session.rules.whole_stage import rest_of_stage, rest_reasons, stage_again_reasons
from benchflow.session.state import events as ev
from benchflow.session.state.state import State


def tick_rest(state: State, intent: intents.TickRest, context: Context, by: str) -> Decision:
    """Tick every fastener of the current stage that is not done yet, as entered together."""
    found = joint_in_progress(state, intent.operation, intent.joint)
    if isinstance(found, Refusal):
        return found
    step, progress = found
    number, stage = progress.stage_number, progress.current_stage
    reasons = rest_reasons(state, step, progress, context.now)
    if reasons or stage is None:
        return Refusal(reasons)
    if intent.stage not in (None, number):
        message = f"Stage {intent.stage} is not the current one ({progress_text(progress)}). Enter stage {number} first"
        return refuse("stage-not-finished", message, name=progress.joint.id)
    tool = tool_of_stage(state, context, step, progress, stage, intent.instrument)
    if isinstance(tool, Refusal):
        return tool
    torque = figure_not_in_file(step, number, stage)
    ticks = (
        ev.FastenerTicked(
            operation=step.id,
            joint=progress.joint.id,
            stage=number,
            fastener=fastener,
            instrument=tool.need,
            serial=tool.serial,
            torque=torque,
            together=True,
        )
        for fastener in rest_of_stage(progress)
    )
    return (*tool.entries(by), *(Entry(by, tick) for tick in ticks))


def begin_stage_again(state: State, intent: intents.BeginStageAgain, context: Context, by: str) -> Decision:
    """Clear all ticks of the current stage by one event."""
    found = joint_in_progress(state, intent.operation, intent.joint)
    if isinstance(found, Refusal):
        return found
    step, progress = found
    reasons = stage_again_reasons(state, step, progress)
    if reasons:
        return Refusal(reasons)
    cleared = sum(tick.stage == progress.stage_number for tick in state.work(step.id).ticks)
    return (Entry(by, ev.StageBegunAgain(step.id, progress.joint.id, progress.stage_number, cleared)),)
