"""Handlers of the intents `tick`, `untick` and `draw-down`, which are about one fastener."""

from benchflow.procedure.model import AngleStage, CheckStage, OpenStage, Stage, TorqueStage
from benchflow.procedure.plan import Step
from benchflow.session.context import Context, Decision, Entry, refusal_or_none, refuse
from benchflow.session.intents import intent_types as intents
from benchflow.session.refusal import Code, Reason, Refusal
from benchflow.session.rules.check_readings import NO_TOOL, fastener_number, tick_readings
from benchflow.session.rules.check_stages import TickReadings, judge_tick
from benchflow.session.rules.current_operation import joint_in_progress, joint_to_tighten
from benchflow.session.rules.failed_fasteners import FAILURE_TEXT
from benchflow.session.rules.instrument_fitness import Tool, choose_tool, need_for_kind
from benchflow.session.rules.joint_progress import JointProgress, progress_text
from benchflow.session.rules.remedy_waits import wait_reasons
from benchflow.session.rules.stage_remedies import FastenerRemedy, remedy_of_tick
from benchflow.session.rules.stage_tools import tool_of_stage
from benchflow.session.rules.stage_torques import stage_figure_missing
from benchflow.session.rules.tick_advice import (
    not_seated_text,
    out_of_limit_text,
    remedy_first_text,
    too_tight_text,
)
from benchflow.session.rules.ticks_judged_again import figure_of
from benchflow.session.rules.typed_values import whole_number
from benchflow.session.rules.verdicts import to_stored
from benchflow.session.state import events as ev
from benchflow.session.state.state import State


def tick_fastener(state: State, intent: intents.TickFastener, context: Context, by: str) -> Decision:
    found = joint_to_tighten(state, intent.operation, intent.joint)
    if isinstance(found, Refusal):
        return found
    step, progress = found
    fastener = fastener_number(progress, intent.fastener)
    if isinstance(fastener, Refusal):
        return fastener
    stage_number = _stage_of_tick(state, step, progress, fastener, intent.stage)
    if isinstance(stage_number, Refusal):
        return stage_number
    out = progress.out_tick(fastener)
    held = None if out is None or out.stage != stage_number else remedy_of_tick(state, step, out)
    if held is not None:
        return _refuse_held(state, step, progress, held)
    too_tight = progress.too_tight.get((stage_number, fastener))
    if too_tight is not None and not intent.loosened:
        return _refuse_tick("remedy-first", fastener, too_tight_text(progress, too_tight))
    early = refusal_or_none(wait_reasons(state, step, progress.joint.id, str(fastener), context.now))
    if early is not None:
        return early
    stage = progress.tighten.stages[stage_number - 1]
    if isinstance(stage, OpenStage):
        return Refusal((stage_figure_missing(state, step, stage_number, stage),))
    read = tick_readings(stage, fastener, intent.value, intent.stretch, intent.answer)
    if isinstance(read, Refusal):
        return read
    tools = _tools_of_tick(state, context, step, progress, stage, intent, read)
    if isinstance(tools, Refusal):
        return tools
    tool, stretch_tool = tools
    result = judge_tick(progress.joint, progress.tighten, stage, read)
    event = ev.FastenerTicked(
        operation=step.id,
        joint=progress.joint.id,
        stage=stage_number,
        fastener=fastener,
        quantity=None if read.value is None else to_stored(read.value),
        verdict=result.verdict,
        limit=result.limit,
        loosened=intent.loosened,
        answer=read.answer,
        instrument=tool.need,
        serial=tool.serial,
        stretch=None if read.stretch is None else to_stored(read.stretch),
        corner=result.corner,
        stretch_instrument=stretch_tool.need,
        stretch_serial=stretch_tool.serial,
        torque=figure_not_in_file(step, stage_number, stage),
    )
    return (*tool.entries(by), *stretch_tool.entries(by), Entry(by, event))


def figure_not_in_file(step: Step, number: int, stage: Stage) -> ev.StoredQuantity | None:
    """Return the torque or the angle of a stage whose figure is not in the procedure; ``None`` for any other stage."""
    written = step.operation.tighten
    is_open = written is not None and isinstance(written.stages[number - 1], OpenStage)
    return to_stored(figure_of(stage)) if is_open and isinstance(stage, TorqueStage | AngleStage) else None


