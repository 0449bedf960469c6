"""Calculates values from the present readings. The result is logged with each entry that can change it."""

from collections.abc import Mapping

from msgspec import Struct

from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import AboveReading, CalculatedValue, bounds_of
from benchflow.procedure.plan import Plan, Step
from benchflow.quantity import Quantity
from benchflow.quantity.arithmetic import decimal, from_base
from benchflow.quantity.shown import show_short
from benchflow.session.context import Context, Entry
from benchflow.session.rules.evaluated_values import EvaluatedValue, NoResult, evaluate_value, result_slots
from benchflow.session.rules.measurements import Measurement
from benchflow.session.rules.state_after import state_after
from benchflow.session.rules.verdicts import ValueVerdict, judge_measurement, to_stored, value_verdict, worst_verdict
from benchflow.session.state import events as ev
from benchflow.session.state.state import State
from benchflow.trade.verdict import OUT_OF_LIMIT


class JudgedCalculation(Struct, frozen=True):
    """A calculated value, or its result for one reading, and the verdict on it.

    ``verdict.value`` is the result and ``filled`` the formula with its numbers. ``uncertainty`` is the standard
    uncertainty of the result to first order; ``None`` if that of an input is not known.
    """

    verdict: ValueVerdict
    filled: str
    uncertainty: Quantity | None
    difference: bool = False  # true for a difference of temperatures


class JudgedResults(Struct, frozen=True):
    """The results of a calculated value by reading, and the reason why the first of the others has none."""

    results: dict[str, JudgedCalculation]
    missing: NoResult | None


def unmatched_calculations(step: Step) -> tuple[CalculatedValue, ...]:
    """The calculated values of a step, except those that a part matching uses.

    :mod:`benchflow.session.rules.part_matching` calculates and judges the others, for each place and its part.
    """
    matched = {match.so_that for match in step.operation.match}
    return tuple(work for work in step.operation.work_out if work.name not in matched)


def calculate(
    state: State, step: Step, work: CalculatedValue, assumed: Mapping[str, Measurement] | None = None
) -> JudgedCalculation | None:
    """The calculated value with its verdict: the worst of its results.

    ``None`` if a result is missing, unless another one is out of the limit.

    ``assumed`` replaces inputs by name, such as the size of a part that is not chosen yet.
    """
    judged = judged_results(state, step, work, assumed)
    results = tuple(judged.results.values())
    worst = worst_verdict([result.verdict for result in results])
    if worst is None or (judged.missing is not None and worst.verdict not in OUT_OF_LIMIT):
        return None
    return next(result for result in results if result.verdict is worst)


def judged_results(
    state: State, step: Step, work: CalculatedValue, assumed: Mapping[str, Measurement] | None = None
) -> JudgedResults:
    """The results of a calculated value by reading, each with its verdict.

    A value that is calculated once has the reading ``"1"``.
    """
    found = evaluate_value(state, step, work, assumed)
    results = {slot: _judge_result(state, work.at(slot), result) for slot, result in found.results.items()}
    return JudgedResults(results, found.missing)


def _judge_result(state: State, work: CalculatedValue, result: EvaluatedValue) -> JudgedCalculation:
    measured = result.measurement
    judged = judge_measurement(state, work, work.bound, measured)
    verdict = value_verdict(state, work, work.bound, measured, judged)
    u = measured.uncertainty(work)
    if u is None:
        return JudgedCalculation(verdict, result.filled, None, measured.difference)
    number = decimal(from_base(u, work.unit, difference=True))
    uncertainty = Quantity(number, work.unit, show_short(Quantity(number, work.unit, "")))
    return JudgedCalculation(verdict, result.filled, uncertainty, measured.difference)


def calculated_entries(
    state: State, step: Step, entries: tuple[Entry, ...], context: Context, by: str
) -> tuple[Entry, ...]:
    """An entry for each calculated value that has a result after ``entries``.

    These are the values of ``step``, and those of other operations with entries whose result has changed.
    """
    if not any(
        other.operation.work_out
        for other in state.plan.steps.values()
        if other.id == step.id or other.id in state.works
    ):
        return ()
    after = state_after(state, entries, context)
    concerned = [
        (other, work)
        for other in after.plan.steps.values()  # its limits may be others now
        if other.id == step.id or other.id in state.works
        for work in unmatched_calculations(other)
    ]
    events = [entry.event for entry in entries]
    changed = {event.operation for event in events if isinstance(event, ev.ReadingRecorded | ev.EntryCorrected)}
    found = []
    for other, work in concerned:
        if other.id != step.id and changed.isdisjoint(input_operations(state.plan, work)):
            continue
        results = judged_results(after, other, work).results
        before = {} if other.id == step.id else judged_results(state, other, work).results
        several = len(result_slots(state.plan, work)) > 1
        found += [
            Entry(by, _calculated_event(other, work, slot if several else "", result))
            for slot, result in results.items()
            if before.get(slot) != result
        ]
    return tuple(found)


def input_operations(plan: Plan, work: CalculatedValue) -> frozenset[str]:
    """The ids of the steps in which something is read that a value, or its limit, is calculated from."""
    from benchflow.procedure.formula import present_names  # late import: most entries need no formula

    refs = [ValueRef(name.name, name.place, name.reading) for name in present_names(plan.formula(work))]
    refs += [plan.ref(bound.name) for bound in bounds_of(work) if isinstance(bound, AboveReading)]
    found: set[str] = set()
    for written in refs:
        for ref in plan.refs(written):
            name = str(ValueRef(ref.name, ref.place))
            recorded, calculated = plan.record(name), plan.work_out(name)
            if recorded is not None:
                found.add(recorded.step.id)
            elif calculated is not None:
                found |= input_operations(plan, calculated.work_out)
    return frozenset(found)


def _calculated_event(step: Step, work: CalculatedValue, reading: str, result: JudgedCalculation) -> ev.ValueCalculated:
    verdict = result.verdict
    assert verdict.value is not None  # a result always has a value
    return ev.ValueCalculated(
        operation=step.id,
        name=work.name,
        quantity=to_stored(verdict.value),
        verdict=verdict.verdict,
        limit=verdict.limit,
        decision=work.decision,
        filled=result.filled,
        uncertainty=None if result.uncertainty is None else to_stored(result.uncertainty),
        conformity=None if verdict.conformity is None else f"{verdict.conformity:.4f}",
        reading=reading,
        difference=result.difference,
        acceptance=verdict.acceptance,
    )
