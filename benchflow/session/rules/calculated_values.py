"""Values worked out from readings: always from what stands now, and logged when the last input comes in."""

from collections.abc import Iterator, Mapping
from decimal import Decimal

import msgspec
from msgspec import Struct

from benchflow.procedure.identity import ALL_PLACES, ValueRef
from benchflow.procedure.model import CalculatedValue, Fixed, RecordedValue
from benchflow.procedure.plan import Plan, Step
from benchflow.quantity import Limit, Quantity, convert, show
from benchflow.session.context import Context, Entry
from benchflow.session.log.line_format import Line
from benchflow.session.rules.verdicts import ValueVerdict, from_stored, last_attempts, single_value, to_stored
from benchflow.session.state import events as ev
from benchflow.session.state.state import RemedyCount, State
from benchflow.trade.decision_rules import judge


class JudgedCalculation(Struct, frozen=True):
    """``verdict.value`` is the result; ``filled`` the sum with the numbers in; ``uncertainty`` its standard
    uncertainty to first order, ``None`` where none of the inputs has one."""

    verdict: ValueVerdict
    filled: str
    uncertainty: Quantity | None


class FormulaInputs(Struct, frozen=True):
    """The inputs of a formula by their keys (``bore``, ``bore[2]``), and their standard uncertainties."""

    values: dict[str, Quantity]
    uncertainties: dict[str, Decimal]


def unmatched_calculations(step: Step) -> tuple[CalculatedValue, ...]:
    """The values of a step that are one figure each. One that a match goes by is worked out for every place with the
    part given to it (:mod:`benchflow.session.rules.part_matching`), and judged there."""
    matched = {match.so_that for match in step.operation.match}
    return tuple(work for work in step.operation.work_out if work.name not in matched)


def last_remedy(state: State, step: Step, name: str) -> int:
    """The event of the last remedy of a value that is worked out from this one; 0 for none."""
    remedies = state.work(step.id).remedies
    resting = (work.name for work in step.operation.work_out if rests_on(state.plan, remedies, work, name))
    return max((remedies[each].seq for each in resting), default=0)


def rests_on(plan: Plan, remedies: dict[str, RemedyCount], work: CalculatedValue, name: str) -> bool:
    """Whether ``work`` was remedied and its formula uses the value ``name``, with its place or without."""
    if work.name not in remedies:
        return False
    from benchflow.procedure.formula import names

    plain = ValueRef.parse(name).name
    return any(ref.name in (name, plain) for ref in names(plan.formula(work)))


def calculate(
    state: State, step: Step, work: CalculatedValue, assumed: Mapping[str, Quantity] | None = None
) -> JudgedCalculation | None:
    """The value as it stands; ``None`` while a reading that it needs is missing, or it cannot be worked out.

    ``assumed`` stands in for values that are not there yet (a part tried in a place)."""
    from benchflow.procedure.formula import FormulaError, evaluate, propagate

    try:
        formula = state.plan.formula(work)
        known = formula_inputs(state, step, work, assumed or {})
        if known is None:
            return None
        worked = evaluate(formula, known.values, work.unit)
        u = propagate(formula, known.values, known.uncertainties, work.unit) if known.uncertainties else None
    except FormulaError:
        return None
    spread = None if u is None else Quantity(u, work.unit, f"{u} {work.unit}")
    return JudgedCalculation(_verdict(work, worked.value, spread, worked.difference), worked.filled, spread)


def _verdict(work: CalculatedValue, value: Quantity, u: Quantity | None, difference: bool) -> ValueVerdict:
    if not isinstance(work.bound, Fixed):
        return ValueVerdict("none", (), value, "" if work.bound is None else work.bound.text)
    limit, text = work.bound.limit, work.bound.text
    if difference:
        # `hot - cold` in °C against a limit in °F: both are differences, without the offset of the scales.
        low, high = (None if end is None else convert(end, "K", difference=True) for end in (limit.low, limit.high))
        found = judge(convert(value, "K", difference=True), Limit(low, high, text), work.decision, u)
    else:
        found = judge(value, limit, work.decision, u)
    return ValueVerdict(found.verdict, (), value, text, found.because, found.conformity)


