"""Handler of the intent `figure`: the torque of a stage that is not printed, with its source."""

from benchflow.base.plaintext import clean_line
from benchflow.procedure.model import OpenTorqueStage
from benchflow.procedure.stage_figures import StageFigure, parse_figure
from benchflow.quantity import QuantityError
from benchflow.session.context import Context, Decision, Entry, refuse, unreadable_quantity
from benchflow.session.intents import intent_types as intents
from benchflow.session.refusal import Refusal
from benchflow.session.rules.current_operation import joint_in_progress
from benchflow.session.rules.verdicts import to_stored
from benchflow.session.state import events as ev
from benchflow.session.state.state import State


def give_figure(state: State, intent: intents.GiveFigure, context: Context, by: str) -> Decision:
    """Log the torque of a stage. Once the stage has ticks, it can only be corrected."""
    found = joint_in_progress(state, intent.operation, intent.joint)
    if isinstance(found, Refusal):
        return found
    step, progress = found
    joint, number, tighten = progress.joint, intent.stage, step.operation.tighten
    assert tighten is not None  # the step tightens the joint
    if not 1 <= number <= len(tighten.stages):
        message = f"Stage {number} does not exist. {joint.title or joint.id} has stages 1 to {len(tighten.stages)}"
        return refuse("unknown-name", message, operation=step.id, name=joint.id)
    stage = tighten.stages[number - 1]
    if not isinstance(stage, OpenTorqueStage) or stage.formula:
        why = f"It is calculated: {stage.text}" if isinstance(stage, OpenTorqueStage) else f"It is {stage.text}"
        message = f"The figure of stage {number} is in the procedure. {why}"
        return refuse("not-allowed", message, operation=step.id, name=joint.id)
    figure = read_torque(intent.value, joint.id)
    if isinstance(figure, Refusal):
        return figure
    source = clean_line(intent.source)
    if not source:
        message = f"Give the source of the torque of stage {number} (from), such as a bulletin and its page"
        return refuse("value-missing", message, operation=step.id, name="from")
    work = state.work(step.id)
    if any(tick.stage == number for tick in (*work.ticks, *work.cleared_high)):
        line = work.figures[number].seq
        message = (
            f"Fasteners are tightened to {work.figures[number].figure} in stage {number}. If that figure is wrong, "
            f"correct log line {line}; the ticks are then judged again"
        )
        return refuse("already-done", message, operation=step.id, name=joint.id)
    event = ev.FigureGiven(step.id, joint.id, number, to_stored(figure.quantity), figure.text, source)
    return (Entry(by, event),)


def read_torque(text: str, name: str) -> StageFigure | Refusal:
    """The torque in ``text``, a quantity or a limit; a refusal if it is no torque above zero."""
    try:
        figure = parse_figure(text, "torque")
    except QuantityError as error:
        return unreadable_quantity(error, name)
    if not figure.above_zero:
        return refuse("bad-quantity", f"{figure.text} is not above zero. Enter the torque of the source", name=name)
    return figure
