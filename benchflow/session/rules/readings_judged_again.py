"""Judges readings again when the limit that was given at the bench is corrected."""

from collections.abc import Iterator

from benchflow.procedure.model import RecordedValue, written_limit
from benchflow.procedure.plan import Step
from benchflow.session.context import Context, Entry
from benchflow.session.rules.measurements import from_stored, reading_measurement
from benchflow.session.rules.state_after import state_after
from benchflow.session.rules.verdicts import judge_reading
from benchflow.session.state import events as ev
from benchflow.session.state.filled_figures import mark_of, steps_with
from benchflow.session.state.state import Attempt, State
from benchflow.trade.verdict import Verdict


def with_readings_judged_again(state: State, entries: tuple[Entry, ...], context: Context) -> tuple[Entry, ...]:
    """``entries``, and one more for each value whose readings have another verdict by a limit that they correct."""
    corrected = [entry for entry in entries if isinstance(entry.event, ev.EntryCorrected)]
    found: list[Entry] = []
    for entry in corrected:
        assert isinstance(entry.event, ev.EntryCorrected)
        wrong = state.correctable.get(entry.event.event)
        if wrong is None or wrong.kind != "filled":
            continue
        after = state_after(state, entries, context)
        for step in steps_with(after.plan, mark_of(wrong.reading)):
            found += [Entry(entry.by, event) for event in _judged_again(after, step)]
    return (*entries, *found)


def _judged_again(state: State, step: Step) -> Iterator[ev.ReadingsJudgedAgain]:
    for record in step.operation.record:
        verdicts: dict[str, Verdict] = {}
        for slot, attempts in state.work(step.id).readings.get(record.name, {}).items():
            for attempt in attempts:
                verdict = _verdict(state, record.at(slot), attempt)
                if verdict != attempt.verdict:
                    verdicts[str(attempt.seq)] = verdict
        if verdicts:
            yield ev.ReadingsJudgedAgain(step.id, record.name, written_limit(record), verdicts)


def _verdict(state: State, record: RecordedValue, attempt: Attempt) -> Verdict:
    u = None if attempt.uncertainty is None else from_stored(attempt.uncertainty)
    quantity = from_stored(attempt.quantity)
    measured = reading_measurement(record, quantity, u, attempt.instrument, shares=attempt.tools)
    judged = judge_reading(state, record, measured, attempt.used)
    return "none" if judged is None else judged.verdict