def formula_inputs(
    state: State, step: Step, work: CalculatedValue, assumed: Mapping[str, Quantity]
) -> FormulaInputs | None:
    """All inputs of the formula; ``None`` when one is missing."""
    from benchflow.procedure.formula import names

    known = FormulaInputs({}, {})
    for ref in names(state.plan.formula(work)):
        key = str(ValueRef(ref.name, ref.place))
        if key in assumed:
            known.values[key] = assumed[key]
        elif ref.place == ALL_PLACES:
            keys = list(_places(state, ref.name))
            if not keys or not all(_put(state, step, known, one) for one in keys):
                return None
        elif not _put(state, step, known, key):
            return None
    return known


def _places(state: State, name: str) -> Iterator[str]:
    """``bore[1]``, ``bore[2]`` …: the places of a value repeated by ``each``, or of one read at places."""
    for value in state.plan.values(name):
        if value.name != name:
            yield value.name
        elif isinstance(value, RecordedValue):
            yield from (str(ValueRef(name, slot)) for slot in value.slots)


def _put(state: State, step: Step, known: FormulaInputs, key: str) -> bool:
    """Put one value into ``known``; False when it is not there yet."""
    found = state.plan.record(key)
    if found is not None:
        value = single_value(state, key)
        if value is None:
            return False
        _uncertain(known, key, [a.uncertainty for a in last_attempts(state, found.step.id, key).values()])
        known.values[key] = value
        return True
    ref = ValueRef.parse(key)
    found = state.plan.record(ref.name)
    if found is not None:
        attempt = last_attempts(state, found.step.id, ref.name).get(ref.place or "")
        if attempt is None:
            return False
        _uncertain(known, key, [attempt.uncertainty])
        known.values[key] = from_stored(attempt.quantity)
        return True
    worked = calculated_quantity(state, step, key)
    if worked is None:
        return False
    known.values[key] = worked
    return True


def _uncertain(known: FormulaInputs, key: str, given: list[ev.StoredQuantity | None]) -> None:
    sizes = [Decimal(one.value) for one in given if one is not None]
    if sizes:
        known.uncertainties[key] = max(sizes)


def calculated_quantity(state: State, step: Step, name: str) -> Quantity | None:
    """A worked-out value by its name, wherever in the procedure it is worked out."""
    found = state.plan.work_out(name)
    worked = None if found is None else calculate(state, found.step, found.work_out)
    return None if worked is None else worked.verdict.value


def calculated_entries(
    state: State, step: Step, entries: tuple[Entry, ...], context: Context, by: str
) -> tuple[Entry, ...]:
    """The values of ``step`` that can be worked out once ``entries`` are in: an event each, for the log."""
    alone = unmatched_calculations(step)
    if not alone:
        return ()
    after = _with(state, entries, context)
    found = []
    for work in alone:
        worked = calculate(after, step, work)
        if worked is not None and worked.verdict.value is not None:
            found.append(Entry(by, _event(step, work, worked, worked.verdict.value)))
    return tuple(found)


def _event(step: Step, work: CalculatedValue, worked: JudgedCalculation, value: Quantity) -> ev.ValueCalculated:
    verdict = worked.verdict
    return ev.ValueCalculated(
        operation=step.id,
        name=work.name,
        quantity=to_stored(Quantity(value.value, value.unit, show(value))),
        verdict=verdict.verdict,
        limit=verdict.limit,
        decision=work.decision,
        filled=worked.filled,
        uncertainty=None if worked.uncertainty is None else to_stored(worked.uncertainty),
        conformity=None if verdict.conformity is None else f"{verdict.conformity:.4f}",
    )


def _with(state: State, entries: tuple[Entry, ...], context: Context) -> State:
    """The state as it will be when ``entries`` are on disk."""
    from benchflow.session.state.fold import fold

    for entry in entries:
        data = msgspec.to_builtins(entry.event)
        kind = data.pop("kind")
        state = fold(state, Line(state.seq + 1, context.now.at, entry.by, kind, data, "", ""))
    return state
