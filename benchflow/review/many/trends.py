"""The trend of a reading over all builds, and the durations of operations.

Only valid readings and finished work count. Simulated sessions are left out, with a note, if there are real ones.
"""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from statistics import median, quantiles

from msgspec import Struct

from benchflow.quantity import Quantity, QuantityError, base, convert, show_short
from benchflow.quantity.arithmetic import from_base
from benchflow.quantity.shown import decimals_shown, magnitude, round_half_up
from benchflow.review.formatting import count
from benchflow.review.log.facts import ReadingFact
from benchflow.review.log.margin import band
from benchflow.review.many.control_chart import Chart, chart_of
from benchflow.review.many.session_question import (
    OperationSubject,
    Question,
    ReadingSubject,
    SessionMatch,
    SessionSource,
)
from benchflow.trade.rounding import without_trailing_zeros
from benchflow.trade.verdict import OUT_OF_LIMIT


class Point(Struct, frozen=True):
    """The value of one build: its reading, or the mean of several. ``limit`` is the limit of that build.

    ``shown``, ``low_shown`` and ``high_shown`` are the value and the ends of the limit rounded for display, without a
    unit.
    """

    session: str
    unit: str  # the unit under build
    at: str
    value: float
    low: float | None
    high: float | None
    limit: str
    verdict: str
    seq: int
    path: str
    simulated: bool
    shown: str
    low_shown: str
    high_shown: str


class Series(Struct, frozen=True):
    """One value over the builds, in the order of measuring and in one unit. ``chart`` is ``None`` for fewer than two
    points. ``telling`` are sentences about the chart, the worst first."""

    name: str
    measured_in: str
    points: tuple[Point, ...]
    chart: Chart | None
    telling: tuple[str, ...]

    def rounded(self, value: float) -> str:
        """A figure that is calculated from the points, such as their mean, with one decimal more than they have."""
        return _rounded(value, self.points)


class Trend(Struct, frozen=True):
    """A reading over all builds, one series per place. ``notes`` name what was left out, with the reason."""

    series: tuple[Series, ...]
    notes: tuple[str, ...]


def trend_over_builds(source: SessionSource, name: str, since: str = "", until: str = "") -> Trend:
    """The value ``name`` over all builds, one series for each of its places (``journal[1]``, ``journal[2]``)."""
    found, notes = _without_simulated(source.ask(Question(ReadingSubject(name), since, until)))
    readings: dict[str, dict[str, list[tuple[SessionMatch, ReadingFact]]]] = {}
    for one in found:
        for reading in one.readings:
            if reading.in_force:
                of_session = readings.setdefault(reading.name, {})
                of_session.setdefault(one.session.session, []).append((one, reading))
    series: list[Series] = []
    for full_name, sessions in sorted(readings.items()):
        made, skipped = _series_of_value(full_name, list(sessions.values()))
        series.append(made)
        notes += skipped
    return Trend(tuple(series), tuple(notes))


def _without_simulated(found: Sequence[SessionMatch]) -> tuple[list[SessionMatch], list[str]]:
    real = [one for one in found if not one.session.simulated]
    if real and len(real) < len(found):
        number = len(found) - len(real)
        return real, [f"{count(number, 'simulated job')} left out."]
    return list(found), ["All of these jobs are simulated."] if found and not real else []


def _series_of_value(name: str, sessions: list[list[tuple[SessionMatch, ReadingFact]]]) -> tuple[Series, list[str]]:
    last = max((pair for pairs in sessions for pair in pairs), key=lambda pair: pair[1].at)
    unit = last[1].unit  # of the latest build
    points: list[Point] = []
    skipped: list[str] = []
    for pairs in sessions:
        point = _point_of_build(pairs, unit)
        if point is None:
            skipped.append(
                f"{pairs[0][0].session.unit}: {name} is in {pairs[0][1].unit}, which cannot be compared with {unit}."
            )
        else:
            points.append(point)
    points.sort(key=lambda point: (point.at, point.session))
    chart = None
    if len(points) > 1:
        newest = points[-1]
        chart = chart_of([point.value for point in points], newest.low, newest.high)
    return Series(name, unit, tuple(points), chart, tuple(_chart_sentences(points, chart, unit))), skipped


