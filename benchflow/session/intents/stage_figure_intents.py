"""Handler of the intent `figure`: a figure that the procedure asks for, with its source; here that of a stage."""

from msgspec.structs import replace

from benchflow.base.plaintext import clean_line
from benchflow.procedure.model import AngleStage, OpenStage
from benchflow.procedure.plan import Step
from benchflow.procedure.stage_figures import StageFigure, parse_figure
from benchflow.procedure.total_angles import wrong_total
from benchflow.quantity import QuantityError, dimension_of
from benchflow.session.context import Context, Decision, Entry, refuse, unreadable_quantity
from benchflow.session.intents import intent_types as intents
from benchflow.session.intents.figure_intents import fill_in
from benchflow.session.refusal import Refusal
from benchflow.session.rules.current_operation import joint_in_progress
from benchflow.session.rules.joint_progress import joint_of
from benchflow.session.rules.stage_torques import tighten_in_force
from benchflow.session.rules.verdicts import to_stored
from benchflow.session.state import events as ev
from benchflow.session.state.state import State


def give_figure(state: State, intent: intents.GiveFigure, context: Context, by: str) -> Decision:
    """Log a figure that the procedure asks for. Once a stage has ticks, its figure can only be corrected."""
    if intent.stage is None or intent.joint is None:
        return fill_in(state, intent, context, by)
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
    if not isinstance(stage, OpenStage) or stage.formula:
        why = f"It is calculated: {stage.text}" if isinstance(stage, OpenStage) else f"It is {stage.text}"
        message = f"The figure of stage {number} is in the procedure. {why}"
        return refuse("not-allowed", message, operation=step.id, name=joint.id)
    figure = read_stage_figure(intent.value, joint.id, stage)
    if isinstance(figure, Refusal):
        return figure
    source = clean_line(intent.source)
    if not source:
        message = f"Give the source of the {stage.what} of stage {number} (from), such as a bulletin and its page"
        return refuse("value-missing", message, operation=step.id, name="from")
    work = state.work(step.id)
    if any(tick.stage == number for tick in (*work.ticks, *work.cleared_high)):
        line = work.figures[number].seq
        message = (
            f"Fasteners are tightened to {work.figures[number].figure} in stage {number}. If that figure is wrong, "
            f"correct log line {line}; the ticks are then judged again"
        )
        return refuse("already-done", message, operation=step.id, name=joint.id)
    wrong = wrong_angle(state, step, number, figure)
    if wrong is not None:
        return wrong
    event = ev.FigureGiven(step.id, joint.id, number, to_stored(figure.quantity), figure.text, source)
    return (Entry(by, event),)


def wrong_angle(state: State, step: Step, number: int, figure: StageFigure) -> Refusal | None:
    """A refusal of an angle with which the angles do not add up to the printed total; ``None`` if they do."""
    tighten = tighten_in_force(state, step)
    assert tighten is not None  # the figure is of a stage of it
    if tighten.total_angle is None or dimension_of(figure.quantity.unit) != "angle":
        return None
    stages = list(tighten.stages)
    stages[number - 1] = AngleStage(figure.quantity, figure.text, stages[number - 1].only, figure.limit)
    found = wrong_total(replace(tighten, stages=tuple(stages)), joint_of(state, tighten.joint))
    if not found:
        return None
    message = f"With {figure.text} for stage {number}: {found} (`total-angle`). Compare each angle with the source"
    given = [str(one.seq) for other, one in sorted(state.work(step.id).figures.items()) if other != number]
    correct = f". If an angle given before is wrong, correct log line {' or '.join(given)}" if given else ""
    return refuse("bad-quantity", f"{message}{correct}", operation=step.id, name=tighten.joint)


def read_stage_figure(text: str, name: str, stage: OpenStage) -> StageFigure | Refusal:
    """The torque or the angle in ``text``, a quantity or a limit; a refusal if there is none above zero."""
    try:
        figure = parse_figure(text, stage.what)
    except QuantityError as error:
        return unreadable_quantity(error, name)
    if not figure.above_zero:
        return refuse(
            "bad-quantity", f"{figure.text} is not above zero. Enter the {stage.what} of the source", name=name
        )
    return figure
