"""Sentences about the chart of a reading: outliers, drift, runs and jumps."""

from collections.abc import Sequence
from fractions import Fraction

from benchflow.quantity.shown import magnitude, round_half_up
from benchflow.review.many.control_chart import Chart, Drift
from benchflow.review.many.trend_series import Point, rounded_to
from benchflow.trade.rounding import without_trailing_zeros
from benchflow.trade.verdict import OUT_OF_LIMIT


def chart_sentences(points: Sequence[Point], chart: Chart | None, unit: str) -> list[str]:
    found = [f"{p.unit}: {p.shown} {unit} is outside its limit {p.limit}." for p in points if p.verdict in OUT_OF_LIMIT]
    if chart is None:
        return [*found, "Only one build has this reading: a trend takes two or more."]
    if chart.drift is not None:
        found += [_drift_sentence(chart, points[-1], unit), _chance_sentence(chart.drift)]
    limits = chart.limits
    apart = f"are within {rounded_to(limits.lower, points)} .. {rounded_to(limits.upper, points)} {unit}"
    if chart.drift is not None:
        apart = "follow the drift"
    for place in chart.outliers:
        found.append(f"{points[place].unit}: {points[place].shown} {unit} is an outlier; the others {apart}.")
    for run in () if chart.drift is not None else chart.runs:  # a drift always has a run at each end
        above = "above" if run.side == "high" else "below"
        first, last = points[run.end - run.length + 1].unit, points[run.end].unit
        found.append(f"{run.length} builds in a row are {above} the mean, {first} to {last}.")
    for place in chart.jumps:
        if {place - 1, place} & set(chart.outliers):
            continue  # the outlier explains the change
        found.append(
            f"The change from {points[place - 1].unit} to {points[place].unit} is larger than expected by chance."
        )
    if chart.drift is None and chart.slope is not None:
        odds = _odds(chart.slope.by_chance)
        found.append(f"No drift: chance alone gives a slope like this in {odds} of this length.")
    if len({point.limit for point in points}) > 1:
        found.append(f"The limit is not the same for all builds. The chart has that of {points[-1].unit}.")
    return found


def _chance_sentence(drift: Drift) -> str:
    return f"Chance alone gives such a drift in {_odds(drift.by_chance)} of this length."


def _odds(chance: float) -> str:
    """``about one of 200 histories``, to one or two digits."""
    if chance < 1e-6:
        return "less than one of 1,000,000 histories"
    among = 1 / chance
    if among < 1.5:
        return "most histories"
    if among < 10:
        return f"about one of {among:.0f} histories"
    digits = 10 ** (len(str(int(among))) - 2)
    return f"about one of {round(among / digits) * digits:,} histories"


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
