"""The torque of a stage whose figure is not in the file: given at the bench with its source, or calculated."""

from msgspec.structs import replace

from benchflow.procedure.model import AngleStage, CalculatedValue, OpenStage, Stage, Tighten, TorqueStage
from benchflow.procedure.plan import Step
from benchflow.procedure.stage_figures import StageFigure, parse_figure
from benchflow.session.refusal import Reason
from benchflow.session.rules.calculated_values import judged_results
from benchflow.session.state.state import State


def tighten_in_force(state: State, step: Step) -> Tighten | None:
    """The tightening of ``step``. An open stage whose figure is known by now is a stage with that torque or angle."""
    tighten = step.operation.tighten
    if tighten is None or not any(isinstance(stage, OpenStage) for stage in tighten.stages):
        return tighten
    stages = tuple(_in_force(state, step, number, stage) for number, stage in enumerate(tighten.stages, 1))
    return replace(tighten, stages=stages)


def _in_force(state: State, step: Step, number: int, stage: Stage) -> Stage:
    figure = open_stage_figure(state, step, number, stage) if isinstance(stage, OpenStage) else None
    if figure is None or not isinstance(stage, OpenStage):
        return stage
    given = state.work(step.id).figures.get(number)
    common = (stage.only, figure.limit, stage.below, stage.above, stage.source if given is None else given.source)
    if stage.what == "angle":
        return AngleStage(figure.quantity, figure.text, *common)
    return TorqueStage(figure.quantity, figure.text, *common)


def open_stage_figure(state: State, step: Step, number: int, stage: OpenStage) -> StageFigure | None:
    """The figure of the open stage ``number``, from 1; ``None`` if it is not given or has no result yet."""
    if not stage.formula:
        given = state.work(step.id).figures.get(number)
        return None if given is None else parse_figure(given.figure, stage.what)
    value = value_of_stage(step, number)
    found = None if value is None else next(iter(judged_results(state, step, value).results.values()), None)
    torque = None if found is None else found.verdict.value
    if torque is None or torque.value <= 0:
        return None
    return StageFigure(torque, torque.entered)


def figure_source(state: State, step: Step, number: int) -> str:
    """The source or the formula of the figure of the stage ``number``; "" if the figure is in the procedure."""
    tighten = step.operation.tighten
    if tighten is None or not 1 <= number <= len(tighten.stages):
        return ""
    stage, given = tighten.stages[number - 1], state.work(step.id).figures.get(number)
    if not isinstance(stage, OpenStage):
        return ""
    return stage.formula or ("" if given is None else given.source)


def value_of_stage(step: Step, number: int) -> CalculatedValue | None:
    """The calculated value that is the torque of the stage ``number``; ``None`` if it is not a formula."""
    return next((value for value in step.operation.work_out if value.stage == number), None)


def stage_figure_missing(state: State, step: Step, number: int, stage: OpenStage) -> Reason:
    """The reason that an open stage has no figure yet."""
    tighten = step.operation.tighten
    assert tighten is not None  # the stage is of it
    value = value_of_stage(step, number)
    if value is None:
        message = f"The {stage.what} of stage {number} is not printed. "
        message += "Give the figure with its source, then tighten"
        return Reason("value-missing", message, operation=step.id, name=tighten.joint)
    gap = judged_results(state, step, value).missing
    why = gap.reason if gap is not None else f"{stage.formula} is not above zero. Correct what it is calculated from"
    message = f"The torque of stage {number} ({stage.formula}) is not known. {why}"
    return Reason("value-missing", message, operation=step.id, name=tighten.joint)


def ticked_by(state: State, name: str) -> tuple[str, int] | None:
    """The step and stage with ticks whose torque follows from the recorded value ``name``; ``None`` without one."""
    from benchflow.session.rules.value_results import input_readings  # late: few operations have such a stage

    for step_id, work in state.works.items():
        step = state.plan.steps.get(step_id)
        for value in () if step is None or not work.ticks else step.operation.work_out:
            ticked = value.stage and any(tick.stage == value.stage for tick in work.ticks)
            if ticked and any(ref.name == name for ref in input_readings(state, value)):
                return step_id, value.stage
    return None
