"""The figure that has to be given next, with its question, for the bench view."""

from collections.abc import Iterable

from benchflow.procedure.figures_to_fill import FigureToFill, asked_limits
from benchflow.procedure.model import CalculatedValue, Joint, OpenStage, RecordedValue
from benchflow.procedure.plan import Step
from benchflow.session.rules.joint_progress import JointProgress
from benchflow.session.rules.missing_figures import figures_applying, reading_figure_missing
from benchflow.session.rules.verdicts import part_is_used
from benchflow.session.state.state import State
from benchflow.session.view.bench_view import AskedFigure
from benchflow.trade.instruments import is_torque

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
    first = next(iter(figures_applying(own, used=used)), None)
    if first is not None:
        return _limit(first, record.ask or record.name, slot if record.by_reading else "")
    return _first_range(state, own.instruments) or asked_of_uses(state, step)


def asked_of_uses(state: State, step: Step) -> AskedFigure | None:
    """The range of an instrument under `uses` that an operation waits for; ``None`` if it waits for none."""
    return _first_range(state, (ref.name for ref in step.operation.uses))


def _first_range(state: State, instruments: Iterable[str]) -> AskedFigure | None:
    needs = state.plan.procedure.instruments_by_id
    for name in instruments:
        if name in needs and needs[name].asked is not None:
            example = "20 .. 120 N·m" if is_torque(needs[name].kind) else "0 .. 10 mm"
            title = f"Range of {needs[name].title or name}"
            return AskedFigure(title, f"Range that is needed, such as {example}", {"instrument": name})
    return None


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
    found = _first_range(state, () if wrench is None else (wrench,)) or asked_of_uses(state, step)
    if found is not None:
        return found
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
