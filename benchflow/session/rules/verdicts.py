"""Verdicts on recorded values: readings compared with the limit in force, by the decision rule of the value."""

from collections.abc import Sequence
from decimal import Decimal

from msgspec import Struct

from benchflow.procedure.model import AboveReading, Bound, EqualWithin, Fixed, RecordedValue
from benchflow.quantity import Limit, Quantity, dimension_of, show
from benchflow.session.state.events import StoredQuantity
from benchflow.session.state.state import Attempt, State
from benchflow.trade.decision_rules import Judgement, judge
from benchflow.trade.verdict import Verdict

COVERAGE_FACTOR = Decimal(2)
"""The coverage factor of an uncertainty that the procedure states (ISO 14253-1 states U for k = 2)."""


class ValueVerdict(Struct, frozen=True):
    """The verdict on a recorded or calculated value.

    ``verdict`` is ``none`` without a limit. While readings are ``missing``, it is also ``none``, unless another reading
    is out of the limit. ``value`` is the quantity compared with the limit, such as the mean or the worst reading.
    ``limit`` is a text. ``conformity`` is the probability, 0 to 1, that the true value is within the limit; ``None`` if
    it is not known.
    """

    verdict: Verdict
    missing: tuple[str, ...]
    value: Quantity | None
    limit: str
    reason: str = ""
    conformity: float | None = None


def from_stored(stored: StoredQuantity) -> Quantity:
    """The quantity that was stored in the log."""
    return Quantity(Decimal(stored.value), stored.unit, stored.entered)


def to_stored(quantity: Quantity) -> StoredQuantity:
    """``quantity`` for the log, in plain digits without an exponent, because people read the log."""
    return StoredQuantity(format(quantity.value, "f"), quantity.unit, quantity.entered)


def last_attempts(state: State, step: str, name: str) -> dict[str, Attempt]:
    """The last entry of each reading of a value, by slot. Only these count."""
    readings = state.work(step).readings.get(name, {})
    return {slot: attempts[-1] for slot, attempts in readings.items() if attempts}


def bound_in_force(record: RecordedValue, used: bool) -> Bound | None:
    """The limit of a value. ``used`` selects the limit for used parts, if the value has one."""
    return record.used if used and record.used is not None else record.bound


def stated_uncertainty(state: State, record: RecordedValue, reading: Quantity) -> Quantity | None:
    """The standard uncertainty of a reading, if the procedure limits the uncertainty of its instrument.

    It is half of the largest expanded uncertainty U (k = 2) that the procedure allows. It has the unit of U. If U is
    stated as a share of the reading, it has the unit of ``reading``. ``None`` if the procedure states no U.
    """
    need = None if record.instrument is None else state.plan.procedure.instruments_by_id.get(record.instrument)
    if need is None or need.uncertainty is None or need.uncertainty.high is None:
        return None
    largest = need.uncertainty.high
    if dimension_of(largest.unit) == "fraction":
        share = largest.value / 100 if largest.unit == "%" else largest.value
        return Quantity(abs(reading.value) * share / COVERAGE_FACTOR, reading.unit, need.uncertainty.text)
    return Quantity(largest.value / COVERAGE_FACTOR, largest.unit, need.uncertainty.text)


def limit_of(state: State, bound: Bound | None, unit: str) -> Limit | None:
    """The bound as a limit in numbers; ``None`` if there is none, or if it depends on a reading that is missing."""
    match bound:
        case Fixed():
            return bound.limit
        case AboveReading():
            earlier = recorded_quantity(state, bound.name)
            return None if earlier is None else _limit_above(earlier, bound, unit)
        case _:
            return None


