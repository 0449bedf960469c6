"""The verdict on a value: its readings together, against the limit in force, by the rule stated beforehand."""

from collections.abc import Sequence
from decimal import Decimal

from msgspec import Struct

from benchflow.procedure.model import AboveReading, Bound, DecisionRule, EqualWithin, Fixed, RecordedValue
from benchflow.quantity import Limit, Quantity, dimension_of, show
from benchflow.session.state.events import StoredQuantity
from benchflow.session.state.state import Attempt, State
from benchflow.trade.decision_rules import Judgement, judge
from benchflow.trade.verdict import Verdict

EXPANDED = Decimal(2)
"""Coverage factor taken for an uncertainty that only the procedure states (ISO 14253-1 states U at k = 2)."""


class ValueVerdict(Struct, frozen=True):
    """How a value stands.

    ``missing`` names the readings still open; ``verdict`` is ``none`` until they are all there or where
    there is no limit. ``value`` is what was judged (the mean, the spread, the worst of all).
    """

    verdict: Verdict
    missing: tuple[str, ...]
    value: Quantity | None
    limit: str
    reason: str = ""
    conformity: float | None = None


def from_stored(stored: StoredQuantity) -> Quantity:
    return Quantity(Decimal(stored.value), stored.unit, stored.entered)


def to_stored(quantity: Quantity) -> StoredQuantity:
    """Plain digits, never an exponent: the log is read by people."""
    return StoredQuantity(format(quantity.value, "f"), quantity.unit, quantity.entered)


def last_attempts(state: State, step: str, name: str) -> dict[str, Attempt]:
    """Slot to the attempt that counts."""
    readings = state.work(step).readings.get(name, {})
    return {slot: attempts[-1] for slot, attempts in readings.items() if attempts}


def bound_in_force(record: RecordedValue, used: bool) -> Bound | None:
    return record.used if used and record.used is not None else record.bound


def stated_uncertainty(state: State, record: RecordedValue, reading: Quantity) -> Quantity | None:
    """Standard uncertainty from what the procedure asks of the instrument: U at most so much, k = 2."""
    need = None if record.instrument is None else state.plan.procedure.instruments_by_id.get(record.instrument)
    if need is None or need.uncertainty is None or need.uncertainty.high is None:
        return None
    largest = need.uncertainty.high
    if dimension_of(largest.unit) == "fraction":
        share = largest.value / 100 if largest.unit == "%" else largest.value
        return Quantity(abs(reading.value) * share / EXPANDED, reading.unit, need.uncertainty.text)
    return Quantity(largest.value / EXPANDED, largest.unit, need.uncertainty.text)


def limit_of(state: State, bound: Bound | None, unit: str) -> Limit | None:
    """The bound as a plain limit; ``None`` where there is none, or the reading it leans on is not there."""
    match bound:
        case Fixed():
            return bound.limit
        case AboveReading():
            earlier = single_value(state, bound.name)
            return None if earlier is None else _raised(earlier, bound, unit)
        case _:
            return None


def _raised(earlier: Quantity, bound: AboveReading, unit: str) -> Limit:
    from benchflow.quantity import convert

    start = convert(earlier, unit)

    def end(by: Quantity | None) -> Quantity | None:
        if by is None:
            return None
        value = start.value + convert(by, unit).value
        return Quantity(value, unit, f"{value} {unit}")

    low, high = end(bound.by.low), end(bound.by.high)
    shown = " .. ".join(show(q) for q in (low, high) if q is not None)
    return Limit(low, high, f"{shown} ({bound.text})")


def single_value(state: State, name: str) -> Quantity | None:
    """The one figure that stands for a recorded value elsewhere: its statistic, ``None`` until complete."""
    found = state.plan.record(name)
    if found is None:
        return None
    record = found.record
    attempts = last_attempts(state, found.step.id, name)
    values = [from_stored(attempts[slot].quantity) for slot in record.slots if slot in attempts]
    return statistic(record, values) if len(values) == len(record.slots) else None


