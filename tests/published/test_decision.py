"""Decision rules against ILAC-G8, ISO 14253-1 and JCGM 106."""

from decimal import Decimal
from fractions import Fraction

import pytest

from benchflow.quantity import parse_limit, parse_quantity
from benchflow.trade.decision import (
    GUARD_BANDS,
    GUARD_FACTOR,
    conformity,
    four_outcomes,
    global_risks,
    judge,
    specific_risk,
)


@pytest.mark.parametrize(
    ("rule", "ratio", "printed", "computed"),
    [
        ("6 sigma", Fraction(3), 1e-6, 9.9e-10),
        ("3 sigma", Fraction(3, 2), 0.0016, 0.00135),
        ("ILAC-G8:2009", Fraction(1), 0.025, 0.0228),
        ("ISO 14253-1:2017", Fraction(83, 100), 0.05, 0.0485),
        ("simple acceptance", Fraction(0), 0.50, 0.50),
    ],
)
def test_guard_bands_and_their_risks_are_those_of_the_table(
    rule: str, ratio: Fraction, printed: float, computed: float
) -> None:
    # ILAC-G8:09/2019 pp. 8-10 (fliphtml5.com/szbrq); its printed risks are rounder than Φ(−2r), never smaller.
    assert GUARD_BANDS[rule] == ratio
    risk = specific_risk(ratio)
    assert risk == pytest.approx(computed, rel=0.01)
    assert risk <= printed


def test_the_edition_of_2017_guards_by_1_65_u_not_by_the_whole_expanded_uncertainty() -> None:
    # ISO 14253-1:2017 p. 16 as quoted in a calibration script: 95 % conformity, 1.65 u = 0.825 U (k = 2).
    assert Fraction(165, 100) == GUARD_FACTOR
    assert specific_risk(GUARD_FACTOR / 2) == pytest.approx(0.0495, abs=0.00005)
    # Its factor comes from Φ⁻¹(0.95) = 1.645: with U 0.10 and k 2 a guard band of 0.0823 (an id'd script).
    assert pytest.approx(0.0823, abs=0.0001) == 1.6449 / 2 * 0.10


@pytest.mark.parametrize(
    ("reading", "full_u", "by_2017"), [("0.0017 mm", "in", "in"), ("0.0025 mm", "not-proven", "not-proven")]
)
def test_the_micrometer_example_comes_out_as_printed(reading: str, full_u: str, by_2017: str) -> None:
    # talalspecialbolt.com: MPE ±0.003 mm, U 0.0010: acceptance ±0.002 by the full U (the older reading of the
    # standard); +0.0017 conforms, +0.0025 is not proven. The 2017 guard band of 0.000825 says the same of both.
    value, limit = parse_quantity(reading), parse_limit("-0.003 .. 0.003 mm")
    outcome = four_outcomes(Fraction(value.value), Fraction("-0.003"), Fraction("0.003"), Fraction("0.001"))
    assert (outcome == "pass") == (full_u == "in")
    assert judge(value, limit, "guarded", parse_quantity("0.0005 mm")).verdict == by_2017


def test_the_two_editions_part_between_their_acceptance_limits() -> None:
    # +0.0021 mm: beyond 0.002 (full U), within 0.002175 (0.825 U).
    value = parse_quantity("0.0021 mm")
    assert four_outcomes(Fraction(value.value), None, Fraction("0.003"), Fraction("0.001")) == "conditional-pass"
    limit = parse_limit("-0.003 .. 0.003 mm")
    assert judge(value, limit, "guarded", parse_quantity("0.0005 mm")).verdict == "in"


def test_global_risks_of_the_resistors() -> None:
    # JCGM 106:2012, inputs as named in a script (equation 21): 1500 Ω, u0 0.12, um 0.04, T 1499.8..1500.2,
    # A 1499.82..1500.18. Computed: 0.904, 0.00988, 0.0690; printed 1 % and 7 % (from memory).
    found = global_risks(1500, 0.12, 0.04, (1499.8, 1500.2), (1499.82, 1500.18))
    assert found.conforming == pytest.approx(0.904, abs=0.0005)
    assert found.consumer == pytest.approx(0.00988, abs=0.000005)
    assert found.producer == pytest.approx(0.0690, abs=0.00005)


def test_risks_of_one_sided_limits_add_up() -> None:
    found = global_risks(0, 1, 0.2, (None, 1.0), (None, 0.9))
    assert found.conforming == pytest.approx(0.8413447, abs=1e-6)
    # Accepted share by the measured distribution: Φ(0.9 / √1.04).
    accepted = found.conforming - found.producer + found.consumer
    assert accepted == pytest.approx(0.8112476, abs=1e-5)


def test_the_zener_diode_conforms_with_ninety_two_per_cent() -> None:
    # JCGM 106:2012, from memory: −5.47 V, u 0.05, upper limit −5.40: Φ(1.4) = 0.9192.
    chance = conformity(Fraction("-5.47"), None, Fraction("-5.40"), Fraction("0.05"))
    assert chance == pytest.approx(0.9192, abs=0.00005)
    found = judge(parse_quantity("-5.47 V"), parse_limit("at most -5.40 V"), "simple", parse_quantity("0.05 V"))
    assert Decimal(f"{found.conformity:.2f}") == Decimal("0.92")
