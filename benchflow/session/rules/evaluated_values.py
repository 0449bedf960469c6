"""Values by name: the measurement of a reading, and of the result of a formula, also of the round before."""

from collections.abc import Mapping
from fractions import Fraction
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import CalculatedValue
from benchflow.procedure.plan import Plan, Step, readings_of_formula
from benchflow.quantity import base, base_of_difference
from benchflow.session.rules.measurements import (
    Measurement,
    attempt_measurement,
    from_stored,
    recorded_measurements,
    statistic,
    sum_of_slopes,
    turning_names,
    unknown_names,
)
from benchflow.session.state.state import State
from benchflow.trade.uncertainty import combined_uncertainty

if TYPE_CHECKING:
    from benchflow.procedure.formula import Formula, NameRef, Operand, Sensitivity

CERTAIN_DISTANCE = 3
"""An `if`, or a step, counts as decided if its number is this many standard uncertainties from the turn.

A normally distributed true value is on the other side with a probability of 0.13 % (own rule)."""


class EvaluatedValue(Struct, frozen=True):
    """A calculated value, or its result for one reading. ``filled`` is the formula with its numbers."""

    measurement: Measurement
    filled: str


class NoResult(Struct, frozen=True):
    """The reason why a value cannot be calculated, as a sentence without a full stop.

    ``missing`` is the name of the value whose reading is missing; "" if all are there. ``first_round`` is true if it
    is a value of the round before, and there was none.
    """

    reason: str
    missing: str = ""
    first_round: bool = False


class Evaluation(Struct, frozen=True):
    """The results of a calculated value by reading, and the reason why the first of the others has none.

    ``unjudged`` are the readings without a result because there is no round before.
    """

    results: dict[str, EvaluatedValue]
    missing: NoResult | None
    unjudged: frozenset[str] = frozenset()


def single_measurement(state: State, name: str) -> Measurement | None:
    """The one figure of the value ``name``, for a relative limit: a reading, the statistic, or a calculated value.

    ``None`` if a reading is missing, or if the value has several results.
    """
    ref = state.plan.ref(name)
    if ref.reading is not None:
        return value_measurement(state, ref)
    found = state.plan.record(name)
    if found is not None:
        measured = recorded_measurements(state, found.step, found.record)
        complete = len(measured) == len(found.record.slots)
        return statistic(found.record, list(measured.values())) if complete else None
    calculated = state.plan.work_out(name)
    if calculated is None:
        return None
    found_results = evaluate_value(state, calculated.step, calculated.work_out)
    if found_results.missing is not None or len(found_results.results) != 1:
        return None
    return next(iter(found_results.results.values())).measurement


def value_measurement(state: State, ref: ValueRef) -> Measurement | None:
    """The measurement of one reading of a value, or of its only result; ``None`` if it is missing."""
    name = str(ValueRef(ref.name, ref.place))
    found = state.plan.record(name)
    if found is not None:
        slot = found.record.slots[0] if ref.reading is None else ref.reading
        return recorded_measurements(state, found.step, found.record).get(slot)
    calculated = state.plan.work_out(name)
    if calculated is None:
        return None
    results = evaluate_value(state, calculated.step, calculated.work_out).results
    result = next(iter(results.values()), None) if ref.reading is None else results.get(ref.reading)
    return None if result is None else result.measurement


def measurement_before(state: State, ref: ValueRef) -> Measurement | None:
    """The measurement of one reading of a value, or of its result, in the round before; ``None`` if there was none.

    The uncertainty of a result of the round before is not known.
    """
    name = str(ValueRef(ref.name, ref.place))
    found = state.plan.record(name)
    if found is not None:
        slot = found.record.slots[0] if ref.reading is None else ref.reading
        attempt = state.work(found.step.id).before.readings.get(name, {}).get(slot)
        return None if attempt is None else attempt_measurement(found.record, attempt)
    calculated = state.plan.work_out(name)
    if calculated is None:
        return None
    result = state.work(calculated.step.id).before.results.get(name, {}).get(ref.reading or "")
    if result is None:
        return None
    quantity = from_stored(result.quantity)
    exact = base_of_difference(quantity) if result.difference else base(quantity)
    return Measurement(exact, quantity, result.difference, unknown=(f"before({ref})",))


def lacks_round_before(state: State, ref: ValueRef) -> bool:
    """True if a value has no result only because there is no round before: it is not judged and not missing."""
    calculated = state.plan.work_out(str(ValueRef(ref.name, ref.place)))
    if calculated is None:
        return False
    found = evaluate_value(state, calculated.step, calculated.work_out)
    return ref.reading in found.unjudged if ref.reading else bool(found.unjudged) and found.missing is None


# --- formulas -----------------------------------------------------------------------------------------


def result_slots(plan: Plan, work: CalculatedValue) -> tuple[str, ...]:
    """The readings for which a value is calculated; ``("1",)`` if it is calculated once."""
    return readings_of_formula(plan, work) or ("1",)


def evaluate_value(
    state: State, step: Step, work: CalculatedValue, assumed: Mapping[str, Measurement] | None = None
) -> Evaluation:
    """The results of a calculated value by reading.

    A value that is calculated once has the reading ``"1"``. ``assumed`` replaces inputs by name, such as the size of a
    part that is not chosen yet.
    """
    results: dict[str, EvaluatedValue] = {}
    missing: NoResult | None = None
    unjudged: set[str] = set()
    for slot in result_slots(state.plan, work):
        result = _evaluate_reading(state, work, slot, assumed or {})
        if not isinstance(result, NoResult):
            results[slot] = result
        elif result.first_round:
            unjudged.add(slot)
        else:
            missing = missing or result
    return Evaluation(results, missing, frozenset(unjudged))