def statistic(record: RecordedValue, values: Sequence[Quantity]) -> Quantity:
    """What ``judge`` makes of the readings; of ``all`` (several), their mean, as anybody would quote it."""
    numbers = [value.value for value in values]
    unit = values[0].unit
    match record.judge:
        case "largest":
            return values[numbers.index(max(numbers))]
        case "smallest":
            return values[numbers.index(min(numbers))]
        case "spread":
            return _made(max(numbers) - min(numbers), unit)
        case _ if len(values) == 1:
            return values[0]
        case _:
            return _made(sum(numbers, Decimal(0)) / len(numbers), unit)


def _made(value: Decimal, unit: str) -> Quantity:
    return Quantity(value, unit, show(Quantity(value, unit, "")))


def judged_singly(record: RecordedValue, bound: Bound | None) -> bool:
    """Whether every reading is compared with the limit by itself."""
    return record.judge == "all" and not isinstance(bound, EqualWithin)


def judge_reading(
    state: State, record: RecordedValue, reading: Quantity, used: bool, u: Quantity | None
) -> Judgement | None:
    """The verdict on one reading by itself; ``None`` where the readings are judged together or no limit is."""
    bound = bound_in_force(record, used)
    if not judged_singly(record, bound):
        return None
    limit = limit_of(state, bound, record.unit)
    return None if limit is None else judge(reading, limit, record.decision, u)


def judge_value(state: State, step: str, record: RecordedValue) -> ValueVerdict:
    """How a recorded value stands, all its readings taken together."""
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
        return _worst(state, record, bound, present, missing, value, text)
    if missing:
        return ValueVerdict("none", missing, None, text)
    return _together(state, record, bound, values, present, text)


def combined_text(state: State, step: str, record: RecordedValue) -> str:
    """``mean 24.7093 mm``: the one figure that is compared with the limit; empty while a reading is missing, and
    where every reading is judged by itself."""
    bound = bound_in_force(record, record.name in state.work(step).used)
    if judged_singly(record, bound):
        return ""
    verdict = judge_value(state, step, record)
    if verdict.missing or verdict.value is None:
        return ""
    label = "spread" if isinstance(bound, EqualWithin) else record.judge
    return f"{label} {_rounded(verdict.value, bound)}"


def _rounded(value: Quantity, bound: Bound | None) -> str:
    """A mean or a spread with one digit more than its limit is printed with: more would say nothing."""
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


def _worst(
    state: State,
    record: RecordedValue,
    bound: Bound,
    present: Sequence[Attempt],
    missing: tuple[str, ...],
    value: Quantity | None,
    text: str,
) -> ValueVerdict:
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
    return ValueVerdict(verdict.verdict, missing, shown, text, verdict.because, verdict.conformity)


def _together(
    state: State,
    record: RecordedValue,
    bound: Bound,
    values: Sequence[Quantity],
    present: Sequence[Attempt],
    text: str,
) -> ValueVerdict:
    decision: DecisionRule = record.decision
    if isinstance(bound, EqualWithin):
        numbers = [value.value for value in values]
        value = _made(max(numbers) - min(numbers), record.unit)
        limit: Limit | None = Limit(None, bound.spread, bound.text)
    else:
        value = statistic(record, values)
        limit = limit_of(state, bound, record.unit)
    if limit is None:
        return ValueVerdict("none", (), value, text)
    verdict = judge(value, limit, decision, _combined(present, record, bound))
    return ValueVerdict(verdict.verdict, (), value, text, verdict.because, verdict.conformity)


def _combined(present: Sequence[Attempt], record: RecordedValue, bound: Bound) -> Quantity | None:
    """Standard uncertainty of what is judged. Readings with one instrument share its error, so a mean is
    no surer than one of them; a difference of two is less sure by the square root of two (GUM 5.1.2, taken as
    uncorrelated, the cautious way for a difference)."""
    known = [attempt.uncertainty for attempt in present]
    if not known or any(u is None for u in known):
        return None
    largest = max((from_stored(u) for u in known if u is not None), key=lambda u: u.value)
    if isinstance(bound, EqualWithin) or record.judge == "spread":
        return Quantity(largest.value * Decimal(2).sqrt(), largest.unit, largest.entered)
    return largest