def _stage_of_tick(
    state: State, step: Step, progress: JointProgress, fastener: int, named_stage: int | None
) -> int | Refusal:
    """Return the number of the stage that a tick is for, or a refusal with every reason why it is not allowed now.

    ``named_stage`` is the stage that the intent names, if it names one.
    """
    title, text = progress.joint.title or progress.joint.id, progress_text(progress)
    stages = len(progress.tighten.stages)
    if named_stage is not None and not 1 <= named_stage <= stages:
        message = f"There is no stage {named_stage}. {title} has {stages} stage{'s' if stages > 1 else ''}, from 1"
        return _refuse_tick("unknown-name", fastener, message)
    if progress.seating_open:
        return refuse("stage-not-finished", not_seated_text(progress), name=progress.joint.id)
    if fastener in progress.left_out:
        message = f"Fastener {fastener} failed, and a deviation leaves it out of the joint ({text})"
        return _refuse_tick("not-allowed", fastener, message)
    repeated, check = progress.waived_tick(fastener, named_stage), isinstance(progress.current_stage, CheckStage)
    if repeated is not None and (not progress.out or (check and not progress.later_stage)):
        return repeated.stage
    read_again = (named_stage or min(progress.stage_number, stages), fastener)
    if read_again in progress.read_again:
        return read_again[0]
    if progress.complete:
        return _refuse_tick("already-done", fastener, f"{title} is already tightened ({text})")
    current = progress.stage_number
    if named_stage is not None and named_stage < current:
        message = f"Stage {named_stage} is already finished ({text})"
        return _refuse_tick("already-done", fastener, message)
    if progress.out and progress.later_stage:
        return _refuse_out_of_limit(state, step, progress, fastener)
    is_current = named_stage is None or named_stage == current
    if is_current and (progress.out_tick(fastener) is not None or fastener == progress.next):
        return current
    if progress.out and (progress.read_through or not check):
        reasons = _refuse_out_of_limit(state, step, progress, fastener).refused
        return Refusal((*reasons, *_already_ticked(progress, fastener))) if check and is_current else Refusal(reasons)
    if not is_current:
        message = f"Stage {current} is not finished ({text}). Finish it before stage {named_stage}"
        return _refuse_tick("stage-not-finished", fastener, message)
    message = f"Fastener {fastener} is out of order ({text}). {_next_text(progress, fastener)}"
    reasons = (*_refuse_tick("fastener-order", fastener, message).refused, *_already_ticked(progress, fastener))
    if fastener in progress.accepted and named_stage is None and current < len(progress.tighten.stages):
        message = f"Stage {current} is not finished. Finish it before stage {current + 1}"
        reasons += _refuse_tick("stage-not-finished", fastener, message).refused
    return Refusal(reasons)


def _next_text(progress: JointProgress, fastener: int) -> str:
    """Return which fastener is next, and why ``fastener`` is not if the stage is for a group without it."""
    group = "" if progress.current_stage is None else progress.current_stage.only
    stated = f"Stage {progress.stage_number} is only for {group}. " if group and fastener not in progress.order else ""
    return f"{stated}Fastener {progress.next} is next"


def _already_ticked(progress: JointProgress, fastener: int) -> tuple[Reason, ...]:
    if fastener not in progress.accepted:
        return ()
    return _refuse_tick("already-done", fastener, f"Fastener {fastener} is already ticked in this stage").refused


def _refuse_out_of_limit(state: State, step: Step, progress: JointProgress, fastener: int) -> Refusal:
    """Return the refusal of a tick while a fastener of the current stage is out of its band."""
    return _refuse_tick("out-of-limit", fastener, out_of_limit_text(state, step, progress, progress.out[0]))


def _refuse_held(state: State, step: Step, progress: JointProgress, held: FastenerRemedy) -> Refusal:
    """Return the refusal of a tick, or of clearing one, before its remedy was carried out, or after the last one."""
    if not held.final:
        return _refuse_tick("remedy-first", held.tick.fastener, remedy_first_text(progress, held))
    return _refuse_tick("out-of-limit", held.tick.fastener, out_of_limit_text(state, step, progress, held.tick))


def _refuse_tick(code: Code, fastener: int, message: str) -> Refusal:
    return refuse(code, message, name=str(fastener))


def _tools_of_tick(
    state: State, context: Context, step: Step, progress: JointProgress, stage: Stage, intent: intents.TickFastener,
    read: TickReadings,
) -> tuple[Tool, Tool] | Refusal:  # fmt: skip
    """Return the tool of a tick, and the gauge for the stretch (``NO_TOOL`` if no stretch was read)."""
    tool = tool_of_stage(state, context, step, progress, stage, intent.instrument, read.value)
    if isinstance(tool, Refusal):
        return tool
    if read.stretch is None:
        return tool, NO_TOOL
    need = need_for_kind(state, step, "stretch")
    gauge = choose_tool(state, context, need, intent.stretch_instrument, read.stretch, stretch=True)
    return gauge if isinstance(gauge, Refusal) else (tool, gauge)


def untick_fastener(state: State, intent: intents.UntickFastener, context: Context, by: str) -> Decision:
    """Clear the last entry of the joint: a failed fastener, a tick, the confirmation "all seated", or a turn."""
    found = joint_in_progress(state, intent.operation, intent.joint)
    if isinstance(found, Refusal):
        return found
    step, progress = found
    draw_down, joint = progress.draw_down, progress.joint.id
    event: ev.Event
    fastener: int | None
    stage = 0  # of a draw-down entry
    if progress.failed:
        failed = max(progress.failed, key=lambda one: one.seq)
        fastener, stage = failed.fastener, failed.stage
        last_entry = f"fastener {fastener}, {FAILURE_TEXT[failed.what]}"
        event = ev.FastenerFailureCleared(step.id, joint, fastener, failed.what)
    elif progress.last is not None:
        fastener, stage = progress.last.fastener, progress.last.stage
        last_entry = f"fastener {fastener}, stage {stage}"
        held = remedy_of_tick(state, step, progress.last)
        if held is not None:
            return _refuse_held(state, step, progress, held)
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
    found = joint_to_tighten(state, intent.operation, intent.joint)
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
