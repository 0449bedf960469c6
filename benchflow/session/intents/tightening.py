"""Handlers of the intents `tick`, `untick` and `draw-down`."""

from msgspec.structs import replace

from benchflow.procedure.model import CheckStage, Stage, TorqueStage
from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity
from benchflow.session.context import Context, Decision, Entry, refuse
from benchflow.session.intents import intent_types as intents
from benchflow.session.refusal import Code, Refusal
from benchflow.session.rules.check_readings import (
    NO_TOOL,
    fastener_number,
    joint_in_progress,
    rereadable_ticks,
    tick_readings,
)
from benchflow.session.rules.check_stages import judge_check
from benchflow.session.rules.instrument_fitness import Tool, choose_tool, need_for_kind, need_for_stage
from benchflow.session.rules.joint_progress import JointProgress, progress_text
from benchflow.session.rules.typed_values import whole_number
from benchflow.session.rules.verdicts import to_stored
from benchflow.session.rules.wrench_correction import wrench_setting
from benchflow.session.state import events as ev
from benchflow.session.state.state import State


def tick_fastener(state: State, intent: intents.TickFastener, context: Context, by: str) -> Decision:
    found = joint_in_progress(state, intent.operation, intent.joint)
    if isinstance(found, Refusal):
        return found
    step, progress = found
    fastener = fastener_number(progress, intent.fastener)
    if isinstance(fastener, Refusal):
        return fastener
    stage_number = _stage_of_tick(state, step, progress, fastener, intent.stage)
    if isinstance(stage_number, Refusal):
        return stage_number
    stage = progress.tighten.stages[stage_number - 1]
    read = tick_readings(stage, fastener, intent.value, intent.stretch)
    if isinstance(read, Refusal):
        return read
    value, stretch = read
    tools = _tools_of_tick(state, context, step, progress, stage, intent, value, stretch)
    if isinstance(tools, Refusal):
        return tools
    tool, stretch_tool = tools
    event = ev.FastenerTicked(
        operation=step.id,
        joint=progress.joint.id,
        stage=stage_number,
        fastener=fastener,
        instrument=tool.need,
        serial=tool.serial,
        stretch_instrument=stretch_tool.need,
        stretch_serial=stretch_tool.serial,
    )
    if value is not None:
        event = replace(event, quantity=to_stored(value), stretch=None if stretch is None else to_stored(stretch))
        if isinstance(stage, CheckStage):
            result = judge_check(stage, value, stretch)
            event = replace(event, verdict=result.verdict, corner=result.corner)
    return (*tool.entries(by), *stretch_tool.entries(by), Entry(by, event))


def _stage_of_tick(
    state: State, step: Step, progress: JointProgress, fastener: int, named_stage: int | None
) -> int | Refusal:
    """Return the number of the stage that a tick is for, or a refusal with every reason why it is not allowed now.

    ``named_stage`` is the stage that the intent names, if it names one.
    """
    title, text = progress.joint.title or progress.joint.id, progress_text(progress)
    if progress.seating_open:
        message = f"{title} is not seated yet ({text}). Confirm that all fasteners are seated, then tighten"
        return refuse("stage-not-finished", message, name=progress.joint.id)
    reread = _stage_to_reread(state, step, progress, fastener, named_stage)
    if reread is not None:
        return reread
    if progress.complete:
        return _refuse_tick("already-done", fastener, f"{title} is already tightened ({text})")
    current = progress.stage_number
    if named_stage is not None and named_stage > current:
        message = f"Stage {current} is not finished ({text}). Finish it before stage {named_stage}"
        return _refuse_tick("stage-not-finished", fastener, message)
    if named_stage is not None and named_stage < current:
        message = f"Fastener {fastener} is already ticked in stage {named_stage} ({text})"
        return _refuse_tick("already-done", fastener, message)
    if fastener == progress.next:
        return current
    message = f"Fastener {fastener} is out of order ({text}). Fastener {progress.next} is next"
    reasons = _refuse_tick("fastener-order", fastener, message).refused
    if fastener in progress.order[: progress.done]:
        message = f"Fastener {fastener} is already ticked in this stage"
        reasons += _refuse_tick("already-done", fastener, message).refused
        if named_stage is None and current < len(progress.tighten.stages):
            message = f"Stage {current} is not finished. Finish it before stage {current + 1}"
            reasons += _refuse_tick("stage-not-finished", fastener, message).refused
    return Refusal(reasons)


def _refuse_tick(code: Code, fastener: int, message: str) -> Refusal:
    return refuse(code, message, name=str(fastener))