def _limit_above(earlier: Quantity, bound: AboveReading, unit: str) -> Limit:
    """The limit of ``above <value> by <limit>``, in ``unit``; ``earlier`` is the quantity of that value."""
    from benchflow.quantity import convert

    start = convert(earlier, unit)

    def end(difference: Quantity | None) -> Quantity | None:
        if difference is None:
            return None
        value = start.value + convert(difference, unit).value
        return Quantity(value, unit, f"{value} {unit}")

    low, high = end(bound.by.low), end(bound.by.high)
    shown = " .. ".join(show(limit_end) for limit_end in (low, high) if limit_end is not None)
    return Limit(low, high, f"{shown} ({bound.text})")


def recorded_quantity(state: State, name: str) -> Quantity | None:
    """The quantity of a recorded value, for formulas and other limits; ``None`` while a reading is missing."""
    found = state.plan.record(name)
    if found is None:
        return None
    record = found.record
    attempts = last_attempts(state, found.step.id, name)
    values = [from_stored(attempts[slot].quantity) for slot in record.slots if slot in attempts]
    return statistic(record, values) if len(values) == len(record.slots) else None


def statistic(record: RecordedValue, values: Sequence[Quantity]) -> Quantity:
    """The largest, the smallest, the spread or the mean of the readings, by the ``judge`` of the value.

    For ``judge: all`` it is the mean.
    """
    numbers = [value.value for value in values]
    unit = values[0].unit
    match record.judge:
        case "largest":
            return values[numbers.index(max(numbers))]
        case "smallest":
            return values[numbers.index(min(numbers))]
        case "spread":
            return _untyped_quantity(max(numbers) - min(numbers), unit)
        case _ if len(values) == 1:
            return values[0]
        case _:
            return _untyped_quantity(sum(numbers, Decimal(0)) / len(numbers), unit)


def _untyped_quantity(value: Decimal, unit: str) -> Quantity:
    """A quantity that was not typed: its text is the shown value."""
    return Quantity(value, unit, show(Quantity(value, unit, "")))


def judged_singly(record: RecordedValue, bound: Bound | None) -> bool:
    """True if each reading is compared with the limit, and not a statistic of all readings."""
    return record.judge == "all" and not isinstance(bound, EqualWithin)


def judge_reading(
    state: State, record: RecordedValue, reading: Quantity, used: bool, u: Quantity | None
) -> Judgement | None:
    """The verdict on one reading; ``None`` if there is no limit, or if the readings are judged together.

    ``used`` selects the limit for used parts. ``u`` is the standard uncertainty.
    """
    bound = bound_in_force(record, used)
    if not judged_singly(record, bound):
        return None
    limit = limit_of(state, bound, record.unit)
    return None if limit is None else judge(reading, limit, record.decision, u)


def judge_value(state: State, step: str, record: RecordedValue) -> ValueVerdict:
    """The verdict on a recorded value: the worst verdict of its readings, or the verdict on their statistic."""
    attempts = last_attempts(state, step, record.name)
    missing = tuple(slot for slot in record.slots if slot not in attempts)
    bound = bound_in_force(record, record.name in state.work(step).used)
    text = "" if bound is None else bound.text
    present = [attempts[slot] for slot in record.slots if slot in attempts]
    values = [from_stored(attempt.quantity) for attempt in present]
    value = statistic(record, values) if values and not missing else None
    if isinstance(bound, AboveReading):
        limit = limit_of(state, bound, record.unit)
        text = bound.text if limit is None else limit.text
    if bound is None:
        return ValueVerdict("none", missing, value, text)
    if judged_singly(record, bound):
        return _judge_worst(state, record, bound, present, missing, value, text)
    if missing:
        return ValueVerdict("none", missing, None, text)
    return _judge_statistic(state, record, bound, values, present, text)


def combined_text(state: State, step: str, record: RecordedValue) -> str:
    """The statistic that is compared with the limit: ``mean 24.7093 mm``.

    Empty while a reading is missing, and if each reading is judged.
    """
    bound = bound_in_force(record, record.name in state.work(step).used)
    if judged_singly(record, bound):
        return ""
    verdict = judge_value(state, step, record)
    if verdict.missing or verdict.value is None:
        return ""
    label = "spread" if isinstance(bound, EqualWithin) else record.judge
    return f"{label} {_rounded_text(verdict.value, bound)}"


