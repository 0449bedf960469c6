"""Judges readings again when the limit that was given at the bench is corrected."""

from collections.abc import Iterator

from benchflow.procedure.model import Bound, EqualWithin, Fixed, Mark, RecordedValue
from benchflow.procedure.plan import Step
from benchflow.session.context import Context, Entry
from benchflow.session.rules.measurements import from_stored, last_attempts, reading_measurement
from benchflow.session.rules.state_after import state_after
from benchflow.session.rules.verdicts import (
    bound_in_force,
    judge_reading,
    judge_value,
    judged_singly,
    limit_in_force,
)
from benchflow.session.state import events as ev
from benchflow.session.state.filled_figures import mark_of, steps_with
from benchflow.session.state.state import Attempt, State
from benchflow.trade.verdict import Verdict


def with_readings_judged_again(state: State, entries: tuple[Entry, ...], context: Context) -> tuple[Entry, ...]:
    """``entries``, and one more for each limit that they correct and that readings were judged by."""
    corrected = [entry for entry in entries if isinstance(entry.event, ev.EntryCorrected)]
    found: list[Entry] = []
    for entry in corrected:
        assert isinstance(entry.event, ev.EntryCorrected)
        wrong = state.correctable.get(entry.event.event)
        if wrong is None or wrong.kind != "filled" or not entry.event.figure:
            continue
        after, mark = state_after(state, entries, context), mark_of(wrong.reading)
        for step in steps_with(after.plan, mark):
            found += [Entry(entry.by, event) for event in _judged_again(after, step, mark)]
    return (*entries, *found)


def _judged_again(state: State, step: Step, mark: Mark) -> Iterator[ev.ReadingsJudgedAgain]:
    for record in step.operation.record:
        for number, one in enumerate(record.by_limit):
            yield from _judged_singly_again(state, step, one, number, mark)
            yield from _judged_together_again(state, step, one, number, mark)


def _judged_singly_again(
    state: State, step: Step, record: RecordedValue, number: int, mark: Mark
) -> Iterator[ev.ReadingsJudgedAgain]:
    """An event for the readings that are each judged by the limit at ``mark``, with every attempt at them."""
    verdicts: dict[str, Verdict] = {}
    limit = ""
    for slot, attempts in state.work(step.id).readings.get(record.name, {}).items():
        own = record.at(slot)
        for attempt in attempts:
            bound = bound_in_force(own, attempt.used)
            if _is_at(bound, mark) and judged_singly(own, bound):
                assert bound is not None  # it is at the mark
                limit, verdicts[str(attempt.seq)] = bound.text, _verdict(state, own, attempt)
    if verdicts:
        yield ev.ReadingsJudgedAgain(step.id, record.name, limit, verdicts, number)


def _judged_together_again(
    state: State, step: Step, record: RecordedValue, number: int, mark: Mark
) -> Iterator[ev.ReadingsJudgedAgain]:
    """An event for the readings whose statistic is judged by the limit at ``mark``, if all are there."""
    bound = limit_in_force(state, step.id, record)
    if bound is None or not _is_at(bound, mark) or judged_singly(record, bound):
        return
    verdict = judge_value(state, step.id, record)
    if verdict.verdict != "none":
        attempts = last_attempts(state, step.id, record.name).values()
        verdicts: dict[str, Verdict] = {str(attempt.seq): verdict.verdict for attempt in attempts}
        yield ev.ReadingsJudgedAgain(step.id, record.name, bound.text, verdicts, number, together=True)


def _is_at(bound: Bound | None, mark: Mark) -> bool:
    """True if a limit was given at the bench for this place of the procedure."""
    return isinstance(bound, Fixed | EqualWithin) and bound.given is not None and bound.given.mark == mark


def _verdict(state: State, record: RecordedValue, attempt: Attempt) -> Verdict:
    u = None if attempt.uncertainty is None else from_stored(attempt.uncertainty)
    quantity = from_stored(attempt.quantity)
    measured = reading_measurement(record, quantity, u, attempt.instrument, shares=attempt.tools)
    judged = judge_reading(state, record, measured, attempt.used)
    return "none" if judged is None else judged.verdict
