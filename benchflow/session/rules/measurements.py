"""Exact values of readings, statistics and formulas, and what is known about their uncertainty.

Every verdict is made from a :class:`Measurement`. Numbers are exact fractions in base units, so a verdict does not
depend on the unit in which a reading was typed or stored. A measurement keeps the slope of each reading that it depends
on, through any number of formulas. So a reading or an instrument that two values share counts once.
"""

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import CalculatedValue, RecordedValue
from benchflow.procedure.plan import Plan, Step, readings_of_formula
from benchflow.quantity import Quantity, base, base_of_difference
from benchflow.quantity.arithmetic import decimal, from_base
from benchflow.quantity.shown import decimals_shown, round_half_up, with_unit
from benchflow.session.state.events import StoredQuantity
from benchflow.session.state.state import Attempt, State
from benchflow.trade.uncertainty import ReadingUncertainty, combined_uncertainty

if TYPE_CHECKING:
    from benchflow.procedure.formula import Formula, Operand

NEW_READING = 0
"""The key of a reading that is not in the log yet. The keys of the others are their ``seq``."""


class Measurement(Struct, frozen=True):
    """An exact value with the slopes of the readings that it depends on.

    ``exact`` is in the base unit. ``shown`` is the value for people: a reading as it was typed, any other value rounded
    for display. ``difference`` is true for a difference of temperatures. ``slopes`` has the change of the value for a
    change of each reading, by the ``seq`` of the reading, and ``readings`` their uncertainties. ``unknown`` names the
    values that it depends on whose uncertainty is not known.
    """

    exact: Fraction
    shown: Quantity
    difference: bool = False
    slopes: dict[int, float] = {}
    readings: dict[int, ReadingUncertainty] = {}
    unknown: tuple[str, ...] = ()

    def uncertainty(self, value: RecordedValue | CalculatedValue) -> Fraction | None:
        """The standard uncertainty in the base unit, as ``value`` combines it; ``None`` if it is not known.

        It is not known if the uncertainty of one reading is not known. A value that does not depend on any reading is
        exact.
        """
        if self.unknown:
            return None
        return combined_uncertainty(
            self.slopes, self.readings, independent=value.independent, comparison=value.comparison
        )

    def minus(self, other: "Measurement") -> "Measurement":
        """The difference of two measurements. It is shown like the first one."""
        return replace(
            self,
            exact=self.exact - other.exact,
            difference=True,
            slopes=_sum_of_slopes(((1.0, self.slopes), (-1.0, other.slopes))),
            readings={**self.readings, **other.readings},
            unknown=_names(self, other),
        )


class EvaluatedValue(Struct, frozen=True):
    """A calculated value, or its result for one reading. ``filled`` is the formula with its numbers."""

    measurement: Measurement
    filled: str


class NoResult(Struct, frozen=True):
    """The reason why a value cannot be calculated, as a sentence without a full stop.

    ``missing`` is the name of the value whose reading is missing; "" if all are there.
    """

    reason: str
    missing: str = ""


class Evaluation(Struct, frozen=True):
    """The results of a calculated value by reading, and the reason why the first of the others has none."""

    results: dict[str, EvaluatedValue]
    missing: NoResult | None


def from_stored(stored: StoredQuantity) -> Quantity:
    """The quantity that was stored in the log."""
    return Quantity(Decimal(stored.value), stored.unit, stored.entered)


def last_attempts(state: State, step: str, name: str) -> dict[str, Attempt]:
    """The last entry of each reading of a value, by slot. Only these count."""
    readings = state.work(step).readings.get(name, {})
    return {slot: attempts[-1] for slot, attempts in readings.items() if attempts}


def reading_measurement(
    record: RecordedValue, quantity: Quantity, u: Quantity | None, instrument: str, key: int = NEW_READING
) -> Measurement:
    """The measurement of one reading. ``u`` is its standard uncertainty, ``key`` the ``seq`` of its log line."""
    if u is None:
        return Measurement(base(quantity), quantity, unknown=(record.name,))
    # The error of an independent reading is its own: it is grouped as if it had its own instrument.
    source = f"{instrument}, reading {key}" if record.independent else instrument
    known = {key: ReadingUncertainty(base_of_difference(u), source, record.comparison)}
    return Measurement(base(quantity), quantity, slopes={key: 1.0}, readings=known)


def exact_measurement(quantity: Quantity) -> Measurement:
    """The measurement of a quantity that was not measured, such as the size of a part to buy. It is taken as exact."""
    return Measurement(base(quantity), quantity)


def attempt_measurement(record: RecordedValue, attempt: Attempt) -> Measurement:
    """The measurement of a reading in the log."""
    u = None if attempt.uncertainty is None else from_stored(attempt.uncertainty)
    return reading_measurement(record, from_stored(attempt.quantity), u, attempt.instrument, attempt.seq)