def _evaluate_reading(
    state: State, work: CalculatedValue, slot: str, assumed: Mapping[str, Measurement]
) -> EvaluatedValue | NoResult:
    from benchflow.procedure.formula import FormulaError, Operand, evaluate, names

    several = bool(readings_of_formula(state.plan, work))
    formula = state.plan.formula(work, slot if several else None)
    inputs: dict[str, Measurement] = {}
    missing: NoResult | None = None
    for name in names(formula):
        found = _inputs(state, name, assumed)
        if not isinstance(found, NoResult):
            inputs |= found
        elif missing is None or missing.first_round:  # a missing reading is named before a missing earlier round
            missing = found
    if missing is not None:
        return missing
    operands = {key: Operand(one.shown, one.exact, one.difference) for key, one in inputs.items()}
    try:
        result = evaluate(formula, operands, work.unit)
    except FormulaError as error:
        return NoResult(error.why)
    unknown = unknown_names(*inputs.values())
    measured = Measurement(
        result.exact, result.value, result.difference, unknown=unknown, turning=turning_names(*inputs.values())
    )
    if not unknown and any(one.slopes for one in inputs.values()):
        measured = _with_slopes(measured, formula, operands, inputs, work)
    return EvaluatedValue(measured, result.filled)


def _inputs(state: State, name: "NameRef", assumed: Mapping[str, Measurement]) -> dict[str, Measurement] | NoResult:
    """The measurements that a name in a formula means, by their text in it."""
    from benchflow.procedure.formula.expression import operand_key

    if not name.before and str(name.ref) in assumed:
        return {str(name.ref): assumed[str(name.ref)]}
    found: dict[str, Measurement] = {}
    for ref in state.plan.refs(name.ref):
        measured = measurement_before(state, ref) if name.before else value_measurement(state, ref)
        if measured is None and name.before:
            return NoResult(f"{ref} has no value from a previous round", str(ref), first_round=True)
        if measured is None:
            return NoResult(f"{ref} is not entered yet", str(ref), lacks_round_before(state, ref))
        found[operand_key(ref, name.before)] = measured
    return found


def _with_slopes(
    found: Measurement,
    formula: "Formula",
    operands: "Mapping[str, Operand]",
    inputs: Mapping[str, Measurement],
    work: CalculatedValue,
) -> Measurement:
    """The result with its slopes, by the chain rule. An infinite slope leaves the uncertainty of ``work`` unknown."""
    from benchflow.procedure.formula import FormulaError, sensitivity

    try:
        of_inputs = sensitivity(formula, operands)
    except FormulaError:
        return replace(found, unknown=(work.name,))
    if not _is_decided(of_inputs, inputs, work):
        return replace(found, unknown=(work.name,), turning=(work.name,))
    slopes = {**of_inputs.slopes, **_slopes_at_a_peak(found.exact, formula, operands, inputs, work, of_inputs.slopes)}
    parts = [(slope, inputs[key].slopes) for key, slope in slopes.items()]
    readings = {key: reading for one in inputs.values() for key, reading in one.readings.items()}
    return replace(found, slopes=sum_of_slopes(parts), readings=readings)


def _is_decided(of_inputs: "Sensitivity", inputs: Mapping[str, Measurement], work: CalculatedValue) -> bool:
    """True if the uncertainty of the inputs leaves no doubt on which side of each turn the formula is."""
    readings = {key: reading for one in inputs.values() for key, reading in one.readings.items()}
    for turn in of_inputs.turns:
        slopes = sum_of_slopes((slope, inputs[key].slopes) for key, slope in turn.slopes.items())
        u = combined_uncertainty(slopes, readings, independent=work.independent, comparison=work.comparison)
        if u and turn.distance < CERTAIN_DISTANCE * u:
            return False
    return True


def _slopes_at_a_peak(
    exact: Fraction,
    formula: "Formula",
    operands: "Mapping[str, Operand]",
    inputs: Mapping[str, Measurement],
    work: CalculatedValue,
    known: Mapping[str, float],
) -> dict[str, float]:
    """A slope for each input whose slope is zero, though the result of a power or an angle changes with it.

    At the cosine of 0° the first order is zero. Then the larger of both changes for one standard uncertainty counts.
    """
    from benchflow.procedure.formula import FormulaError, evaluate
    from benchflow.procedure.formula.expression import OF_ANGLE, Call, Power, walk

    curved = any(isinstance(node, Power) or (isinstance(node, Call) and node.function in OF_ANGLE)
                 for node in walk(formula.root))  # fmt: skip
    found: dict[str, float] = {}
    for key, one in inputs.items() if curved else ():
        u = one.uncertainty(work) if key not in known else None
        if not u:
            continue
        for side in (u, -u):
            try:
                moved = evaluate(formula, {**operands, key: operands[key]._replace(exact=one.exact + side)}, work.unit)
            except FormulaError:
                continue
            found[key] = max(found.get(key, 0.0), float(abs(moved.exact - exact) / u))
    return {key: slope for key, slope in found.items() if slope}
