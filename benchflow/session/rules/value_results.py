"""The verdicts of an operation one by one, each with the entries that it follows from.

A value whose readings are judged one by one has a result for each reading. A value with one figure (the mean of its
readings, say) has one result, and so has a calculated value.
"""

from collections.abc import Iterator
from typing import NamedTuple

from msgspec import Struct

from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import AboveReading, Bound, CalculatedValue, RecordedValue, values_of
from benchflow.procedure.plan import Step
from benchflow.session.rules.calculated_values import judged_results, unmatched_calculations
from benchflow.session.rules.deviation_subjects import covering_deviation
from benchflow.session.rules.evaluated_values import result_slots
from benchflow.session.rules.measurements import last_attempts
from benchflow.session.rules.verdicts import ValueVerdict, judge_value, judged_singly, limit_in_force, reading_verdicts
from benchflow.session.state.state import Deviation, State
from benchflow.trade.verdict import OUT_OF_LIMIT

WHOLE = ""
"""The slot of a result that is not the verdict on a single reading."""


class ReadingRef(NamedTuple):
    """One reading of one recorded value, in the step where it is recorded."""

    step: str
    name: str
    slot: str


class ValueResult(Struct, frozen=True):
    """The verdict on one reading, on the figure of all readings of a value, or on a calculated value.

    ``slot`` is the reading, or :data:`WHOLE`. ``subject`` is the result as text, as a formula names it: ``gap``,
    ``gap[2]``, ``gap[left, 2]``. ``readings`` are the readings that it follows from, in any step, and ``entries`` the
    ``seq`` of their last attempts and of what its limit depends on. ``limit_readings`` are the readings that its limit
    depends on (``above x by``). ``waived`` is the deviation that covers it. ``limit`` is the number of the further
    limit (`also`) that it was compared with, from 1; 0 for the main limit.
    """

    name: str
    slot: str
    subject: str
    verdict: ValueVerdict
    readings: tuple[ReadingRef, ...]
    limit_readings: tuple[ReadingRef, ...]
    entries: frozenset[int]
    waived: Deviation | None
    limit: int = 0

    @property
    def held(self) -> tuple[ReadingRef, ...]:
        """The readings that count again only after a remedy: its own, and those that its limit depends on."""
        return (*self.readings, *self.limit_readings)

    @property
    def out(self) -> bool:
        """True if the value is out of its limit and no deviation covers it."""
        return self.waived is None and self.verdict.verdict in OUT_OF_LIMIT

    @property
    def open(self) -> bool:
        """True if the value is out of its limit or not proven, and no deviation covers it."""
        return self.waived is None and self.verdict.verdict in (*OUT_OF_LIMIT, "not-proven")


def reading_subject(name: str, slot: str) -> str:
    """One reading as a formula names it: ``gap[2]``, and ``gap[left, 2]`` for a value of a repeated operation.

    It is the plain name for :data:`WHOLE`.
    """
    if slot == WHOLE:
        return name
    ref = ValueRef.parse(name)
    return f"{name}[{slot}]" if ref.place is None else f"{ref.name}[{ref.place}, {slot}]"


def value_results(state: State, step: Step) -> tuple[ValueResult, ...]:
    """Every result of ``step`` that has a verdict now: the recorded values, then the calculated ones."""
    found: list[ValueResult] = []
    for record in step.operation.record:
        found += recorded_results(state, step, record)
    for work in unmatched_calculations(step):
        found += calculated_results(state, step, work)
    return tuple(found)


def results_of(state: State, step: Step, name: str) -> tuple[ValueResult, ...]:
    """The results of the value ``name`` of ``step``; empty if it has none yet, or if there is no such value."""
    record, work = step.record(name), step.work_out(name)
    if record is not None:
        return recorded_results(state, step, record)
    return () if work is None else calculated_results(state, step, work)


def recorded_results(state: State, step: Step, record: RecordedValue) -> tuple[ValueResult, ...]:
    """For each limit: one result for each reading that is entered, or one for all together when none is missing.

    The main limit comes first, then the further ones in their order.
    """
    results = [_results_by(state, step, one, number) for number, one in enumerate(record.by_limit)]
    return tuple(result for found in results for result in found)


def _results_by(state: State, step: Step, record: RecordedValue, number: int) -> tuple[ValueResult, ...]:
    attempts = last_attempts(state, step.id, record.name)
    found: list[tuple[str, ValueVerdict, tuple[ReadingRef, ...]]] = []
    if judged_singly(record, limit_in_force(state, step.id, record)):
        for slot, verdict in reading_verdicts(state, step.id, record).items():
            found.append((slot, verdict, (ReadingRef(step.id, record.name, slot),)))
    elif all(slot in attempts for slot in record.slots):
        readings = tuple(ReadingRef(step.id, record.name, slot) for slot in record.slots)
        found.append((WHOLE, judge_value(state, step.id, record), readings))
    return tuple(
        _result(
            state, step, record.name, slot, record_subject(record, slot), verdict, readings,
            limit_in_force(state, step.id, record, slot), number,
        )
        for slot, verdict, readings in found
    )  # fmt: skip


