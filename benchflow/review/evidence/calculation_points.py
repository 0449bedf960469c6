"""Weak points between values: a measurement that contradicts a calculation, and instruments that do not go together."""

import re
from collections.abc import Iterable, Iterator
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from benchflow.ordering.wording import in_a_sentence
from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import AboveReading, EqualWithin, RecordedValue
from benchflow.procedure.plan import Step
from benchflow.quantity import show_short
from benchflow.quantity.arithmetic import from_base
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.formatting import shown_reading
from benchflow.review.log.facts import ReadingFact
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.log.reading_values import Value
from benchflow.session.rules.value_results import ReadingRef, input_readings, readings_named

if TYPE_CHECKING:
    from benchflow.session.rules.part_matching import FittedPart

LEAST_DIFFERENCE = 0.05
"""A measurement that is nearer to the calculated value than this part of the band agrees with it."""

_DIFFERENCE = re.compile(r"\s-\s|\b(?:spread|min|max)\s*\(")
"""What makes the zero error of one instrument cancel in a formula: a minus between values, or a comparison."""


def calculation_points(log: LoadedLog, step: Step, values: tuple[Value, ...]) -> Iterator[WeakPoint]:
    """The weak points between the values of ``step`` and others."""
    for value in values:
        record = step.record(value.name)
        if record is not None and not value.further:
            yield from _contradictions(log, step, record, value)
            if isinstance(record.bound, EqualWithin | AboveReading) or record.judge == "spread":
                compared = (*value.readings, *_readings_of_limit(log, record))
                yield from _mixed_instruments(log, value.ask, value.name, compared)
    for work in step.operation.work_out:
        if _DIFFERENCE.search(work.formula):
            readings = _facts_of(log, input_readings(log.state, work))
            yield from _mixed_instruments(log, work.title or work.formula, work.name, readings)


# --- calculated beforehand -----------------------------------------------------------------------------


def _contradictions(log: LoadedLog, step: Step, record: RecordedValue, value: Value) -> Iterator[WeakPoint]:
    low, high = value.band.low, value.band.high
    if low is None or high is None or high <= low:
        return
    for reading in value.readings:
        for title, part, forecast in _forecasts(log, step, record, value, reading):
            exact = Fraction(Decimal(reading.value)) - from_base(forecast.exact, value.unit)
            size = float(abs(exact) / Fraction(high - low))
            if size >= LEAST_DIFFERENCE:
                slot = f" ({reading.slot})" if len(value.readings) > 1 else ""
                words = (
                    f"{value.ask}{slot} is {shown_reading(reading)}, but {show_short(forecast.value)} was calculated "
                    f"for it ({title}, {part}); the difference is {size:.0%} of the band {value.limit}"
                )
                yield WeakPoint("contradicts-calculation", words.replace("%", " %"), reading.seq, value.name, size)


def _forecasts(
    log: LoadedLog, step: Step, record: RecordedValue, value: Value, reading: ReadingFact
) -> Iterator[tuple[str, str, "FittedPart"]]:
    """What was calculated for the quantity of a reading: the title, the chosen part, and the value with it.

    A matching of another step predicts a value with the same places, unit and limit: the lash calculated with the
    chosen shims has the limit of the lash that is measured with them.
    """
    for other in log.plan.steps.values():
        for match in other.operation.match if other.id != step.id else ():
            work = other.work_out(match.so_that)
            same = record.slots == log.procedure.places.get(match.to, ()) and match.limit.text == value.limit
            part = log.state.work(other.id).chosen.get(str(ValueRef(match.name, reading.slot)))
            if work is None or not same or work.unit != value.unit or part is None:
                continue
            if log.state.work(other.id).choice_seqs.get(str(ValueRef(match.name, reading.slot)), 0) > reading.seq:
                continue  # chosen after the reading
            from benchflow.session.rules.part_matching import fitted_part, part_measurements, size_measurement

            size = size_measurement(part_measurements(log.state, match) or {}, part)
            found = None if size is None else fitted_part(log.state, other, match, reading.slot, size)
            if found is not None:
                yield in_a_sentence(work.title or work.formula), part, found


# --- instruments that do not go together ----------------------------------------------------------------


def _facts_of(log: LoadedLog, refs: Iterable[ReadingRef]) -> list[ReadingFact]:
    wanted = set(refs)
    return [
        fact for fact in log.facts.readings
        if fact.in_force and ReadingRef(fact.operation, fact.name, fact.slot) in wanted
    ]  # fmt: skip


def _readings_of_limit(log: LoadedLog, record: RecordedValue) -> list[ReadingFact]:
    """The readings of the earlier value that a limit ``above x by`` refers to."""
    if not isinstance(record.bound, AboveReading):
        return []
    return _facts_of(log, readings_named(log.state, log.plan.ref(record.bound.name)))


def _mixed_instruments(log: LoadedLog, title: str, name: str, readings: Iterable[ReadingFact]) -> Iterator[WeakPoint]:
    """One point if readings that the procedure asks to take with one instrument were taken with several of its kind."""
    serials: dict[str, dict[str, int]] = {}
    for reading in readings:
        for serial, need in reading.tools:
            if serial:
                serials.setdefault(need, {}).setdefault(serial, reading.seq)
    for need, used in serials.items():
        if len(used) > 1:
            found = log.procedure.instruments_by_id.get(need)
            tool = found.title or need if found is not None else need
            number = "two" if len(used) == 2 else len(used)
            words = f"{title}: its readings were taken with {number} instruments ({tool} {' and '.join(used)})"
            yield WeakPoint("two-instruments", words, max(used.values()), name)
