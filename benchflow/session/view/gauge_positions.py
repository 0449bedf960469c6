"""Positions of limits, guard bands and value on the gauge that is drawn beside a reading."""

from fractions import Fraction

from benchflow.procedure.model import (
    AboveReading,
    AskedLimit,
    Bound,
    CalculatedValue,
    EqualWithin,
    Fixed,
    RecordedValue,
)
from benchflow.procedure.plan import Step
from benchflow.quantity import Interval, base_of_difference, interval
from benchflow.session.rules.evaluated_values import evaluate_value
from benchflow.session.rules.measurements import recorded_measurements
from benchflow.session.rules.verdicts import (
    LimitComparison,
    comparison_of,
    figures_to_judge,
    judged_singly,
    limit_in_force,
    limit_of,
    stated_uncertainty,
)
from benchflow.session.state.state import State
from benchflow.session.view import bench_view as vw
from benchflow.trade.decision_rules import acceptance_limits


def reading_gauge(state: State, step: Step, record: RecordedValue) -> vw.GaugePositions | None:
    """The gauge of a recorded value, of its worst reading if each is judged; ``None`` without a limit in numbers."""
    bound, measured = limit_in_force(state, step.id, record), recorded_measurements(state, step, record)
    if judged_singly(record, bound):
        known = list(reading_comparisons(state, step, record).values())
    else:
        compared = [comparison_of(state, record, bound, each) for each in figures_to_judge(record, bound, measured)]
        known = [one for one in compared if one is not None]
    if known:
        return _positions(min(known, key=_room), record)
    return empty_gauge(state, step, record, next((s for s in record.slots if s not in measured), record.slots[0]))


def empty_gauge(state: State, step: Step, record: RecordedValue, slot: str) -> vw.GaugePositions | None:
    """The gauge of a reading before it is entered, or of the statistic of all; ``None`` without a limit in numbers."""
    record = record.at(slot) if record.by_reading else record
    bound = limit_in_force(state, step.id, record)
    bounds = _bounds(state, bound, record)
    return None if bounds is None else gauge_positions(bounds, None, _expected_uncertainty(state, record, bound))


def reading_gauges(state: State, step: Step, record: RecordedValue) -> dict[str, vw.GaugePositions]:
    """The gauge of each reading, by slot. Empty if the limit is about a difference of readings."""
    if record.judge == "spread" or isinstance(limit_in_force(state, step.id, record), EqualWithin):
        return {}
    found = {slot: _positions(each, record) for slot, each in reading_comparisons(state, step, record).items()}
    empty: vw.GaugePositions | None = None
    for slot in record.slots:
        if slot not in found:
            empty = empty_gauge(state, step, record, slot) if empty is None or record.by_reading else empty
            if empty is not None:
                found[slot] = empty
    return found


def reading_comparisons(state: State, step: Step, record: RecordedValue) -> dict[str, LimitComparison]:
    """Each reading that is there beside its limit, by slot. Empty if the limit is about a difference of readings."""
    found: dict[str, LimitComparison] = {}
    if record.judge == "spread":
        return found
    for slot, figure in recorded_measurements(state, step, record).items():
        bound = limit_in_force(state, step.id, record, slot)
        compared = None if isinstance(bound, EqualWithin) else comparison_of(state, record, bound, figure)
        if compared is not None:
            found[slot] = compared
    return found


def calculation_gauge(state: State, step: Step, work: CalculatedValue) -> vw.GaugePositions | None:
    """The gauge of a calculated value, of its worst result if there are several; ``None`` without result or limit."""
    results = evaluate_value(state, step, work).results
    compared = [comparison_of(state, work, work.at(slot).bound, one.measurement) for slot, one in results.items()]
    known = [one for one in compared if one is not None]
    return None if not known else _positions(min(known, key=_room), work)


def _room(found: LimitComparison) -> Fraction:
    """The distance from the nearer end of the limit, negative outside of it."""
    rooms = [Fraction(10**12)]
    if found.bounds.low is not None:
        rooms.append(found.figure - found.bounds.low)
    if found.bounds.high is not None:
        rooms.append(found.bounds.high - found.figure)
    return min(rooms)


def _positions(found: LimitComparison, value: RecordedValue | CalculatedValue) -> vw.GaugePositions:
    return gauge_positions(found.bounds, found.figure, found.u if value.decision == "guarded" else None)


def _bounds(state: State, bound: Bound | None, record: RecordedValue) -> Interval | None:
    """The bounds before the first reading."""
    match bound:
        case Fixed():
            return interval(bound.limit, difference=record.judge == "spread")
        case EqualWithin():
            return interval(bound.limit, difference=True)
        case AboveReading():
            limit = limit_of(state, bound, record.unit)
            return None if limit is None else interval(limit)
        case AskedLimit() | None:
            return None


def _expected_uncertainty(state: State, record: RecordedValue, bound: Bound | None) -> Fraction | None:
    """The standard uncertainty of a reading at the middle of a fixed limit, before there is one."""
    if record.decision != "guarded" or not isinstance(bound, Fixed):
        return None
    edge = bound.limit.high or bound.limit.low
    u = None if edge is None else stated_uncertainty(state, record, edge)
    return None if u is None else base_of_difference(u)


def gauge_positions(bounds: Interval, figure: Fraction | None, u: Fraction | None) -> vw.GaugePositions:
    """Positions on a gauge that is twice as wide as the limit; 1.5 times its value for a limit with one end.

    ``u`` is the standard uncertainty under guarded acceptance, otherwise ``None``. All numbers are in the base unit.
    """
    low, high = bounds.low, bounds.high
    if low is not None and high is not None:
        width = high - low or abs(high) / 10 or Fraction(1)
        start, end = low - width / 2, high + width / 2
    else:
        edge = low if low is not None else high
        assert edge is not None  # a limit has at least one end
        width = abs(edge) or Fraction(1)
        start, end = (edge - width, edge + width / 2) if low is None else (edge - width / 2, edge + width)

    def place(x: Fraction | None) -> float | None:
        return None if x is None else min(1.0, max(0.0, float((x - start) / (end - start))))

    guard_low, guard_high = (None, None) if u is None else acceptance_limits(bounds, u)
    return vw.GaugePositions(
        low=place(low), high=place(high), guard_low=place(guard_low), guard_high=place(guard_high), value=place(figure)
    )
