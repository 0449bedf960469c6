"""The figures that the procedure asks for (`ask`) and that nobody has given yet: what has to wait for each of them."""

from collections.abc import Iterable, Iterator

from benchflow.procedure.figures_to_fill import FigureToFill, asked_limits
from benchflow.procedure.model import AskedLimit, CalculatedValue, Joint, RecordedValue, bounds_of
from benchflow.procedure.plan import Step
from benchflow.session.refusal import Reason
from benchflow.session.rules.verdicts import bound_in_force
from benchflow.session.state.state import State

JOINT_TEXTS = {"layout": "tightening order", "thread": "thread", "class": "property class", "lubricant": "lubricant"}
"""What a joint may wait for, by the key that asks for it, in the order in which the bench asks."""


def reading_figure_missing(state: State, step: Step, record: RecordedValue, *, used: bool) -> Reason | None:
    """The reason that a reading cannot be entered yet: a limit that applies to it is not given, or a range."""
    applies = figures_applying(record, used=used)
    if applies:
        return limit_missing(step, record, applies[0])
    return _first_range_missing(state, step, record.instruments) or used_range_missing(state, step)


def figures_applying(record: RecordedValue, *, used: bool) -> list[FigureToFill]:
    """The limits of a reading that are not given yet and apply to it: the main one, or that for used parts, first."""
    asked = list(asked_limits(record))
    in_force = bound_in_force(record, used)
    applies = [one for one in asked if one.what == "further"]
    if in_force is None and record.used_by_option is None:
        in_force = record.used  # without a limit for new parts, the finish needs the one for used parts
    if isinstance(in_force, AskedLimit):
        applies.insert(0, next(one for one in asked if one.mark == in_force.mark))
    return applies


def limit_missing(step: Step, value: RecordedValue | CalculatedValue, figure: FigureToFill) -> Reason:
    """The reason that a limit of a value is not given yet."""
    ask = value.ask if isinstance(value, RecordedValue) else value.title
    then = ", then measure" if isinstance(value, RecordedValue) else ""
    message = (
        f"The {figure.limit_words} of {ask or value.name} is to be filled in. Give the figure with its source{then}"
    )
    return Reason("value-missing", message, operation=step.id, name=value.name)


def used_range_missing(state: State, step: Step) -> Reason | None:
    """The reason that nothing can be entered in an operation yet: an instrument under its `uses` has no range."""
    return _first_range_missing(state, step, (ref.name for ref in step.operation.uses))


def _first_range_missing(state: State, step: Step, instruments: Iterable[str]) -> Reason | None:
    return next(filter(None, (_range_missing(state, step, name) for name in instruments)), None)


def _range_missing(state: State, step: Step, instrument: str) -> Reason | None:
    need = state.plan.procedure.instruments_by_id.get(instrument)
    if need is None or need.asked is None:
        return None
    message = f"The range that {need.title or need.id} needs is to be filled in. Give the figure with its source"
    return Reason("value-missing", message, operation=step.id, name=need.id)


def joint_figure_missing(state: State, step: Step, joint: Joint) -> Reason | None:
    """The reason that a joint cannot be tightened yet: a text of it is not given, or the range of an instrument."""
    if joint.asked:
        what = next(JOINT_TEXTS[key] for key in JOINT_TEXTS if key in joint.asked)
        message = (
            f"The {what} of {joint.title or joint.id} is to be filled in. Give the figure with its source, then tighten"
        )
        return Reason("value-missing", message, operation=step.id, name=joint.id)
    tighten = step.operation.tighten
    wrench = () if tighten is None or tighten.instrument is None else (tighten.instrument,)
    return _first_range_missing(state, step, wrench) or used_range_missing(state, step)


def time_figure_reasons(state: State, step: Step) -> Iterator[Reason]:
    """A reason for each time that is not given yet and that ``step`` begins or ends. It cannot be started before."""
    plan = state.plan
    for operation, since in plan.times_to_fill:
        if step.operation.id not in (operation, since):
            continue
        title, before = (plan.procedure.operations_by_id[name].title for name in (operation, since))
        message = (
            f"The time of “{title}” since “{before}” is to be filled in. Give the figure with its source "
            "before either of them is started"
        )
        yield Reason("value-missing", message, operation=step.id, name=operation)


def value_figure_reasons(state: State, step: Step, value: RecordedValue | CalculatedValue) -> Iterator[Reason]:
    """A reason for each limit of a value that is not given yet and could apply. Nothing is within such a limit."""
    if isinstance(value, CalculatedValue) and not any(isinstance(bound, AskedLimit) for bound in bounds_of(value)):
        return
    for one in limits_needed(value):
        yield limit_missing(step, value, one)


def limits_needed(value: RecordedValue | CalculatedValue) -> Iterator[FigureToFill]:
    """The limits of a value that are not given yet and could apply to any reading, whether its part is used or not."""
    asked = dict.fromkeys(asked_limits(value))
    if not isinstance(value, RecordedValue):
        yield from asked
        return
    used = value.used_by_option
    yield from (one for one in asked if one.what != "used" or used or (used is None and value.bound is None))
