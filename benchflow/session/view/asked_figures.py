"""The figure that has to be given next, with its question, for the bench view."""

from benchflow.procedure.figures_to_fill import FigureToFill, asked_limits
from benchflow.procedure.model import AskedLimit, CalculatedValue, Joint, OpenStage, RecordedValue
from benchflow.procedure.plan import Step
from benchflow.session.rules.joint_progress import JointProgress
from benchflow.session.rules.missing_figures import reading_figure_missing
from benchflow.session.rules.verdicts import bound_in_force, part_is_used
from benchflow.session.state.state import State
from benchflow.session.view.bench_view import AskedFigure

_JOINT_QUESTIONS = {
    "layout": "The fasteners as they lie, numbered in tightening order, rows with /",
    "thread": "Thread, such as M10x1.25",
    "class": "Property class, such as 10.9",
    "lubricant": "Lubricant on thread and bearing face",
}


def asked_of_reading(state: State, step: Step, record: RecordedValue, slot: str) -> AskedFigure | None:
    """The figure that one reading of a value waits for; ``None`` if it waits for none."""
    own = record.at(slot)
    used = own.used_by_option if own.used_by_option is not None else part_is_used(state, step.id, record, slot)
    if reading_figure_missing(state, step, own, used=used) is None:
        return None
    asked = list(asked_limits(own))
    in_force = bound_in_force(own, used)
    first = next((one for one in asked if isinstance(in_force, AskedLimit) and one.mark == in_force.mark), None)
    first = first or next((one for one in asked if one.what == "further"), None)
    if first is not None:
        return _limit(first, record.ask or record.name, slot if record.by_reading else "")
    name = next((each for each in own.instruments if _is_asked(state, each)), "")
    return AskedFigure(f"Range of {name}", "Range that is needed, such as 0 .. 10 mm", {"instrument": name})


def asked_of_calculation(value: CalculatedValue) -> AskedFigure | None:
    """The limit that a calculated value waits for; ``None`` if it waits for none."""
    first = next(asked_limits(value), None)
    return None if first is None else _limit(first, value.title or value.name, first.reading)


def _limit(figure: FigureToFill, title: str, reading: str) -> AskedFigure:
    fields: dict[str, str | int | bool] = {"name": figure.name}
    if reading:
        fields["reading"] = reading
    if figure.what == "used":
        fields["used"] = True
    if figure.what == "further":
        fields["further"] = figure.number
    what = {"used": "limit for used parts", "further": f"further limit {figure.number}"}.get(figure.what, "limit")
    return AskedFigure(f"{title}: {what}", "Limit with its unit, such as 0.10 .. 0.28 mm", fields)


def asked_of_joint(state: State, step: Step, progress: JointProgress) -> AskedFigure | None:
    """The figure that a joint waits for: a text of it, the range of its wrench, or that of its current stage."""
    joint: Joint = progress.joint
    title = joint.title or joint.id
    for key, question in _JOINT_QUESTIONS.items():
        if key in joint.asked:
            return AskedFigure(title, question, {"joint": joint.id}, key)
    wrench = None if step.operation.tighten is None else step.operation.tighten.instrument
    if wrench is not None and _is_asked(state, wrench):
        return AskedFigure(f"Range of {wrench}", "Range that is needed, such as 20 .. 120 N·m", {"instrument": wrench})
    stage = progress.current_stage
    if not isinstance(stage, OpenStage) or not stage.asked or progress.seating_open or progress.out:
        return None
    question = "Torque with its unit, or a limit" if stage.what == "torque" else "Angle, such as 90°, or a limit"
    return AskedFigure(f"{title}, stage {progress.stage_number}", question,
                       {"joint": joint.id, "stage": progress.stage_number})  # fmt: skip


def asked_time(state: State, step: Step) -> AskedFigure | None:
    """The time that an operation waits for before it can be started; ``None`` if it waits for none."""
    for operation, since in state.plan.times_to_fill:
        if step.operation.id in (operation, since):
            by_id = state.plan.procedure.operations_by_id
            title = f"Time from “{by_id[since].title}” to “{by_id[operation].title}”"
            return AskedFigure(title, "Time, such as at most 10 min", {"operation": operation, "since": since})
    return None


def _is_asked(state: State, instrument: str) -> bool:
    need = state.plan.procedure.instruments_by_id.get(instrument)
    return need is not None and need.asked is not None