def _point_of_build(pairs: list[tuple[SessionMatch, ReadingFact]], unit: str) -> Point | None:
    """The point of one build: the mean and the worst verdict of its readings; ``None`` if the dimension differs."""
    found, last = max(pairs, key=lambda pair: pair[1].seq)
    try:
        values = [convert(Quantity(Decimal(r.value), r.unit, r.entered), unit) for _, r in pairs]
    except QuantityError:
        return None
    within = band(last.limit, unit)
    worst = min((r.verdict for _, r in pairs), key=["low", "high", "not-proven", "none", "ok"].index)
    exact = from_base(sum((base(value) for value in values), Fraction(0)) / len(values), unit)
    return Point(
        found.session.session, found.session.unit, last.at, float(exact),
        None if within.low is None else float(within.low), None if within.high is None else float(within.high),
        last.limit, worst, last.seq, found.path, found.session.simulated,
        _mean_text(exact, values), _without_unit(within.low_text), _without_unit(within.high_text),
    )  # fmt: skip


def _mean_text(exact: Fraction, values: Sequence[Quantity]) -> str:
    """One reading to the digits that it bears; the mean of several with one decimal more, if it is not exact before."""
    if len(values) == 1:
        return _without_unit(show_short(values[0]))
    places = max(decimals_shown(value) for value in values)
    short = round_half_up(exact, places)
    return f"{short if Fraction(short) == exact else round_half_up(exact, places + 1):f}"


def _without_unit(text: str) -> str:
    return text.split(" ")[0].removesuffix("°")


def _rounded(value: float, points: Sequence[Point]) -> str:
    places = max((len(point.shown.partition(".")[2]) for point in points), default=0)
    return f"{round_half_up(Fraction(value), places + 1):f}"


def _chart_sentences(points: list[Point], chart: Chart | None, unit: str) -> list[str]:
    found = [f"{p.unit}: {p.shown} {unit} is outside its limit {p.limit}." for p in points if p.verdict in OUT_OF_LIMIT]
    if chart is None:
        return [*found, "Only one build has this reading: a trend takes two or more."]
    if chart.drift is not None:
        found.append(_drift_sentence(chart, points[-1], unit))
    limits = chart.limits
    apart = f"are within {_rounded(limits.lower, points)} .. {_rounded(limits.upper, points)} {unit}"
    if chart.drift is not None:
        apart = "follow the drift"
    for place in chart.outliers:
        found.append(f"{points[place].unit}: {points[place].shown} {unit} is an outlier; the others {apart}.")
    for run in () if chart.drift is not None else chart.runs:  # a drift always has a run at each end
        above = "above" if run.side == "high" else "below"
        found.append(f"{run.length} builds in a row are {above} the mean, the last one {points[run.end].unit}.")
    for place in chart.jumps:
        found.append(
            f"The change from {points[place - 1].unit} to {points[place].unit} is larger than expected by chance."
        )
    return found


def _drift_sentence(chart: Chart, newest: Point, unit: str) -> str:
    drift = chart.drift
    assert drift is not None
    direction = "up" if drift.towards == "high" else "down"
    change = Fraction(abs(drift.per_point))
    places = max(0, 1 - magnitude(change)) if change else 0  # two significant digits
    words = f"It drifts {direction} by {without_trailing_zeros(round_half_up(change, places)):f} {unit} per build"
    if drift.points_left is None:
        return f"{words}; there is no limit on that side."
    if drift.points_left < 1:
        return f"{words}, and has reached its limit {newest.limit}."
    return f"{words}: at this rate it reaches its limit {newest.limit} in about {drift.points_left:.0f} builds."


# --- durations of operations ---------------------------------------------------------------------------


class OperationDuration(Struct, frozen=True):
    """The time that an operation is in progress, in seconds, over the builds in which it was finished."""

    operation: str
    builds: int
    shortest: float
    quarter: float
    middle: float
    three_quarters: float
    longest: float
    longest_unit: str  # the unit under build of the longest


class OperationDurations(Struct, frozen=True):
    """The durations of an operation, one entry per place. ``notes`` name what was left out, with the reason."""

    operations: tuple[OperationDuration, ...]
    notes: tuple[str, ...]


def operation_durations(source: SessionSource, operation: str, since: str = "", until: str = "") -> OperationDurations:
    """The durations of ``operation``, one entry for each of its places."""
    found, notes = _without_simulated(source.ask(Question(OperationSubject(operation), since, until)))
    times: dict[str, list[tuple[float, str]]] = {}
    for one in found:
        for fact in one.operations:
            if fact.done:
                times.setdefault(fact.operation, []).append((fact.active, one.session.unit))
    return OperationDurations(
        tuple(_duration_of_operation(name, all_of) for name, all_of in times.items()), tuple(notes)
    )


def _duration_of_operation(name: str, times: list[tuple[float, str]]) -> OperationDuration:
    seconds = sorted(time for time, _ in times)
    quarters = quantiles(seconds, n=4, method="inclusive") if len(seconds) > 1 else [seconds[0]] * 3
    longest = max(times)
    return OperationDuration(
        name, len(seconds), seconds[0], quarters[0], median(seconds), quarters[2], longest[0], longest[1]
    )
