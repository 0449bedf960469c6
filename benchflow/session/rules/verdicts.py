"""Verdicts on recorded values: readings compared with the limit in force, by the decision rule of the value."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction

from msgspec import Struct
from msgspec.structs import replace

from benchflow.procedure.model import (
    AboveReading,
    AskedLimit,
    Bound,
    CalculatedValue,
    EqualWithin,
    Fixed,
    RecordedValue,
)
from benchflow.quantity import Interval, Limit, Quantity, dimension_of, interval, show_limit
from benchflow.quantity.arithmetic import decimal, from_base
from benchflow.quantity.shown import decimals_converted, decimals_shown, decimals_that_tell, round_half_up, with_unit
from benchflow.session.rules.evaluated_values import single_measurement
from benchflow.session.rules.measurements import (
    Measurement,
    combined_share,
    last_attempts,
    recorded_measurements,
    spread,
    statistic,
)
from benchflow.session.state.event_basics import InstrumentShare, StoredQuantity
from benchflow.session.state.state import State
from benchflow.trade.decision_rules import Judgement, judge_exact, rounded_acceptance
from benchflow.trade.rounding import without_trailing_zeros
from benchflow.trade.verdict import Verdict

COVERAGE_FACTOR = Decimal(2)
"""The coverage factor of an uncertainty that the procedure states (ISO 14253-1 states U for k = 2)."""


class ValueVerdict(Struct, frozen=True):
    """The verdict on a recorded or calculated value.

    ``verdict`` is ``none`` without a limit. While readings are ``missing``, it is also ``none``, unless another reading
    is out of the limit. ``value`` is the quantity compared with the limit, such as the mean or the worst reading.
    ``limit`` is a text. ``conformity`` is the probability, 0 to 1, that the true value is within the limit; ``None`` if
    it is not known. ``acceptance`` has the acceptance limits of guarded acceptance as text; "" if the limit decides.
    """

    verdict: Verdict
    missing: tuple[str, ...]
    value: Quantity | None
    limit: str
    reason: str = ""
    conformity: float | None = None
    acceptance: str = ""


def to_stored(quantity: Quantity) -> StoredQuantity:
    """``quantity`` for the log, in plain digits without an exponent, because people read the log."""
    return StoredQuantity(format(quantity.value, "f"), quantity.unit, quantity.entered)


def bound_in_force(record: RecordedValue, used: bool) -> Bound | None:
    """The limit of a value. ``used`` selects the limit for used parts, if the value has one."""
    return record.used if used and record.used is not None else record.bound


def part_is_used(state: State, step: str, record: RecordedValue, slot: str | None = None) -> bool:
    """True if the limit for used parts applies to a reading, by the last statement about it.

    Readings that are judged one by one can be of several parts. Otherwise, and without ``slot``, the last entry of the
    value decides.
    """
    attempts = last_attempts(state, step, record.name)
    if slot and judged_singly(record, record.bound) and judged_singly(record, record.used):
        return slot in attempts and attempts[slot].used
    last = max(attempts.values(), key=lambda attempt: attempt.seq, default=None)
    return last is not None and last.used


def limit_in_force(state: State, step: str, record: RecordedValue, slot: str | None = None) -> Bound | None:
    """The limit of a reading; without ``slot``, the limit of the last entry of the value."""
    used = part_is_used(state, step, record, slot)
    return bound_in_force(record if slot is None else record.at(slot), used)


def limits_by_reading(state: State, step: str, record: RecordedValue) -> str:
    """The limits of the readings as text, if they vary: ``1: 10 .. 11 mm; 2, 3: 20 .. 21 mm``. "" if they do not."""
    slots: dict[str, list[str]] = {}
    for slot in record.slots if record.by_reading else ():
        text = limit_text(state, limit_in_force(state, step, record, slot), record.unit)
        slots.setdefault(text, []).append(slot)
    return "; ".join(f"{', '.join(names)}: {text or 'no limit'}" for text, names in slots.items())


def stated_uncertainty(state: State, record: RecordedValue, reading: Quantity) -> Quantity | None:
    """The standard uncertainty of a reading, if the procedure limits the uncertainty of its instrument.

    It is half of the largest expanded uncertainty U (k = 2) that the procedure allows. It has the unit of U. If U is
    stated as a share of the reading, it has the unit of ``reading``. ``None`` if the procedure states no U.
    """
    if len(record.instruments) < 2:
        return stated_uncertainty_of(state, record.instrument, reading)
    each = [(name, stated_uncertainty_of(state, name, reading)) for name in record.instruments]
    shares = tuple(
        InstrumentShare(name, None, None if u is None or dimension_of(u.unit) != record.dimension else to_stored(u))
        for name, u in each
    )
    return combined_share(shares, record.unit)


def stated_uncertainty_of(state: State, instrument: str | None, reading: Quantity) -> Quantity | None:
    """The standard uncertainty of a reading by one instrument, as :func:`stated_uncertainty` has it."""
    need = None if instrument is None else state.plan.procedure.instruments_by_id.get(instrument)
    if need is None or need.uncertainty is None or need.uncertainty.high is None:
        return None
    largest = need.uncertainty.high
    if dimension_of(largest.unit) == "fraction":
        share = largest.value / 100 if largest.unit == "%" else largest.value
        return Quantity(abs(reading.value) * share / COVERAGE_FACTOR, reading.unit, need.uncertainty.text)
    return Quantity(largest.value / COVERAGE_FACTOR, largest.unit, need.uncertainty.text)


def limit_of(state: State, bound: Bound | None, unit: str) -> Limit | None:
    """The bound as a limit in numbers; ``None`` if there is none, or if it depends on a reading that is missing.

    For display: a value is judged by :func:`judge_measurement`, which needs no rounded number.
    """
    match bound:
        case Fixed():
            return bound.limit
        case AboveReading():
            earlier = single_measurement(state, bound.name)
            return None if earlier is None else _limit_above(earlier, bound, unit)
        case _:
            return None


def _limit_above(earlier: Measurement, bound: AboveReading, unit: str, measured: Measurement | None = None) -> Limit:
    """The limit of ``above <value> by <limit>``, in ``unit``; ``earlier`` is the measurement of that value.

    Its text has as many digits as are needed to see on which side of each end ``measured`` is.
    """
    by = interval(bound.by, difference=True)

    def end(difference: Fraction | None) -> Quantity | None:
        if difference is None:
            return None
        return Quantity(decimal(from_base(earlier.exact + difference, unit, difference=earlier.difference)), unit, "")

    def rounded(exact: Quantity | None, written: Quantity | None) -> Quantity | None:
        if exact is None or written is None:
            return None
        same_unit = written.unit == unit
        places = max(decimals_shown(earlier.shown), decimals_shown(written)) + (0 if same_unit else 1)
        places = max(places, decimals_converted(earlier.shown, unit), decimals_converted(written, unit))
        if measured is not None:
            figure = from_base(measured.exact, unit, difference=measured.difference)
            shown = Fraction(round_half_up(figure, decimals_shown(measured.shown)))
            places = decimals_that_tell(Fraction(exact.value), figure, places, shown=shown)
        value = round_half_up(Fraction(exact.value), places)
        if not same_unit:
            return Quantity(without_trailing_zeros(value), unit, "")
        for fewer in range(decimals_shown(written), places):  # no zeros that were not written
            if round_half_up(Fraction(value), fewer) == value:
                return Quantity(round_half_up(Fraction(value), fewer), unit, "")
        return Quantity(value, unit, "")

    low, high = end(by.low), end(by.high)
    shown = Limit(rounded(low, bound.by.low), rounded(high, bound.by.high), "", by.low_open, by.high_open)
    return Limit(low, high, f"{show_limit(shown)} ({bound.text})", by.low_open, by.high_open)


def judged_singly(record: RecordedValue, bound: Bound | None) -> bool:
    """True if each reading is compared with the limit, and not a statistic of all readings."""
    return record.judge == "all" and not isinstance(bound, EqualWithin)


class LimitComparison(Struct, frozen=True):
    """What is compared: an exact figure, the bounds in force and its standard uncertainty, all in the base unit.

    Under a relative limit, the figure is the difference from the earlier value. ``u`` is ``None`` if it is not known:
    ``unknown`` has the names of the values that it depends on, and ``turning`` those of them whose formula could give
    another result.
    """

    figure: Fraction
    bounds: Interval
    u: Fraction | None
    unknown: tuple[str, ...] = ()
    turning: tuple[str, ...] = ()


def comparison_of(
    state: State, value: RecordedValue | CalculatedValue, bound: Bound | None, measured: Measurement
) -> LimitComparison | None:
    """The comparison of one figure with its limit; ``None`` if there is no limit, or if it is not known yet."""
    match bound:
        case Fixed():
            compared, limit, difference = measured, bound.limit, measured.difference
        case AboveReading():
            earlier = single_measurement(state, bound.name)
            if earlier is None:
                return None
            compared, limit, difference = measured.minus(earlier), bound.by, True
        case EqualWithin():
            compared, limit, difference = measured, bound.limit, True
        case AskedLimit() | None:
            return None
    bounds = interval(limit, difference=difference, at=compared.exact)
    return LimitComparison(compared.exact, bounds, compared.uncertainty(value), compared.unknown, compared.turning)


def judge_measurement(
    state: State, value: RecordedValue | CalculatedValue, bound: Bound | None, measured: Measurement
) -> Judgement | None:
    """The verdict on one figure: a reading, a statistic or a calculated value.

    A relative limit is judged as the difference from the earlier value. ``None`` if there is no limit, or if it depends
    on a reading that is missing.
    """
    found = comparison_of(state, value, bound, measured)
    if found is None:
        return None
    judged = judge_exact(found.figure, found.bounds, value.decision, found.u)
    if value.decision == "guarded" and found.turning:
        reason = "the uncertainty of its values is too large to decide an `if` or a rounding step in its formula"
        return replace(judged, reason=f"{' and '.join(found.turning)}: {reason}")
    if value.decision == "guarded" and found.unknown:
        names = " and ".join(found.unknown)
        reason = f"the uncertainty of {names} is not known, and the rule is guarded acceptance. It needs an instrument"
        return replace(judged, reason=f"{reason} with a stated uncertainty")
    return judged


def judge_reading(state: State, record: RecordedValue, measured: Measurement, used: bool) -> Judgement | None:
    """The verdict on one reading; ``None`` if there is no limit, or if the readings are judged together.

    ``used`` selects the limit for used parts.
    """
    bound = bound_in_force(record, used)
    return judge_measurement(state, record, bound, measured) if judged_singly(record, bound) else None


def reading_verdicts(state: State, step: str, record: RecordedValue) -> dict[str, ValueVerdict]:
    """The verdict on each reading that is there, by slot. All are ``none`` if the readings are judged together."""
    measured = recorded_measurements(state, state.step(step), record)
    found: dict[str, ValueVerdict] = {}
    for slot, one in measured.items():
        bound = limit_in_force(state, step, record, slot)
        judged = judge_measurement(state, record, bound, one) if judged_singly(record, bound) else None
        found[slot] = value_verdict(state, record, bound, one, judged)
    return found


def value_verdict(
    state: State,
    value: RecordedValue | CalculatedValue,
    bound: Bound | None,
    measured: Measurement,
    judged: Judgement | None,
) -> ValueVerdict:
    """The verdict on one figure with its texts."""
    measured = _shown_beside_limit(state, bound, value.unit, measured)
    text = limit_text(state, bound, value.unit, measured)
    if judged is None:
        return ValueVerdict("none", (), measured.shown, text)
    acceptance = acceptance_text(judged, value, bound, difference=measured.difference)
    return ValueVerdict(judged.verdict, (), measured.shown, text, judged.reason, judged.conformity, acceptance)


def _shown_beside_limit(state: State, bound: Bound | None, unit: str, measured: Measurement) -> Measurement:
    """``measured``, shown with as many digits as are needed to see on which side of each end it is."""
    limit = bound.limit if isinstance(bound, EqualWithin) else limit_of(state, bound, unit)
    if limit is None:
        return measured
    difference = measured.difference
    number = from_base(measured.exact, unit, difference=difference)
    bounds = interval(limit, difference=difference, at=measured.exact)
    ends = [from_base(end, unit, difference=difference) for end in (bounds.low, bounds.high) if end is not None]
    written = decimals_shown(measured.shown)
    places = max((decimals_that_tell(number, end, written) for end in ends), default=written)
    if places == written:
        return measured
    shown = with_unit(f"{round_half_up(number, places):f}", unit)
    return replace(measured, shown=Quantity(decimal(number), unit, shown))


def limit_text(state: State, bound: Bound | None, unit: str, measured: Measurement | None = None) -> str:
    """The limit as text; a relative limit with its numbers, if the earlier value is there.

    Beside ``measured``, the numbers have enough digits to compare them.
    """
    if isinstance(bound, AboveReading):
        earlier = single_measurement(state, bound.name)
        return bound.text if earlier is None else _limit_above(earlier, bound, unit, measured).text
    return "" if bound is None else bound.text


def acceptance_text(
    judged: Judgement, value: RecordedValue | CalculatedValue, bound: Bound | None, *, difference: bool = False
) -> str:
    """The values that guarded acceptance accepts: ``0.117 .. 0.183 mm``; "" if the limit itself decides.

    The ends are rounded inwards to two significant digits of the guard band, so no rounded end is outside.
    ``difference`` is true for a difference of temperatures.
    """
    found = _acceptance_limits_text(judged, value, difference or not isinstance(bound, Fixed))
    return f"above {bound.name} by {found}" if isinstance(bound, AboveReading) and found not in ("", "none") else found


def _acceptance_limits_text(judged: Judgement, value: RecordedValue | CalculatedValue, difference: bool) -> str:
    if value.decision != "guarded" or (judged.accept_low is None and judged.accept_high is None):
        return ""
    low, high = judged.accept_low, judged.accept_high
    if low is not None and high is not None and low > high:
        return "none"
    accept_low, accept_high = rounded_acceptance(judged, value.unit, difference=difference)
    if accept_low is None:
        return f"at most {with_unit(f'{accept_high:f}', value.unit)}"
    if accept_high is None:
        return f"at least {with_unit(f'{accept_low:f}', value.unit)}"
    return f"{accept_low:f} .. {with_unit(f'{accept_high:f}', value.unit)}"


def judge_value(state: State, step: str, record: RecordedValue) -> ValueVerdict:
    """The verdict on a recorded value: the worst verdict of its readings, or the verdict on their statistic."""
    bound = limit_in_force(state, step, record)
    measured = recorded_measurements(state, state.step(step), record)
    missing = tuple(slot for slot in record.slots if slot not in measured)
    figures = list(measured.values())
    combined = _combined(record, bound, figures) if figures and not missing else None
    text = limits_by_reading(state, step, record) or limit_text(state, bound, record.unit)
    nothing = ValueVerdict("none", missing, None if combined is None else combined.shown, text)
    if bound is None:
        return nothing
    if not judged_singly(record, bound):
        judged = None if combined is None else judge_measurement(state, record, bound, combined)
        if combined is None or judged is None:
            return ValueVerdict("none", missing, None, text) if missing else nothing
        return value_verdict(state, record, bound, combined, judged)
    singles = reading_verdicts(state, step, record)
    worst = worst_verdict(list(singles.values()))
    if worst is None or worst.verdict == "none" or (missing and worst.verdict == "ok"):
        return nothing
    shown = combined.shown if worst.verdict == "ok" and combined is not None else worst.value
    return replace(worst, missing=missing, value=shown)


def worst_verdict(verdicts: Sequence[ValueVerdict]) -> ValueVerdict | None:
    """The first of the worst verdicts; ``None`` if there is none at all."""
    return max(verdicts, key=lambda one: _SEVERITY[one.verdict], default=None)


def _combined(record: RecordedValue, bound: Bound | None, figures: Sequence[Measurement]) -> Measurement:
    """The figure that is compared with the limit, or that is shown for all readings."""
    return spread(figures, record.unit) if isinstance(bound, EqualWithin) else statistic(record, figures)


def figures_to_judge(
    record: RecordedValue, bound: Bound | None, measured: Mapping[str, Measurement]
) -> tuple[Measurement, ...]:
    """What is compared with the limit: each reading, or their statistic, which is not there while one is missing."""
    figures = tuple(measured.values())
    if judged_singly(record, bound):
        return figures
    return (_combined(record, bound, figures),) if len(figures) == len(record.slots) else ()


def statistic_so_far(state: State, step: str, record: RecordedValue) -> tuple[Measurement | None, bool]:
    """The statistic of the readings that are there, and whether all are there.

    ``None`` without a reading, if one reading has no spread yet, and if each reading is judged.
    """
    bound = limit_in_force(state, step, record)
    figures = tuple(recorded_measurements(state, state.step(step), record).values())
    of_several = isinstance(bound, EqualWithin) or record.judge == "spread"
    if judged_singly(record, bound) or len(figures) < (2 if of_several else 1):
        return None, False
    return _combined(record, bound, figures), len(figures) == len(record.slots)


def combined_text(state: State, step: str, record: RecordedValue) -> str:
    """The statistic that is compared with the limit: ``mean 24.7093 mm``.

    Empty while a reading is missing, and if each reading is judged.
    """
    bound = limit_in_force(state, step, record)
    if judged_singly(record, bound):
        return ""
    verdict = judge_value(state, step, record)
    if verdict.missing or verdict.value is None:
        return ""
    label = "spread" if isinstance(bound, EqualWithin) else record.judge
    return f"{label} {verdict.value.entered}"


_SEVERITY: dict[Verdict, int] = {"none": 0, "ok": 0, "not-proven": 1, "low": 2, "high": 2}
"""The rank of each verdict; the highest rank is the worst."""
