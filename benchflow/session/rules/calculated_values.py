"""Calculates values from the present readings. The result is logged with each entry that can change it."""

from collections.abc import Mapping

from msgspec import Struct

from benchflow.procedure.model import CalculatedValue
from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity
from benchflow.quantity.arithmetic import decimal, from_base
from benchflow.quantity.shown import show_short
from benchflow.session.context import Context, Entry
from benchflow.session.rules.measurements import EvaluatedValue, Measurement, NoResult, evaluate_value
from benchflow.session.rules.state_after import state_after
from benchflow.session.rules.verdicts import ValueVerdict, judge_measurement, to_stored, value_verdict, worst_verdict
from benchflow.session.state import events as ev
from benchflow.session.state.state import State


class JudgedCalculation(Struct, frozen=True):
    """A calculated value, or its result for one reading, and the verdict on it.

    ``verdict.value`` is the result and ``filled`` the formula with its numbers. ``uncertainty`` is the standard
    uncertainty of the result to first order; ``None`` if that of an input is not known.
    """

    verdict: ValueVerdict
    filled: str
    uncertainty: Quantity | None
    difference: bool = False  # true for a difference of temperatures


def unmatched_calculations(step: Step) -> tuple[CalculatedValue, ...]:
    """The calculated values of a step, except those that a part matching uses.

    :mod:`benchflow.session.rules.part_matching` calculates and judges the others, for each place and its part.
    """
    matched = {match.so_that for match in step.operation.match}
    return tuple(work for work in step.operation.work_out if work.name not in matched)


def calculate(
    state: State, step: Step, work: CalculatedValue, assumed: Mapping[str, Measurement] | None = None
) -> JudgedCalculation | None:
    """The calculated value with its verdict: the worst of its results. ``None`` if there is no result.

    ``assumed`` replaces inputs by name, such as the size of a part that is not chosen yet.
    """
    results = judged_results(state, step, work, assumed)
    if isinstance(results, NoResult):
        return None
    worst = worst_verdict([result.verdict for result in results.values()])
    return next(result for result in results.values() if result.verdict is worst)


def judged_results(
    state: State, step: Step, work: CalculatedValue, assumed: Mapping[str, Measurement] | None = None
) -> dict[str, JudgedCalculation] | NoResult:
    """The results of a calculated value by reading, each with its verdict, or the reason why there is none.

    A value that is calculated once has the reading ``"1"``.
    """
    results = evaluate_value(state, step, work, assumed)
    if isinstance(results, NoResult):
        return results
    return {slot: _judge_result(state, work, result) for slot, result in results.items()}


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


def calculated_quantity(state: State, name: str) -> Quantity | None:
    """The result of the calculated value ``name``, in any step; ``None`` if it has no result yet."""
    found = state.plan.work_out(name)
    calculated = None if found is None else calculate(state, found.step, found.work_out)
    return None if calculated is None else calculated.verdict.value


def calculated_entries(
    state: State, step: Step, entries: tuple[Entry, ...], context: Context, by: str
) -> tuple[Entry, ...]:
    """An entry for each calculated value of ``step`` that has a result after ``entries``."""
    calculations = unmatched_calculations(step)
    if not calculations:
        return ()
    after = state_after(state, entries, context)
    found = []
    for work in calculations:
        results = judged_results(after, step, work)
        if not isinstance(results, NoResult):
            several = len(results) > 1
            found += [
                Entry(by, _calculated_event(step, work, slot if several else "", result))
                for slot, result in results.items()
            ]
    return tuple(found)


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
