"""The control chart of individual values and moving ranges, compared with a published example.

Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.2 "Individuals Control Charts"
(https://www.itl.nist.gov/div898/handbook/pmc/section3/pmc322.htm): ten batches of flow rate. Data and
results are from several public transcriptions, which agree. The page itself was not read.
"""

from math import pi, sqrt

import pytest

from benchflow.review.many.control_chart import D2, D4, E2, chart_of, limits_of, moving_ranges

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
    assert pytest.approx(2.660, abs=5e-4) == E2
