"""Combined uncertainty against the end-gauge example of the GUM."""

from math import inf, sqrt

import pytest

from benchflow.trade.uncertainty import Combined, Source, combine, coverage_factor, standard

END_GAUGE = (
    Source("ls", 50_000_623, 25, 18),
    Source("d0", 215, 5.8, 24),
    Source("d1", 0, 3.9, 5),
    Source("d2", 0, 6.7, 8),
    Source("alpha_s", 11.5e-6, standard(2e-6, "uniform")),
    Source("d_alpha", 0, standard(1e-6, "uniform"), 50),
    Source("d_theta", 0, standard(0.05, "uniform"), 2),
    Source("theta_mean", -0.1, 0.2),
    Source("theta_cycle", 0, standard(0.5, "arcsine")),
)
"""JCGM 100:2008 H.1 in nanometres, as in GTC 1.5.1 docs/API/GUM_H1.rst."""


def end_gauge() -> Combined:
    return combine(
        lambda ls, d0, d1, d2, alpha, d_alpha, d_theta, mean, cycle: (
            ls + (d0 + d1 + d2) - ls * (d_alpha * (mean + cycle) + alpha * d_theta)
        ),
        END_GAUGE,
    )


def test_the_end_gauge_is_as_long_and_as_uncertain_as_the_gum_says() -> None:
    found = end_gauge()
    assert found.value == pytest.approx(50_000_838, abs=0.5)
    assert found.u == pytest.approx(32, abs=0.5)
    assert found.u == pytest.approx(31.6639, abs=0.00005)


@pytest.mark.parametrize(
    ("name", "part"),
    [("ls", 25), ("d_theta", 16.599), ("d2", 6.7), ("d0", 5.8), ("d1", 3.9), ("d_alpha", 2.88679), ("alpha_s", 0),
     ("theta_mean", 0), ("theta_cycle", 0)],
)  # fmt: skip
def test_each_input_adds_what_the_gum_says(name: str, part: float) -> None:
    assert end_gauge().parts[name] == pytest.approx(part, abs=0.0005)


def test_effective_freedom_and_the_expanded_uncertainty() -> None:
    found = end_gauge()
    assert found.freedom == pytest.approx(16.752, abs=0.0005)
    k = coverage_factor(found.freedom, 0.99)
    assert k == pytest.approx(2.9208, abs=0.00005)
    assert k * found.u == pytest.approx(92.48, abs=0.005)
    assert pytest.approx(93, abs=0.5) == 2.92 * 32  # the GUM rounds before it multiplies, from memory


def test_the_difference_and_the_temperature_by_themselves() -> None:
    difference = combine(lambda d0, d1, d2: d0 + d1 + d2, END_GAUGE[1:4])
    assert difference.u == pytest.approx(9.6819, abs=0.00005)
    assert difference.freedom == pytest.approx(25.4, abs=0.05)
    temperature = combine(lambda mean, cycle: mean + cycle, END_GAUGE[7:])
    assert temperature.u == pytest.approx(0.40620, abs=0.000005)
    assert temperature.freedom == inf


def test_shapes_divide_as_the_gum_says() -> None:
    assert standard(1, "uniform") == pytest.approx(1 / sqrt(3))
    assert standard(1, "triangular") == pytest.approx(1 / sqrt(6))
    assert standard(1, "arcsine") == pytest.approx(1 / sqrt(2))
    assert standard(1, "normal") == 1


def test_with_no_end_of_freedom_the_factor_is_that_of_the_normal_distribution() -> None:
    assert coverage_factor(inf, 0.95) == pytest.approx(1.959964, abs=1e-6)