def record_subject(record: RecordedValue, slot: str) -> str:
    """The subject of a result of ``record``: the plain name if it has only one reading."""
    return reading_subject(record.name, WHOLE if len(record.slots) == 1 else slot)


def calculated_results(state: State, step: Step, work: CalculatedValue) -> tuple[ValueResult, ...]:
    """The results of a calculated value, one for each reading; empty while one of its inputs is missing."""
    results = judged_results(state, step, work).results
    several = len(result_slots(state.plan, work)) > 1
    found = []
    for slot, result in results.items():
        own_slot = slot if several else WHOLE
        readings = tuple(dict.fromkeys(input_readings(state, work, own_slot)))
        subject = reading_subject(work.name, own_slot)
        bound = work.at(slot).bound
        found.append(_result(state, step, work.name, own_slot, subject, result.verdict, readings, bound))
    return tuple(found)


def _input_readings_of_limit(state: State, bound: Bound | None) -> tuple[ReadingRef, ...]:
    """The readings that a limit depends on: those of the earlier value of ``above x by``."""
    if not isinstance(bound, AboveReading):
        return ()
    return tuple(dict.fromkeys(readings_named(state, state.plan.ref(bound.name))))


def _result(
    state: State,
    step: Step,
    name: str,
    slot: str,
    subject: str,
    verdict: ValueVerdict,
    readings: tuple[ReadingRef, ...],
    bound: Bound | None,
    number: int = 0,
) -> ValueResult:
    limit_readings = _input_readings_of_limit(state, bound)
    entries = entries_of(state, (*readings, *limit_readings))
    waived = covering_deviation(state.work(step.id), (subject, name), entries)
    return ValueResult(name, slot, subject, verdict, readings, limit_readings, entries, waived, number)


def entries_of(state: State, readings: tuple[ReadingRef, ...]) -> frozenset[int]:
    """The ``seq`` of the last attempt at each of these readings. Missing readings are left out."""
    found = (state.work(step).readings.get(name, {}).get(slot) for step, name, slot in readings)
    return frozenset(attempts[-1].seq for attempts in found if attempts)


def inputs_missing(state: State, step: Step, name: str) -> tuple[ReadingRef, ...]:
    """The readings that the value ``name`` of ``step`` depends on and that are not entered."""
    record, work = step.record(name), step.work_out(name)
    if record is not None:
        needed = [ReadingRef(step.id, name, slot) for slot in record.slots]
    else:
        needed = [] if work is None else list(dict.fromkeys(input_readings(state, work)))
    return tuple(ref for ref in needed if not state.work(ref.step).readings.get(ref.name, {}).get(ref.slot))


def input_readings(state: State, work: CalculatedValue, slot: str = WHOLE) -> Iterator[ReadingRef]:
    """The readings, of any step, that a value is calculated from, directly or through other calculated values.

    ``slot`` limits them to those of one result, for a value that is calculated reading by reading.
    """
    from benchflow.procedure.formula import present_names  # late import: most entries need no formula

    slots = result_slots(state.plan, work)
    for one in (slot,) if slot in slots else slots:
        for name in present_names(state.plan.formula(work, one if len(slots) > 1 else None)):
            for ref in state.plan.refs(ValueRef(name.name, name.place, name.reading)):
                yield from readings_named(state, ref)


def readings_named(state: State, ref: ValueRef) -> tuple[ReadingRef, ...]:
    """The readings that a value follows from: its own, or those that it is calculated from."""
    name = str(ValueRef(ref.name, ref.place))
    recorded, calculated = state.plan.record(name), state.plan.work_out(name)
    if recorded is not None:
        slots = recorded.record.slots if ref.reading is None else (ref.reading,)
        return tuple(ReadingRef(recorded.step.id, name, slot) for slot in slots)
    if calculated is None:
        return ()
    return tuple(input_readings(state, calculated.work_out, ref.reading or WHOLE))


def named_value(state: State, step: Step, text: str) -> tuple[str, str | None] | None:
    """The value of ``step`` that ``text`` names as a formula does, and the slot if it names one reading.

    ``gap`` is the value, at the place of the step if it is repeated; ``gap[2]`` and ``gap[left, 2]`` are readings. The
    result is ``None`` if there is no such value, or if ``[2]`` could be both a place and a reading.
    """
    names = [value.name for value in values_of(step.operation)]
    for candidate in (text, str(ValueRef(text, step.place))):
        if candidate in names:
            return candidate, None
    asked = ValueRef.parse(text)
    if not asked.indexes:
        return None
    *at_place, slot = asked.indexes
    places = state.plan.procedure.places.get(step.operation.each or "", ())
    for value in values_of(step.operation):
        own = ValueRef.parse(value.name)
        slots = value.slots if isinstance(value, RecordedValue) else result_slots(state.plan, value)
        if own.name != asked.name or slot not in slots:
            continue
        if at_place == [own.place] or (not at_place and (own.place is None or slot not in places)):
            return value.name, slot
    return None
