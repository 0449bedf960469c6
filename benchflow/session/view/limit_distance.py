"""How far a figure is outside its limit, and the statistic of the readings of a value, as text for the bench view."""

from fractions import Fraction

from benchflow.procedure.model import Bound, EqualWithin, Fixed, RecordedValue
from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity
from benchflow.quantity.arithmetic import base, from_base
from benchflow.quantity.shown import decimals_converted, decimals_shown, decimals_that_tell, round_half_up, with_unit
from benchflow.quantity.types import Limit
from benchflow.session.rules.verdicts import (
    LimitComparison,
    comparison_of,
    judge_measurement,
    limit_in_force,
    statistic_so_far,
    value_verdict,
)
from benchflow.session.state.state import State
from benchflow.trade.verdict import VERDICT_TEXT, Verdict

MORE_DIGITS = 3
"""How many digits more than its reading a distance may have to be exact, where the limit has no figures of its own."""


def distance_outside(found: LimitComparison, unit: str, shown: Quantity, bound: Bound | None = None) -> str:
    """The distance of a figure from the end of its limit that it passes: ``0.02 mm``; "" if it is inside.

    Of a limit that is printed in two units, it is the distance from the end printed in ``unit``. It is exact if the
    digits of ``shown`` or of that end are enough; otherwise it is rounded to the digits of ``shown``. If no end is
    printed in ``unit``, three digits more than those of ``shown`` are enough for a limit that is not fixed.
    """
    low, high = found.bounds.low, found.bounds.high
    column = _column(bound.limit, unit) if isinstance(bound, Fixed) else None
    if low is not None and found.figure < low:
        end = low if column is None or column.low is None else base(column.low)
        exact = from_base(end - found.figure, unit, difference=True)
    elif high is not None and found.figure > high:
        end = high if column is None or column.high is None else base(column.high)
        exact = from_base(found.figure - end, unit, difference=True)
    else:
        return ""
    places = decimals_converted(shown, unit)
    most = max(places, _decimals(column)) if isinstance(bound, Fixed) else places + MORE_DIGITS
    fitting = (n for n in range(places, most + 1) if round_half_up(exact, n) == exact)
    digits = next(fitting, decimals_that_tell(exact, Fraction(0), places))
    return with_unit(f"{round_half_up(exact, digits):f}", unit)


def _column(limit: Limit, unit: str) -> Limit | None:
    """The column of a limit that is printed in ``unit``."""
    if any(end is not None and end.unit == unit for end in (limit.low, limit.high)):
        return limit
    return None if limit.other is None else _column(limit.other, unit)


def _decimals(column: Limit | None) -> int:
    """The most decimals of the figures of a column."""
    printed = () if column is None else (column.low, column.high, column.nominal)
    return max((decimals_shown(figure) for figure in printed if figure is not None), default=0)


def reading_distance(
    found: LimitComparison, unit: str, shown: Quantity, verdict: Verdict, bound: Bound | None = None
) -> str:
    """How far a reading is outside: ``by 0.02 mm`` beside its verdict, else ``0.02 mm above``; "" if it is inside.

    A reading of a value that is judged by a statistic has no verdict of its own.
    """
    distance = distance_outside(found, unit, shown, bound)
    if not distance or verdict == "not-proven":
        return ""
    if verdict != "none":
        return f"by {distance}"
    return f"{distance} {'above' if found.bounds.high is not None and found.figure > found.bounds.high else 'below'}"


def combined_summary(state: State, step: Step, record: RecordedValue) -> tuple[str, Verdict]:
    """The statistic of the readings with its verdict: ``mean 0.13 mm, HIGH by 0.01 mm``; ("", "none") if there is none.

    While readings are missing, it is ``mean so far 0.13 mm``.
    """
    measured, complete = statistic_so_far(state, step.id, record)
    if measured is None:
        return "", "none"
    bound = limit_in_force(state, step.id, record)
    judged = value_verdict(state, record, bound, measured, judge_measurement(state, record, bound, measured))
    found = comparison_of(state, record, bound, measured)
    shown = judged.value or measured.shown
    distance = "" if found is None else reading_distance(found, record.unit, shown, judged.verdict, bound)
    label = "spread" if isinstance(bound, EqualWithin) else record.judge
    text = f"{label}{'' if complete else ' so far'} {shown.entered}"
    word = " ".join(filter(None, (VERDICT_TEXT[judged.verdict], distance)))
    return (f"{text}, {word}" if word else text), judged.verdict