def _rounded_text(value: Quantity, bound: Bound | None) -> str:
    """``value`` with at most one decimal more than its limit has."""
    ends: tuple[Quantity | None, ...] = ()
    if isinstance(bound, Fixed):
        ends = (bound.limit.low, bound.limit.high)
    elif isinstance(bound, EqualWithin):
        ends = (bound.spread,)
    places = [
        -exponent for end in ends if end is not None and isinstance(exponent := end.value.as_tuple().exponent, int)
    ]
    own = value.value.as_tuple().exponent
    digits = max(places) + 1 if places else 4
    return show(value) if isinstance(own, int) and -own <= digits else show(value, digits=digits)


_SEVERITY: dict[Verdict, int] = {"none": 0, "ok": 0, "not-proven": 1, "low": 2, "high": 2}
"""The rank of each verdict; the highest rank is the worst."""


def _judge_worst(
    state: State,
    record: RecordedValue,
    bound: Bound,
    present: Sequence[Attempt],
    missing: tuple[str, ...],
    value: Quantity | None,
    text: str,
) -> ValueVerdict:
    """The worst verdict on a single reading. ``value`` is the statistic, shown if all readings are ok."""
    limit = limit_of(state, bound, record.unit)
    if limit is None:
        return ValueVerdict("none", missing, value, text)
    worst: tuple[int, Judgement, Quantity] | None = None
    for attempt in present:
        reading = from_stored(attempt.quantity)
        u = None if attempt.uncertainty is None else from_stored(attempt.uncertainty)
        verdict = judge(reading, limit, record.decision, u)
        rank = _SEVERITY[verdict.verdict]
        if worst is None or rank > worst[0]:
            worst = (rank, verdict, reading)
    if worst is None or (missing and worst[0] == 0):
        return ValueVerdict("none", missing, value, text)
    _, verdict, reading = worst
    shown = reading if verdict.verdict != "ok" or value is None else value
    return ValueVerdict(verdict.verdict, missing, shown, text, verdict.reason, verdict.conformity)


def _judge_statistic(
    state: State,
    record: RecordedValue,
    bound: Bound,
    values: Sequence[Quantity],
    present: Sequence[Attempt],
    text: str,
) -> ValueVerdict:
    """The verdict on the statistic of all readings."""
    if isinstance(bound, EqualWithin):
        numbers = [value.value for value in values]
        value = _untyped_quantity(max(numbers) - min(numbers), record.unit)
        limit: Limit | None = Limit(None, bound.spread, bound.text)
    else:
        value = statistic(record, values)
        limit = limit_of(state, bound, record.unit)
    if limit is None:
        return ValueVerdict("none", (), value, text)
    verdict = judge(value, limit, record.decision, _statistic_uncertainty(present, record, bound))
    return ValueVerdict(verdict.verdict, (), value, text, verdict.reason, verdict.conformity)


def _statistic_uncertainty(present: Sequence[Attempt], record: RecordedValue, bound: Bound) -> Quantity | None:
    """The standard uncertainty of the statistic; ``None`` if that of any reading is not known.

    All readings share the error of their instrument, so a mean is as uncertain as one reading. A difference is more
    uncertain by the square root of two (GUM 5.1.2): its two errors are taken as independent, which is on the safe side.
    """
    known = [from_stored(attempt.uncertainty) for attempt in present if attempt.uncertainty is not None]
    if not known or len(known) < len(present):
        return None
    largest = max(known, key=lambda u: u.value)
    if isinstance(bound, EqualWithin) or record.judge == "spread":
        return Quantity(largest.value * Decimal(2).sqrt(), largest.unit, largest.entered)
    return largest
