"""Handlers of the intents `tick`, `untick` and `draw-down`."""

from msgspec.structs import replace

from benchflow.procedure.model import CheckStage, Stage, TorqueStage
from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity
from benchflow.session.context import Context, Decision, Entry, refuse
from benchflow.session.intents import intent_types as it
from benchflow.session.refusal import Code, Refusal
from benchflow.session.rules.check_readings import NO_TOOL, fastener_of, joint_in_hand, readable_ticks, readings
from benchflow.session.rules.check_stages import judge_check
from benchflow.session.rules.instrument_fitness import Tool, need_for_stage, need_of_kind, tool_for
from benchflow.session.rules.joint_progress import Tally, words
from benchflow.session.rules.typed_values import whole_number
from benchflow.session.rules.verdicts import stored
from benchflow.session.rules.wrench_correction import wrench_setting
from benchflow.session.state import events as ev
from benchflow.session.state.state import State


def tick(state: State, intent: it.TickFastener, context: Context, by: str) -> Decision:
    found = joint_in_hand(state, intent.operation, intent.joint)
    if isinstance(found, Refusal):
        return found
    step, count = found
    number = fastener_of(count, intent.fastener)
    if isinstance(number, Refusal):
        return number
    stage = _stage_of(state, step, count, number, intent.stage)
    if isinstance(stage, Refusal):
        return stage
    event = ev.Ticked(step.id, count.joint.id, stage, number)
    return _read(state, context, step, count, event, intent, by)


def _stage_of(state: State, step: Step, count: Tally, number: int, said: int | None) -> int | Refusal:
    """The stage that a tick of this fastener is for, from 1, or every reason why it cannot be ticked now."""
    if count.half_drawn:
        message = f"{count.joint.title or count.joint.id}: {words(count)}. Confirm that all are seated, then tighten"
        return refuse("stage-not-finished", message, name=count.joint.id)
    again = _read_again(state, step, count, number, said)
    if again is not None:
        return again
    if count.complete:
        return refuse("already-done", f"{count.joint.title or count.joint.id}: {words(count)}", name=str(number))
    had = number in count.order[: count.done]
    if said is not None and said > count.stage:
        return _stopped("stage-not-finished", number, f"stage {count.stage} is not finished: {words(count)}")
    if said is not None and said < count.stage:
        return _stopped("already-done", number, f"fastener {number} has had stage {said}: {words(count)}")
    if number == count.next:
        return count.stage
    reasons = _stopped("fastener-order", number, f"{count.next} comes next, not {number}: {words(count)}").refused
    if had:
        reasons += _stopped("already-done", number, f"fastener {number} has had this stage").refused
    if had and said is None and count.stage < len(count.tighten.stages):
        message = f"stage {count.stage + 1} cannot start before the last fastener of stage {count.stage}"
        reasons += _stopped("stage-not-finished", number, message).refused
    return Refusal(reasons)


def _stopped(code: Code, number: int, message: str) -> Refusal:
    return refuse(code, message, name=str(number))


def _read_again(state: State, step: Step, count: Tally, number: int, said: int | None) -> int | None:
    """The check stage in which this fastener read out of its limit and may be read again."""
    for stage, fastener in readable_ticks(state, step, count):
        plain = stage == count.stage or count.complete  # else the next stage is what a tick without a word is for
        if fastener == number and (said == stage or (said is None and plain)):
            return stage
    return None


def _read(
    state: State, context: Context, step: Step, count: Tally, event: ev.Ticked, intent: it.TickFastener, by: str
) -> Decision:
    """The tick with what was read on it, and the instruments that it was read with."""
    stage = count.tighten.stages[event.stage - 1]
    read = readings(stage, event.fastener, intent.value, intent.stretch)
    if isinstance(read, Refusal):
        return read
    value, stretch = read
    tools = _tools(state, context, step, count, stage, intent, value, stretch)
    if isinstance(tools, Refusal):
        return tools
    tool, gauge = tools
    event = replace(event, instrument=tool.need, serial=tool.serial)
    event = replace(event, stretch_instrument=gauge.need, stretch_serial=gauge.serial)
    if value is not None:
        event = replace(event, quantity=stored(value), stretch=None if stretch is None else stored(stretch))
        if isinstance(stage, CheckStage):
            found = judge_check(stage, value, stretch)
            event = replace(event, verdict=found.verdict, corner=found.corner)
    return (*tool.entries(by), *gauge.entries(by), Entry(by, event))


