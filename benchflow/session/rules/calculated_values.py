"""Calculates values from the present readings. The result is logged with each entry that can change it."""

from collections.abc import Mapping
from decimal import Decimal

import msgspec
from msgspec import Struct

from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import CalculatedValue, Fixed
from benchflow.procedure.plan import Plan, Step
from benchflow.quantity import Limit, Quantity, convert, show
from benchflow.session.context import Context, Entry
from benchflow.session.log.line_format import Line
from benchflow.session.rules.verdicts import ValueVerdict, from_stored, last_attempts, recorded_quantity, to_stored
from benchflow.session.state import events as ev
from benchflow.session.state.state import State
from benchflow.trade.decision_rules import judge


class JudgedCalculation(Struct, frozen=True):
    """A calculated value and the verdict on it.

    ``verdict.value`` is the result and ``filled`` the formula with its numbers. ``uncertainty`` is the standard
    uncertainty of the result to first order; ``None`` if no input has one.
    """

    verdict: ValueVerdict
    filled: str
    uncertainty: Quantity | None


class FormulaInputs(Struct, frozen=True):
    """The inputs of a formula and their standard uncertainties, by key: ``bore``, ``bore[2]``."""

    values: dict[str, Quantity]
    uncertainties: dict[str, Decimal]


def unmatched_calculations(step: Step) -> tuple[CalculatedValue, ...]:
    """The calculated values of a step, except those that a part matching uses.

    :mod:`benchflow.session.rules.part_matching` calculates and judges the others, for each place and its part.
    """
    matched = {match.so_that for match in step.operation.match}
    return tuple(work for work in step.operation.work_out if work.name not in matched)


def last_remedy_seq(state: State, step: Step, name: str) -> int:
    """The ``seq`` of the last remedy for a value that is calculated from the reading ``name``; 0 for none."""
    remedies = state.work(step.id).remedies
    remedied = (work for work in step.operation.work_out if work.name in remedies)
    return max((remedies[work.name].seq for work in remedied if formula_uses(state.plan, work, name)), default=0)


def formula_uses(plan: Plan, work: CalculatedValue, name: str) -> bool:
    """True if the formula of ``work`` contains the value ``name``, with its place or without."""
    from benchflow.procedure.formula import names

    plain = ValueRef.parse(name).name
    return any(ref.name in (name, plain) for ref in names(plan.formula(work)))


def calculate(
    state: State, step: Step, work: CalculatedValue, assumed: Mapping[str, Quantity] | None = None
) -> JudgedCalculation | None:
    """The calculated value with its verdict; ``None`` if an input is missing, or if there is no result.

    ``assumed`` replaces inputs by name, such as the size of a part that is not chosen yet.
    """
    from benchflow.procedure.formula import FormulaError, evaluate, propagate

    try:
        formula = state.plan.formula(work)
        inputs = formula_inputs(state, step, work, assumed or {})
        if inputs is None:
            return None
        result = evaluate(formula, inputs.values, work.unit)
        u = propagate(formula, inputs.values, inputs.uncertainties, work.unit) if inputs.uncertainties else None
    except FormulaError:
        return None
    uncertainty = None if u is None else Quantity(u, work.unit, f"{u} {work.unit}")
    return JudgedCalculation(
        _judge_result(work, result.value, uncertainty, result.difference), result.filled, uncertainty
    )


def _judge_result(work: CalculatedValue, value: Quantity, u: Quantity | None, difference: bool) -> ValueVerdict:
    """The verdict on the result ``value``. ``difference`` is true for a difference of temperatures."""
    if not isinstance(work.bound, Fixed):
        return ValueVerdict("none", (), value, "" if work.bound is None else work.bound.text)
    limit, text = work.bound.limit, work.bound.text
    if difference:
        # The limit of `hot - cold` is a temperature difference, too: it is converted without the offset of the scale.
        low, high = (None if end is None else convert(end, "K", difference=True) for end in (limit.low, limit.high))
        found = judge(convert(value, "K", difference=True), Limit(low, high, text), work.decision, u)
    else:
        found = judge(value, limit, work.decision, u)
    return ValueVerdict(found.verdict, (), value, text, found.reason, found.conformity)


def formula_inputs(
    state: State, step: Step, work: CalculatedValue, assumed: Mapping[str, Quantity]
) -> FormulaInputs | None:
    """All inputs of the formula; ``None`` if one is missing."""
    from benchflow.procedure.formula import names

    inputs = FormulaInputs({}, {})
    for ref in names(state.plan.formula(work)):
        written = ValueRef(ref.name, ref.place, ref.reading)
        if str(written) in assumed:
            inputs.values[str(written)] = assumed[str(written)]
        elif not all(_add_input(state, inputs, str(one)) for one in state.plan.refs(written)):
            return None
    return inputs


def _add_input(state: State, inputs: FormulaInputs, key: str) -> bool:
    """Add one input to ``inputs``; False if it is missing."""
    found = state.plan.record(key)
    if found is not None:
        value = recorded_quantity(state, key)
        if value is None:
            return False
        _add_uncertainty(inputs, key, [a.uncertainty for a in last_attempts(state, found.step.id, key).values()])
        inputs.values[key] = value
        return True
    ref = state.plan.ref(key)
    whole = str(ValueRef(ref.name, ref.place))
    found = state.plan.record(whole)
    if found is not None:
        attempt = last_attempts(state, found.step.id, whole).get(ref.reading or "")
        if attempt is None:
            return False
        _add_uncertainty(inputs, key, [attempt.uncertainty])
        inputs.values[key] = from_stored(attempt.quantity)
        return True
    calculated = calculated_quantity(state, key)
    if calculated is None:
        return False
    inputs.values[key] = calculated
    return True


def _add_uncertainty(inputs: FormulaInputs, key: str, given: list[ev.StoredQuantity | None]) -> None:
    """Add the largest of the ``given`` standard uncertainties to ``inputs``, if any is known."""
    values = [Decimal(uncertainty.value) for uncertainty in given if uncertainty is not None]
    if values:
        inputs.uncertainties[key] = max(values)


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
    after = _state_after(state, entries, context)
    found = []
    for work in calculations:
        calculated = calculate(after, step, work)
        if calculated is not None and calculated.verdict.value is not None:
            found.append(Entry(by, _calculated_event(step, work, calculated, calculated.verdict.value)))
    return tuple(found)


def _calculated_event(
    step: Step, work: CalculatedValue, calculated: JudgedCalculation, value: Quantity
) -> ev.ValueCalculated:
    verdict = calculated.verdict
    return ev.ValueCalculated(
        operation=step.id,
        name=work.name,
        quantity=to_stored(Quantity(value.value, value.unit, show(value))),
        verdict=verdict.verdict,
        limit=verdict.limit,
        decision=work.decision,
        filled=calculated.filled,
        uncertainty=None if calculated.uncertainty is None else to_stored(calculated.uncertainty),
        conformity=None if verdict.conformity is None else f"{verdict.conformity:.4f}",
    )


def _state_after(state: State, entries: tuple[Entry, ...], context: Context) -> State:
    """The state after ``entries``."""
    from benchflow.session.state.fold import fold

    for entry in entries:
        data = msgspec.to_builtins(entry.event)
        kind = data.pop("kind")
        state = fold(state, Line(state.seq + 1, context.now.at, entry.by, kind, data, "", ""))
    return state
