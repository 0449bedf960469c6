"""Fold of the figures that the procedure asks for (`ask`): the plan has them as if the author had written them."""

from msgspec.structs import replace

from benchflow.procedure.expand import expand
from benchflow.procedure.figures_to_fill import FilledFigure, with_figures
from benchflow.procedure.model import CalculatedValue, EqualWithin, Fixed, Mark, RecordedValue, bounds_of, values_of
from benchflow.procedure.plan import Plan, Step
from benchflow.session.log.line_format import Line
from benchflow.session.state import events as ev
from benchflow.session.state.state import EntryRef, GivenFigure, State
from benchflow.session.state.state_changes import with_correctable, with_entry, with_work, without_deviations_for

FilledValue = RecordedValue | CalculatedValue


def fold_filled_in(state: State, event: ev.FigureGiven, line: Line) -> State:
    """Return the state after a figure of anything but a stage was given."""
    if event.asked_at is None:
        return state
    mark = Mark(*event.asked_at)
    given = GivenFigure(line.seq, event.figure, event.source)
    state = _without_deviations_by(_with_filled(state, mark, given), mark)
    entry = EntryRef(event.operation, event.name, "filled", mark_text(mark))
    return with_correctable(state, line.seq, entry)


def fold_filled_corrected(state: State, entry: EntryRef, event: ev.EntryCorrected, line: Line) -> State:
    """Return the state with the correct figure, or its source. ``event.event`` is the wrong entry.

    Deviations from a limit stay if only its source was wrong.
    """
    mark = mark_of(entry.reading)
    given = state.filled.get(mark)
    if given is None or given.seq != event.event or not (event.figure or event.source):
        return state
    state = _with_filled(state, mark, as_corrected(given, event, line))
    if event.figure:
        state = _without_deviations_by(state, mark)
    for step in steps_with(state.plan, mark):
        if state.work(step.id).touched:
            state = with_entry(state, step.id, line.by)
    return with_correctable(state, line.seq, entry)


def as_corrected(given: GivenFigure, event: ev.EntryCorrected, line: Line) -> GivenFigure:
    """A figure with what its correction ``line`` puts right: its text, its source, or both."""
    return GivenFigure(line.seq, event.figure or given.figure, event.source or given.source)


def fold_readings_judged_again(state: State, event: ev.ReadingsJudgedAgain) -> State:
    """Return the state with the new verdicts of readings. Deviations that covered one of them lapse."""
    work = state.work(event.operation)
    seqs = {int(seq) for seq in event.verdicts}
    if event.further or event.together:  # such a verdict is not kept with the reading
        return without_deviations_for(state, seqs)
    slots = {
        slot: tuple(replace(one, verdict=event.verdicts.get(str(one.seq), one.verdict)) for one in attempts)
        for slot, attempts in work.readings.get(event.name, {}).items()
    }
    state = with_work(state, event.operation, replace(work, readings={**work.readings, event.name: slots}))
    return without_deviations_for(state, seqs)


def _with_filled(state: State, mark: Mark, given: GivenFigure) -> State:
    filled = {**state.filled, mark: given}
    written = state.as_written or state.plan.procedure
    figures = {at: FilledFigure(one.figure, one.source) for at, one in filled.items()}
    plan = expand(with_figures(written, figures), state.plan.options, state.plan.findings)
    return replace(state, filled=filled, as_written=written, plan=plan)


def _without_deviations_by(state: State, mark: Mark) -> State:
    """Return the state without the deviations from the limit at ``mark``: they were signed for another one, or none."""
    for step in steps_with(state.plan, mark):
        work = state.work(step.id)
        names = {value.name for value in values_of(step.operation) if is_filled_at(value, mark)}
        lapsing = {
            about: each for about, each in work.deviations.items() if any(_is_of_value(about, name) for name in names)
        }
        if lapsing:
            kept = {about: each for about, each in work.deviations.items() if about not in lapsing}
            state = with_work(state, step.id, replace(work, deviations=kept, lapsed={**work.lapsed, **lapsing}))
    return state


def _is_of_value(subject: str, name: str) -> bool:
    """True if the subject of a deviation is a value or one of its readings: ``gap[2]``, or ``gap[left, 2]``."""
    return subject == name or subject.startswith(f"{name[:-1]}, " if name.endswith("]") else f"{name}[")


def mark_text(mark: Mark) -> str:
    """A place in the procedure as text: ``210:14``."""
    return f"{mark.line}:{mark.column}"


def mark_of(text: str) -> Mark:
    """The place that :func:`mark_text` has made a text of."""
    line, _, column = text.partition(":")
    return Mark(int(line), int(column))


def steps_with(plan: Plan, mark: Mark) -> tuple[Step, ...]:
    """The steps with a value whose limit was filled in at this place of the procedure."""
    return tuple(
        step for step in plan.steps.values() if any(is_filled_at(value, mark) for value in values_of(step.operation))
    )


def is_filled_at(value: FilledValue, mark: Mark) -> bool:
    """True if a limit of the value was filled in at this place of the procedure."""
    bounds = [*bounds_of(value), *(one.bound for one in (value.also if isinstance(value, RecordedValue) else ()))]
    return any(
        isinstance(bound, Fixed | EqualWithin) and bound.given is not None and bound.given.mark == mark
        for bound in bounds
    )
