"""The figure that has to be given next, with its question, for the bench view."""

from collections.abc import Iterable, Iterator

from benchflow.procedure.figures_to_fill import FigureToFill, asked_limits, instrument_names
from benchflow.procedure.model import CalculatedValue, Caution, Joint, OpenStage, RecordedValue, values_of
from benchflow.procedure.plan import Step
from benchflow.quantity import base
from benchflow.quantity.units import EXAMPLES
from benchflow.session.rules.joint_progress import JointProgress
from benchflow.session.rules.missing_figures import JOINT_TEXTS, figures_applying, limits_needed, reading_figure_missing
from benchflow.session.rules.verdicts import part_is_used
from benchflow.session.state.state import State
from benchflow.session.view.bench_view import AskedFigure
from benchflow.trade.instruments import is_torque

SHORT_TIME = 2 * 3600
"""Seconds: a time up to this leaves no pause to look a figure up, as for a sealant. (Own rule.)"""

_JOINT_QUESTIONS = {
    "layout": "The fasteners as they lie, numbered in tightening order, rows with /",
    "thread": "Thread, such as M10x1.25",
    "class": "Property class, such as 10.9",
    "lubricant": "Lubricant on thread and bearing face",
}

_RANGES = {
    "torque": "20 .. 120 N·m", "length": "0 .. 10 mm", "pressure": "0 .. 16 bar", "temperature": "0 .. 150 °C",
    "angle": "0 .. 360°", "force": "0 .. 500 N",
}  # fmt: skip
"""An example of a range, by the kind of instrument."""


def asked_of_reading(
    state: State, step: Step, record: RecordedValue, slot: str, *, used: bool | None = None
) -> AskedFigure | None:
    """The figure that one reading of a value waits for; ``None`` if it waits for none.

    ``used`` says whether the part is used; ``None``: by the option, or as stated so far.
    """
    own = record.at(slot)
    if used is None:
        used = own.used_by_option if own.used_by_option is not None else part_is_used(state, step.id, record, slot)
    if reading_figure_missing(state, step, own, used=used) is None:
        return None
    first = next(iter(figures_applying(own, used=used)), None)
    if first is not None:
        return _limit(first, record, slot if record.by_reading else "")
    return _first_range(state, own.instruments) or asked_of_uses(state, step)


def asked_of_uses(state: State, step: Step) -> AskedFigure | None:
    """The range of an instrument under `uses` that an operation waits for; ``None`` if it waits for none."""
    return _first_range(state, (ref.name for ref in step.operation.uses))


def _first_range(state: State, instruments: Iterable[str]) -> AskedFigure | None:
    needs = state.plan.procedure.instruments_by_id
    for name in instruments:
        if name in needs and needs[name].asked is not None:
            need = needs[name]
            example = _RANGES["torque"] if is_torque(need.kind) else _RANGES.get(need.kind, _RANGES["length"])
            title, question = f"Range of {need.title or name}", f"Range that is needed, such as {example}"
            return AskedFigure(title, question, {"instrument": name}, source=need.source)
    return None


def asked_of_calculation(value: CalculatedValue) -> AskedFigure | None:
    """The limit that a calculated value waits for; ``None`` if it waits for none."""
    first = next(asked_limits(value), None)
    return None if first is None else _limit(first, value, first.reading)


def _limit(figure: FigureToFill, value: RecordedValue | CalculatedValue, reading: str) -> AskedFigure:
    fields: dict[str, str | int | bool] = {"name": figure.name}
    if reading:
        fields["reading"] = reading
    if figure.what == "used":
        fields["used"] = True
    if figure.what == "further":
        fields["further"] = figure.number
    title = f"{_title(value)}{f', {reading}' if reading else ''}: {figure.limit_words}"
    example = "0.10 .. 0.28 mm" if value.dimension == "length" else f"at most {EXAMPLES.get(value.dimension, '3')}"
    own = value.also[figure.number - 1].source if figure.what == "further" and isinstance(value, RecordedValue) else ""
    return AskedFigure(title, f"Limit with its unit, such as {example}", fields, source=own or value.source)


def _title(value: RecordedValue | CalculatedValue) -> str:
    return (value.ask if isinstance(value, RecordedValue) else value.title) or value.name