def statistic(record: RecordedValue, measured: Sequence[Measurement]) -> Measurement:
    """The largest, the smallest, the spread or the mean of the readings, by the ``judge`` of the value.

    For ``judge: all`` it is the mean.
    """
    match record.judge:
        case "largest":
            return replace(max(measured, key=lambda one: one.exact), unknown=_names(*measured))
        case "smallest":
            return replace(min(measured, key=lambda one: one.exact), unknown=_names(*measured))
        case "spread":
            return spread(measured, record.unit)
        case _ if len(measured) == 1:
            return measured[0]
        case _:
            return _mean(measured, record.unit)


def spread(measured: Sequence[Measurement], unit: str) -> Measurement:
    """The largest reading minus the smallest. Of equal readings, these are the first and the last, not the same one."""
    largest = max(measured, key=lambda one: one.exact)
    smallest = min(reversed(measured), key=lambda one: one.exact)
    found = replace(largest.minus(smallest), unknown=_names(*measured))
    return replace(found, shown=_rounded(found, measured, unit))


def _names(*measured: Measurement) -> tuple[str, ...]:
    """The names of all values whose uncertainty is not known, each once."""
    return tuple(dict.fromkeys(name for one in measured for name in one.unknown))


def _mean(measured: Sequence[Measurement], unit: str) -> Measurement:
    share = 1 / len(measured)
    found = Measurement(
        sum((one.exact for one in measured), Fraction(0)) / len(measured),
        measured[0].shown,
        measured[0].difference,
        _sum_of_slopes((share, one.slopes) for one in measured),
        {key: reading for one in measured for key, reading in one.readings.items()},
        _names(*measured),
    )
    return replace(found, shown=_rounded(found, measured, unit))


def _rounded(found: Measurement, measured: Iterable[Measurement], unit: str) -> Quantity:
    """The value for display: exact if it has at most two decimals more than the readings, otherwise with one more.

    Halves are rounded away from zero. Source: our own rule.
    """
    exact = from_base(found.exact, unit, difference=found.difference)
    finest = max(decimals_shown(one.shown) for one in measured)
    for places in range(finest, finest + 3):
        number = round_half_up(exact, places)
        if Fraction(number) == exact:
            break
    else:
        number = round_half_up(exact, finest + 1)
    return Quantity(decimal(exact), unit, with_unit(f"{number:f}", unit))


def _sum_of_slopes(parts: Iterable[tuple[float, Mapping[int, float]]]) -> dict[int, float]:
    total: dict[int, float] = {}
    for factor, slopes in parts:
        for key, slope in slopes.items():
            total[key] = total.get(key, 0.0) + factor * slope
    return {key: slope for key, slope in total.items() if slope}


# --- values by name -----------------------------------------------------------------------------------


def recorded_measurements(state: State, step: Step, record: RecordedValue) -> dict[str, Measurement]:
    """The measurement of each reading of a recorded value that is there, by slot."""
    attempts = last_attempts(state, step.id, record.name)
    return {slot: attempt_measurement(record, attempts[slot]) for slot in record.slots if slot in attempts}


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
    for slot in result_slots(state.plan, work):
        result = _evaluate_reading(state, work, slot, assumed or {})
        if isinstance(result, NoResult):
            missing = missing or result
        else:
            results[slot] = result
    return Evaluation(results, missing)


def _evaluate_reading(
    state: State, work: CalculatedValue, slot: str, assumed: Mapping[str, Measurement]
) -> EvaluatedValue | NoResult:
    from benchflow.procedure.formula import FormulaError, Operand, evaluate, names

    several = bool(readings_of_formula(state.plan, work))
    formula = state.plan.formula(work, slot if several else None)
    inputs: dict[str, Measurement] = {}
    for name in names(formula):
        written = ValueRef(name.name, name.place, name.reading)
        if str(written) in assumed:
            inputs[str(written)] = assumed[str(written)]
            continue
        for ref in state.plan.refs(written):
            measured = value_measurement(state, ref)
            if measured is None:
                return NoResult(f"{ref} is not entered yet", str(ref))
            inputs[str(ref)] = measured
    operands = {key: Operand(one.shown, one.exact, one.difference) for key, one in inputs.items()}
    try:
        result = evaluate(formula, operands, work.unit)
    except FormulaError as error:
        return NoResult(error.why)
    unknown = _names(*inputs.values())
    found = Measurement(result.exact, result.value, result.difference, unknown=unknown)
    if not unknown and any(one.slopes for one in inputs.values()):
        found = _with_slopes(found, formula, operands, inputs, work.name)
    return EvaluatedValue(found, result.filled)


def _with_slopes(
    found: Measurement,
    formula: "Formula",
    operands: "Mapping[str, Operand]",
    inputs: Mapping[str, Measurement],
    name: str,
) -> Measurement:
    """The result with its slopes, by the chain rule. An infinite slope leaves the uncertainty of ``name`` unknown."""
    from benchflow.procedure.formula import FormulaError, slopes

    try:
        of_inputs = slopes(formula, operands)
    except FormulaError:
        return replace(found, unknown=(name,))
    parts = [(slope, inputs[key].slopes) for key, slope in of_inputs.items()]
    readings = {key: reading for one in inputs.values() for key, reading in one.readings.items()}
    return replace(found, slopes=_sum_of_slopes(parts), readings=readings)
