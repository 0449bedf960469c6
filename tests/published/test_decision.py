"""Decision rules compared with ISO 14253-1, JCGM 106 and a printed example."""

from decimal import Decimal
from statistics import NormalDist

import pytest

from benchflow.quantity import parse_limit, parse_quantity
from benchflow.trade.decision_rules import judge


@pytest.mark.parametrize(("reading", "verdict"), [("0.0017 mm", "ok"), ("0.0025 mm", "not-proven")])
def test_micrometer_example_has_the_printed_verdicts(reading: str, verdict: str) -> None:
    # talalspecialbolt.com: permissible error ±0.003 mm, U = 0.0010 mm (k = 2). Its guard band is the full U. The
    # guard band of ISO 14253-1:2017 (0.000825 mm) gives the same verdicts.
    found = judge(parse_quantity(reading), parse_limit("-0.003 .. 0.003 mm"), "guarded", parse_quantity("0.0005 mm"))
    assert found.verdict == verdict


@pytest.mark.parametrize(
    ("reading", "verdict"),
    [
        ("0.0021 mm", "ok"),  # not proven by the full U, which ends at 0.002 mm
        ("0.002175 mm", "ok"),
        ("0.002176 mm", "not-proven"),
        ("-0.002175 mm", "ok"),
        ("-0.002176 mm", "not-proven"),
        ("0.003825 mm", "not-proven"),
        ("0.003826 mm", "high"),
    ],
)
def test_guard_band_is_0_825_of_the_expanded_uncertainty(reading: str, verdict: str) -> None:
    # ISO 14253-1:2017 p. 16 as quoted in a calibration script: 1.65 u = 0.825 U (k = 2).
    found = judge(parse_quantity(reading), parse_limit("-0.003 .. 0.003 mm"), "guarded", parse_quantity("0.0005 mm"))
    assert found.verdict == verdict


def test_guard_band_proves_conformity_of_95_per_cent() -> None:
    # The same source: the guard band is the one-sided 95 % point of the normal distribution, 1.645 u, printed as 1.65.
    found = judge(parse_quantity("0 mm"), parse_limit("at most 1 mm"), "guarded", parse_quantity("0.1 mm"))
    assert found.accept_high is not None
    guard = (1 - float(found.accept_high) * 1000) / 0.1
    assert guard == pytest.approx(NormalDist().inv_cdf(0.95), abs=0.006)


def test_zener_diode_conforms_with_a_probability_of_92_per_cent() -> None:
    # JCGM 106:2012, from memory: -5.47 V, u 0.05, upper limit -5.40: Φ(1.4) = 0.9192.
    found = judge(parse_quantity("-5.47 V"), parse_limit("at most -5.40 V"), "simple", parse_quantity("0.05 V"))
    assert found.conformity == pytest.approx(0.9192, abs=0.00005)
    assert Decimal(f"{found.conformity:.2f}") == Decimal("0.92")


def test_conformity_between_two_limits_is_the_area_under_the_normal_curve() -> None:
    # 1.96 u to each limit: 95 % (any table of the normal distribution).
    found = judge(parse_quantity("5 mm"), parse_limit("3.04 .. 6.96 mm"), "simple", parse_quantity("1 mm"))
    assert found.conformity == pytest.approx(0.950004, abs=0.000001)