def _tools(
    state: State, context: Context, step: Step, count: Tally, stage: Stage, intent: it.TickFastener,
    value: Quantity | None, stretch: Quantity | None,
) -> tuple[Tool, Tool] | Refusal:  # fmt: skip
    """The wrench, and the gauge that the stretch was read with."""
    asked = wrench_setting(state, stage.torque) if isinstance(stage, TorqueStage) else None
    need = need_for_stage(state, step, stage, count.tighten.instrument)
    tool = tool_for(state, context, need, intent.instrument, value if isinstance(stage, CheckStage) else asked)
    if isinstance(tool, Refusal) or stretch is None:
        return tool if isinstance(tool, Refusal) else (tool, NO_TOOL)
    gauge = tool_for(state, context, need_of_kind(state, step, "stretch"), intent.stretch_instrument, stretch)
    return gauge if isinstance(gauge, Refusal) else (tool, gauge)


def untick(state: State, intent: it.Untick, context: Context, by: str) -> Decision:
    """Clears the last entry of the joint: a tick, "all seated", or a draw-down turn."""
    found = joint_in_hand(state, intent.operation, intent.joint)
    if isinstance(found, Refusal):
        return found
    step, count = found
    drawing = count.drawing
    event: ev.Event
    fastener: int | None
    if count.last is not None:
        fastener, stage = count.last.fastener, count.last.stage
        event = ev.Unticked(step.id, count.joint.id, stage, fastener)
    elif drawing is not None and drawing.seated:
        fastener, stage = drawing.last, 0
        event = ev.Unseated(step.id, count.joint.id)
    elif drawing is not None and drawing.turns:
        fastener, stage = drawing.turns[-1].fastener, 0
        event = ev.Undrawn(step.id, count.joint.id, drawing.turns[-1].round, fastener)
    else:
        return refuse("fastener-order", "No fastener is ticked yet. There is nothing to clear")
    other = intent.fastener is not None and whole_number(intent.fastener) != fastener
    if other or intent.stage not in (None, stage):
        what = f"fastener {fastener}, " + (f"stage {stage}" if stage else "drawing down")
        return refuse("fastener-order", f"Only the last tick can be cleared: {what}", name=str(intent.fastener))
    return (Entry(by, event),)


def draw_down(state: State, intent: it.DrawDown, context: Context, by: str) -> Decision:
    """A turn of the next fastener, or that the part is seated. Counting the turns is for the builder to choose."""
    found = joint_in_hand(state, intent.operation, intent.joint)
    if isinstance(found, Refusal):
        return found
    step, count = found
    title, drawing = count.joint.title or count.joint.id, count.drawing
    if drawing is None:
        return refuse("not-allowed", f"{title}: the procedure has no draw-down for this joint", name=count.joint.id)
    if not drawing.open:
        ended = "its stages have begun" if drawing.begun else "it was said to be seated"
        return refuse("already-done", f"{title}: {ended}; {drawing.words}", name=count.joint.id)
    if intent.seated and intent.fastener is not None:
        return refuse("not-allowed", "Name the fastener that was turned, or confirm that all are seated", name="seated")
    if intent.seated:
        return (Entry(by, ev.Seated(step.id, count.joint.id, len(drawing.turns))),)
    if intent.fastener is not None:
        number = fastener_of(count, intent.fastener)
        if isinstance(number, Refusal):
            return number
        if number != drawing.next:
            message = f"{drawing.next} comes next, not {number}: {drawing.words}"
            return refuse("fastener-order", message, name=str(number))
    assert drawing.next is not None  # it is open
    return (Entry(by, ev.DrawnDown(step.id, count.joint.id, drawing.round, drawing.next)),)