def asked_of_joint(state: State, step: Step, progress: JointProgress) -> AskedFigure | None:
    """The figure that a joint waits for: a text of it, the range of its wrench, or that of its current stage."""
    joint: Joint = progress.joint
    text = next(_asked_texts(joint), None)
    if text is not None:
        return text
    wrench = None if step.operation.tighten is None else step.operation.tighten.instrument
    found = _first_range(state, () if wrench is None else (wrench,)) or asked_of_uses(state, step)
    if found is not None:
        return found
    stage = progress.current_stage
    if not isinstance(stage, OpenStage) or not stage.asked or progress.seating_open or progress.out:
        return None
    question = "Torque with its unit, or a limit" if stage.what == "torque" else "Angle, such as 90°, or a limit"
    of_all = "" if step.operation.tighten is None else step.operation.tighten.source
    return AskedFigure(f"{joint.title or joint.id}, stage {progress.stage_number}", question,
                       {"joint": joint.id, "stage": progress.stage_number},
                       source=stage.source or of_all or joint.source)  # fmt: skip


def asked_time(state: State, step: Step) -> AskedFigure | None:
    """The time that an operation waits for before it can be started; ``None`` if it waits for none."""
    for operation, since in state.plan.times_to_fill:
        if step.operation.id in (operation, since):
            by_id = state.plan.procedure.operations_by_id
            title = f"Time from “{by_id[since].title}” to “{by_id[operation].title}”"
            source = next((one.source for one in by_id[operation].time if one.operation.name == since), "")
            fields: dict[str, str | int | bool] = {"operation": operation, "since": since}
            return AskedFigure(title, "Time, such as at most 10 min", fields, source=source)
    return None


def asked_ahead(state: State, step: Step) -> Iterator[AskedFigure]:
    """The figures that can be given before ``step`` is started, in the order in which the bench asks for them.

    The figure of a stage is not among them: it can only be given when its operation is in progress.
    """
    time = asked_time(state, step)
    if time is not None:
        yield time
    for value in values_of(step.operation):
        yield from (_limit(one, value, one.reading) for one in limits_needed(value))
    if step.operation.tighten is not None:
        yield from _asked_texts(state.plan.procedure.joints_by_id[step.operation.tighten.joint])
    ranges = (_first_range(state, (name,)) for name in dict.fromkeys(instrument_names(step.operation)))
    yield from (one for one in ranges if one is not None)


def _asked_texts(joint: Joint) -> Iterator[AskedFigure]:
    """The texts of a joint that are not given yet."""
    for key, what in JOINT_TEXTS.items():
        if key in joint.asked:
            title = f"{joint.title or joint.id}: {what}"
            yield AskedFigure(title, _JOINT_QUESTIONS[key], {"joint": joint.id}, key, joint.source)


def asked_before_window(state: State, step: Step) -> AskedFigure | None:
    """The figure to give before ``step`` is started, because a later operation needs it while a time runs.

    ``None`` if there is none. The torque of a stage can only be given when its operation is in progress.
    """
    later_ones = (later for later, _ in _steps_in_time_of(state, step))
    return next((one for later in later_ones for one in asked_ahead(state, later) if not one.is_time), None)


def window_notices(state: State, step: Step) -> Iterator[Caution]:
    """A notice for each operation that has to be finished within a time of ``step`` and still waits for figures."""
    for later, text in _steps_in_time_of(state, step):
        figures = list(_open_figures(state, later))
        if figures:
            after = f"“{later.operation.title}” ({text} after this step)"
            yield Caution("notice", f"{after} waits for figures. Get them before you begin: {'; '.join(figures)}.")


def _steps_in_time_of(state: State, step: Step) -> Iterator[tuple[Step, str]]:
    """The steps that must be finished within a time of ``step``, each with the time. None if ``step`` is done."""
    if step.id in state.done:
        return
    for later in state.plan.steps.values():
        windows = [one for one in later.operation.time if one.operation.name == step.id]
        window = next((one for one in windows if one.high is not None and base(one.high) <= SHORT_TIME), None)
        if window is not None and later.id not in state.done and not later.operation.when:
            yield later, window.text


def _open_figures(state: State, step: Step) -> Iterator[str]:
    """The figures that an operation waits for, in words, those of its stages last."""
    yield from (one.title for one in asked_ahead(state, step) if not one.is_time)
    tighten = step.operation.tighten
    if tighten is None:
        return
    joint, given = state.plan.procedure.joints_by_id[tighten.joint], state.work(step.id).figures
    for number, stage in enumerate(tighten.stages, 1):
        if isinstance(stage, OpenStage) and stage.asked and number not in given:
            yield f"{joint.title or joint.id}, stage {number}"