def _stage_to_reread(
    state: State, step: Step, progress: JointProgress, fastener: int, named_stage: int | None
) -> int | None:
    """Return the check stage in which ``fastener`` was read out of its limit and is read again by this tick."""
    for stage, other in rereadable_ticks(state, step, progress):
        # A tick that names no stage is for the current stage, as long as there is one.
        is_default = progress.complete or stage == progress.stage_number
        if other == fastener and (is_default if named_stage is None else stage == named_stage):
            return stage
    return None


def _tools_of_tick(
    state: State, context: Context, step: Step, progress: JointProgress, stage: Stage, intent: intents.TickFastener,
    value: Quantity | None, stretch: Quantity | None,
) -> tuple[Tool, Tool] | Refusal:  # fmt: skip
    """Return the tool of a tick, and the gauge for the stretch (``NO_TOOL`` if no stretch was read)."""
    torque = wrench_setting(state, stage.torque) if isinstance(stage, TorqueStage) else None
    need = need_for_stage(state, step, stage, progress.tighten.instrument)
    tool = choose_tool(state, context, need, intent.instrument, value if isinstance(stage, CheckStage) else torque)
    if isinstance(tool, Refusal):
        return tool
    if stretch is None:
        return tool, NO_TOOL
    gauge = choose_tool(state, context, need_for_kind(state, step, "stretch"), intent.stretch_instrument, stretch)
    return gauge if isinstance(gauge, Refusal) else (tool, gauge)


def untick_fastener(state: State, intent: intents.UntickFastener, context: Context, by: str) -> Decision:
    """Clear the last entry of the joint: a tick, the confirmation "all seated", or a draw-down turn."""
    found = joint_in_progress(state, intent.operation, intent.joint)
    if isinstance(found, Refusal):
        return found
    step, progress = found
    draw_down, joint = progress.draw_down, progress.joint.id
    event: ev.Event
    fastener: int | None
    stage = 0  # of a draw-down entry
    if progress.last is not None:
        fastener, stage = progress.last.fastener, progress.last.stage
        last_entry = f"fastener {fastener}, stage {stage}"
        event = ev.FastenerUnticked(step.id, joint, stage, fastener)
    elif draw_down is not None and draw_down.seated:
        fastener = draw_down.last
        last_entry = "the confirmation that all are seated"
        event = ev.SeatingCleared(step.id, joint)
    elif draw_down is not None and draw_down.turns:
        fastener = draw_down.turns[-1].fastener
        last_entry = f"fastener {fastener}, draw-down"
        event = ev.DrawDownTurnCleared(step.id, joint, draw_down.turns[-1].round, fastener)
    else:
        return refuse("fastener-order", "No fastener is ticked yet. There is nothing to clear")
    is_other = intent.fastener is not None and whole_number(intent.fastener) != fastener
    if is_other or intent.stage not in (None, stage):
        message = f"Only the last entry can be cleared. It is {last_entry}"
        return refuse("fastener-order", message, name=str(intent.fastener))
    return (Entry(by, event),)


def draw_down(state: State, intent: intents.DrawDown, context: Context, by: str) -> Decision:
    """Enter a draw-down turn of the next fastener, or confirm that all are seated. Entering turns is optional."""
    found = joint_in_progress(state, intent.operation, intent.joint)
    if isinstance(found, Refusal):
        return found
    step, progress = found
    joint, count = progress.joint, progress.draw_down
    title = joint.title or joint.id
    if count is None:
        return refuse("not-allowed", f"The procedure has no draw-down for {title}", name=joint.id)
    if not count.open:
        ended = "Its first stage has begun" if count.stage_ticked else "It is already confirmed as seated"
        return refuse("already-done", f"The draw-down of {title} is over ({count.text}). {ended}", name=joint.id)
    if intent.seated and intent.fastener is not None:
        message = "Either name the fastener that was turned, or confirm that all are seated"
        return refuse("not-allowed", message, name="seated")
    if intent.seated:
        return (Entry(by, ev.PartSeated(step.id, joint.id, len(count.turns))),)
    if intent.fastener is not None:
        fastener = fastener_number(progress, intent.fastener)
        if isinstance(fastener, Refusal):
            return fastener
        if fastener != count.next:
            message = f"Fastener {fastener} is out of order ({count.text}). Fastener {count.next} is next"
            return refuse("fastener-order", message, name=str(fastener))
    assert count.next is not None  # the draw-down is open
    return (Entry(by, ev.FastenerDrawnDown(step.id, joint.id, count.round, count.next)),)
