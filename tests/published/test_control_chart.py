"""The control chart of individual values and moving ranges, compared with a published example.

Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.2 "Individuals Control Charts"
(https://www.itl.nist.gov/div898/handbook/pmc/section3/pmc322.htm): ten batches of flow rate. Data and
results are from several public transcriptions, which agree. The page itself was not read.

Outliers: the same handbook, section 1.3.5.17.3 "Generalized Extreme Studentized Deviate Test for Outliers", with the
data of Rosner (1983), from memory.
"""

from math import pi, sqrt

import pytest

from benchflow.review.many.control_chart import D2, D4, chart_of, limits_of, moving_ranges
from benchflow.review.many.outlying_values import outlying_places
from benchflow.review.many.student_t import grubbs_value, two_sided_probability, two_sided_value

FLOW_RATE = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_limits_of_a_chart_agree_with_the_published_example() -> None:
    limits = limits_of(FLOW_RATE)
    assert limits.centre == pytest.approx(50.81, abs=5e-3)
    assert limits.range_centre == pytest.approx(1.8778, abs=5e-5)
    assert limits.upper == pytest.approx(55.8041, abs=5e-5)
    assert limits.lower == pytest.approx(45.8159, abs=5e-5)


def test_published_example_has_no_point_out_of_control() -> None:
    assert chart_of(FLOW_RATE).outliers == ()
    assert moving_ranges(FLOW_RATE)[:3] == pytest.approx([2.0, 2.3, 1.4])


def test_constants_follow_from_the_normal_distribution() -> None:
    """d2 is the mean range of two standard normal values and d3 its standard deviation (derived here)."""
    d2 = 2 / sqrt(pi)
    d3 = sqrt(2 - d2**2)
    assert pytest.approx(d2, abs=5e-4) == D2
    assert pytest.approx(1 + 3 * d3 / d2, abs=5e-4) == D4
    assert pytest.approx(2.660, abs=5e-4) == 3 / D2


ROSNER = [
    -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56, 1.58, 1.65, 1.69, 1.70,
    1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10, 2.14, 2.15, 2.23, 2.24, 2.26, 2.35, 2.37, 2.40,
    2.47, 2.54, 2.62, 2.64, 2.90, 2.92, 2.92, 2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01,
]  # fmt: skip


def test_outliers_agree_with_the_published_example() -> None:
    """Three outliers, although neither of the first two differs enough when it is tried alone."""
    assert [ROSNER[place] for place in outlying_places(ROSNER, chance=0.05)] == [5.34, 5.42, 6.01]


@pytest.mark.parametrize(("count", "value"), [(54, 3.158), (53, 3.151), (52, 3.143), (51, 3.136)])
def test_critical_values_agree_with_the_published_example(count: int, value: float) -> None:
    assert grubbs_value(count, 0.05) == pytest.approx(value, abs=1e-3)


@pytest.mark.parametrize(
    ("freedom", "probability", "t"), [(1, 0.05, 12.706), (3, 0.01, 5.841), (10, 0.05, 2.228), (30, 0.01, 2.750)]
)
def test_student_t_agrees_with_the_published_table(freedom: int, probability: float, t: float) -> None:
    """The values are those of any table of the t distribution, from memory."""
    assert two_sided_value(probability, freedom) == pytest.approx(t, abs=1e-3)
    assert two_sided_probability(t, freedom) == pytest.approx(probability, rel=1e-3)
