"""Control charts find outliers, shifts and drifts, and seldom find a drift in pure scatter."""

from collections.abc import Sequence
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchflow.review.many.control_chart import RUN, Drift, chart_of, limits_of, slope_of


def drift_of(values: Sequence[float], low: float | None = None, high: float | None = None) -> Drift | None:
    """The slope of ``values`` if it is significant."""
    slope = slope_of(values, low, high)
    return slope if slope is not None and slope.significant else None


def test_outlier_is_marked() -> None:
    values = [10.0, 10.1, 9.9, 10.0, 10.1, 9.9, 10.0, 12.0, 10.1, 9.9, 10.0, 10.1]
    assert chart_of(values).outliers == (7,)
    assert chart_of(values).jumps == (7, 8)


def test_drift_states_the_builds_left_to_the_limit() -> None:
    chance = Random(4)
    values = [0.15 + 0.002 * n + chance.gauss(0, 0.002) for n in range(20)]
    drift = drift_of(values, 0.10, 0.28)
    assert drift is not None
    assert drift.towards == "high"
    assert drift.per_point == pytest.approx(0.002, rel=0.2)
    assert drift.points_left == pytest.approx((0.28 - 0.188) / 0.002, rel=0.2)


def test_drift_without_a_limit_has_no_builds_left() -> None:
    drift = drift_of([10.0 - n for n in range(10)], high=20.0)
    assert drift is not None
    assert (drift.towards, drift.points_left) == ("low", None)


def test_random_scatter_is_rarely_reported_as_a_drift() -> None:
    called = sum(drift_of([chance.gauss(0, 1) for _ in range(30)]) is not None for chance in map(Random, range(300)))
    assert called <= 6  # three standard errors are exceeded by about one in 180 of thirty points


def test_equal_readings_have_no_outliers_and_no_drift() -> None:
    chart = chart_of([0.1] * 12)
    assert (chart.outliers, chart.jumps, chart.runs, chart.drift) == ((), (), (), None)


def test_shift_gives_a_run_on_one_side() -> None:
    values = [10.0, 10.2] * 6 + [11.0, 11.1] * 5
    (run,) = [run for run in chart_of(values).runs if run.side == "high"]
    assert (run.end, run.length) == (21, 10)
    assert not chart_of([10.0, 10.2] * RUN).runs


def test_chart_needs_two_readings() -> None:
    with pytest.raises(ValueError, match="two values"):
        limits_of([1.0])


@given(st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=30), st.floats(-1e5, 1e5))
def test_limits_move_with_the_readings(values: list[float], by: float) -> None:
    one, other = limits_of(values), limits_of([value + by for value in values])
    assert other.centre == pytest.approx(one.centre + by, abs=1e-4)
    assert other.upper - other.lower == pytest.approx(one.upper - one.lower, abs=1e-3)


@pytest.mark.parametrize("count", [5, 10, 20])
@pytest.mark.parametrize("place", ["first", "middle", "last"])
def test_one_odd_value_is_the_only_outlier(count: int, place: str) -> None:
    """It does not hide itself by wide limits, and the run of the others below the mean is not reported."""
    chance = Random(7)
    values = [10 + chance.gauss(0, 0.1) for _ in range(count)]
    at = {"first": 0, "middle": count // 2, "last": count - 1}[place]
    values[at] += 2
    chart = chart_of(values)
    assert chart.outliers == (at,)
    assert chart.limits.upper < 11
    assert (chart.runs, chart.drift) == ((), None)


def test_two_odd_values_do_not_hide_each_other() -> None:
    values = [10.0, 10.1, 9.9, 10.0, 14.0, 10.1, 9.9, 14.1, 10.0, 10.1]
    assert chart_of(values).outliers == (4, 7)


def test_few_or_coarse_readings_have_no_outlier() -> None:
    assert chart_of([10.0, 10.0, 14.0]).outliers == ()
    coarse = [0.15] * 9 + [0.16]
    assert chart_of(coarse, step=0.01).outliers == ()
    assert chart_of(coarse, step=0.001).outliers == (9,)


def test_scatter_rarely_gives_an_outlier() -> None:
    named = sum(bool(chart_of([chance.gauss(0, 1) for _ in range(8)]).outliers) for chance in map(Random, range(400)))
    assert named <= 16  # about one in a hundred by the test, one or two by the three-sigma limits


def test_chance_of_a_slope_agrees_with_shuffling() -> None:
    """A permutation test knows no distribution: it counts how often the shuffled readings slope as much."""
    chance = Random(2)
    values = [0.04 * place + chance.gauss(0, 0.5) for place in range(14)]
    slope = slope_of(values)
    assert slope is not None
    tries, as_steep = 4000, 0
    mean = (len(values) - 1) / 2
    observed = abs(sum((place - mean) * value for place, value in enumerate(values)))
    for _ in range(tries):
        chance.shuffle(values)
        as_steep += abs(sum((place - mean) * value for place, value in enumerate(values))) >= observed
    assert slope.by_chance == pytest.approx(as_steep / tries, abs=0.03)
    assert 0.02 < slope.by_chance < 0.9


@pytest.mark.parametrize("odd", [0, 6, 12])
def test_jump_names_the_odd_value_and_not_its_neighbour(odd: int) -> None:
    """The value is inside the limits of wide scatter, but the readings jump to it and back."""
    values = [9.6, 9.8, 10.0, 10.2, 10.0, 9.8, 10.0, 10.2, 10.4, 10.2, 10.0, 9.8, 9.6]
    values[odd] += 0.9 if odd == 6 else 1.3
    chart = chart_of(values)
    assert chart.outliers == (odd,)
    step = [10.0, 10.1, 9.9, 10.0, 10.1, 9.9, 11.0, 11.1, 10.9, 11.0, 11.1, 10.9]
    assert not {5, 6} & set(chart_of(step).outliers)  # a step of the level has two sides that are alike
