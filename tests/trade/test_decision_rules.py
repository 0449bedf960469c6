"""Verdicts on readings by decision rules."""

from decimal import Decimal
from fractions import Fraction
from statistics import NormalDist

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.quantity import Interval, Limit, Quantity, convert, parse_limit, parse_quantity
from benchflow.trade.decision_rules import conformity, conformity_text, judge


def q(text: str) -> Quantity:
    return parse_quantity(text)


BAND = parse_limit("0.10 .. 0.28 mm")


@pytest.mark.parametrize(
    ("reading", "verdict"),
    [("0.10 mm", "ok"), ("0.28 mm", "ok"), ("0.099 mm", "low"), ("0.2801 mm", "high")],
)
def test_both_ends_of_a_limit_are_ok(reading: str, verdict: str) -> None:
    found = judge(q(reading), BAND, "simple")
    assert found.verdict == verdict


@pytest.mark.parametrize(
    ("reading", "verdict"),
    [
        # u is 0.010 mm, so the guard band is 0.0165 mm on both sides of each end.
        ("0.1165 mm", "ok"),
        ("0.1164 mm", "not-proven"),
        ("0.0835 mm", "not-proven"),
        ("0.0834 mm", "low"),
        ("0.2635 mm", "ok"),
        ("0.2636 mm", "not-proven"),
        ("0.2965 mm", "not-proven"),
        ("0.2966 mm", "high"),
    ],
)
def test_reading_within_the_guard_band_is_not_proven(reading: str, verdict: str) -> None:
    found = judge(q(reading), BAND, "guarded", q("0.010 mm"))
    assert found.verdict == verdict


def test_reading_without_uncertainty_is_not_proven_by_the_guarded_rule() -> None:
    for reading in ("0.19 mm", "9 mm"):
        found = judge(q(reading), BAND, "guarded", None)
        assert found.verdict == "not-proven"
        assert found.conformity is None
        assert "not known" in found.reason


@pytest.mark.parametrize(
    ("reading", "reason"),
    [
        ("0.05 mm", "below the limit by more than the guard band"),
        ("0.11 mm", "within the guard band of the limit"),
        ("0.19 mm", "within the limit by more than the guard band"),
        ("0.27 mm", "within the guard band of the limit"),
        ("0.30 mm", "above the limit by more than the guard band"),
    ],
)
def test_guarded_verdict_states_its_reason(reading: str, reason: str) -> None:
    assert judge(q(reading), BAND, "guarded", q("0.010 mm")).reason == reason


def test_reading_in_a_limit_narrower_than_two_guard_bands_is_not_proven() -> None:
    found = judge(q("0.19 mm"), BAND, "guarded", q("0.06 mm"))
    assert found.verdict == "not-proven"
    assert "no reading can be ok" in found.reason


def test_ok_in_a_narrow_limit_has_a_probability_of_95_per_cent() -> None:
    # The limit is 3.4 u wide. At its middle, each end is 1.7 u away: 2 × Φ(-1.7) = 8.9 % are outside.
    limit, u = parse_limit("-0.017 .. 0.017 mm"), q("0.010 mm")
    found = judge(q("0 mm"), limit, "guarded", u)
    assert found.conformity == pytest.approx(NormalDist().cdf(1.7) - NormalDist().cdf(-1.7))
    assert found.verdict == "not-proven"


@given(st.integers(20, 120), st.integers(-70, 70))
def test_guarded_verdict_agrees_with_its_probability(width: int, at: int) -> None:
    # In units of u / 10. NormalDist is the independent reference.
    half = width / 20
    limit, normal = parse_limit(f"-{half:f} .. {half:f} mm"), NormalDist(at / 10, 1)
    found = judge(q(f"{at / 10} mm"), limit, "guarded", q("1 mm"))
    inside = normal.cdf(half) - normal.cdf(-half)
    assert found.conformity == pytest.approx(inside, abs=1e-9)
    assert (found.verdict == "ok") <= (inside >= 0.95)
    assert (found.verdict == "low") <= (normal.cdf(-half) >= 0.95)
    assert (found.verdict == "high") <= (1 - normal.cdf(half) >= 0.95)
    assert found.accept_low is not None
    assert found.accept_high is not None
    accepted = found.accept_low <= Fraction(at, 10000) <= found.accept_high
    assert accepted == (found.verdict == "ok")
    # At most 1.65 u from the nearer end, or just at 95 %: nothing safe is refused.
    if inside >= 0.9506 and found.verdict == "not-proven":
        assert min(half - at / 10, half + at / 10) < 1.65


def test_limit_with_one_end_has_one_guard_band() -> None:
    limit = parse_limit("at most 0.05 mm")
    assert judge(q("0 mm"), limit, "guarded", q("0.01 mm")).verdict == "ok"
    assert judge(q("0.04 mm"), limit, "guarded", q("0.01 mm")).verdict == "not-proven"


def test_acceptance_limits_are_narrower_than_the_limit_by_the_guard_band() -> None:
    # By hand: the guard band is 1.65 × 0.010 mm = 0.0165 mm; base unit m.
    found = judge(q("0.19 mm"), BAND, "guarded", q("0.010 mm"))
    assert (found.accept_low, found.accept_high) == (Fraction("0.0001165"), Fraction("0.0002635"))
    assert (found.reject_low, found.reject_high) == (Fraction("0.0000835"), Fraction("0.0002965"))
    simple = judge(q("0.19 mm"), BAND, "simple", q("0.010 mm"))
    assert (simple.accept_low, simple.accept_high) == (Fraction("0.0001"), Fraction("0.00028"))
    assert (simple.reject_low, simple.reject_high) == (Fraction("0.0001"), Fraction("0.00028"))


@pytest.mark.parametrize(("text", "is_open"), [("at most 0.05 mm", "low"), ("at least 0.05 mm", "high")])
def test_open_end_of_a_limit_has_no_acceptance_limit(text: str, is_open: str) -> None:
    for decision in ("simple", "guarded"):
        found = judge(q("0.05 mm"), parse_limit(text), decision, q("0.01 mm"))
        low, high = (found.accept_low, found.reject_low), (found.accept_high, found.reject_high)
        assert (None in low, None in high) == (is_open == "low", is_open == "high")


def test_guard_band_of_a_temperature_is_the_same_in_each_unit() -> None:
    limit = parse_limit("80 .. 90 °C")
    for u in ("1 °C", "1.8 °F"):
        assert judge(q("183.0 °F"), limit, "guarded", q(u)).verdict == "ok"  # 83.9 °C
        assert judge(q("178.9 °F"), limit, "guarded", q(u)).verdict == "not-proven"  # 81.6 °C


lengths = st.decimals(Decimal("0.001"), Decimal("0.5"), places=4)
uncertainties = st.decimals(Decimal("0.0001"), Decimal("0.05"), places=4)


@settings(max_examples=150)
@given(lengths, lengths, lengths, uncertainties, st.sampled_from(["in", "thou"]))
def test_unit_of_a_reading_does_not_change_its_verdict(
    reading: Decimal, one: Decimal, other: Decimal, u: Decimal, unit: str
) -> None:
    # An inch is an exact decimal number of millimetres, so both readings are exactly the same length.
    def both(value: Decimal) -> tuple[Quantity, Quantity]:
        imperial = Quantity(value, unit, "")
        return imperial, convert(imperial, "mm")

    low, high = sorted((one, other))
    ends = [both(low), both(high)]
    inch = Limit(ends[0][0], ends[1][0], "")
    metric = Limit(ends[0][1], ends[1][1], "")
    for decision in ("simple", "guarded"):
        verdicts = {
            judge(r, limit, decision, uncertainty).verdict
            for r in both(reading)
            for limit in (inch, metric)
            for uncertainty in both(u)
        }
        assert len(verdicts) == 1


@settings(max_examples=100)
@given(lengths, lengths, lengths, uncertainties)
def test_guarded_verdict_equals_the_simple_verdict_or_is_not_proven(
    reading: Decimal, one: Decimal, other: Decimal, u: Decimal
) -> None:
    low, high = (Quantity(end, "mm", "") for end in sorted((one, other)))
    simple = judge(Quantity(reading, "mm", ""), Limit(low, high, ""), "simple")
    guarded = judge(Quantity(reading, "mm", ""), Limit(low, high, ""), "guarded", Quantity(u, "mm", ""))
    assert guarded.verdict in (simple.verdict, "not-proven")


def test_conformity_at_a_limit_is_50_per_cent_and_is_never_shown_as_certain() -> None:
    assert conformity(Fraction(5), Interval(None, Fraction(5)), Fraction(1)) == pytest.approx(0.5)
    ends = Interval(Fraction(5), Fraction(9))
    assert [conformity(Fraction(x), ends, Fraction(0)) for x in (4, 5, 9, 10)] == [0, 1, 1, 0]
    assert conformity(Fraction(10), Interval(Fraction(5), None), Fraction(0)) == 1.0
    assert conformity(Fraction(1), Interval(None, Fraction(9)), Fraction(0)) == 1.0
    assert conformity_text(1.0) == "more than 99.9 %"
    assert conformity_text(0.9995) == "more than 99.9 %"  # one decimal would show 100.0 %
    assert conformity_text(0.9994) == "99.9 %"
    assert conformity_text(0.0005) == "0.1 %"
    assert conformity_text(0.0004) == "less than 0.1 %"
    assert conformity_text(0.91924) == "91.9 %"
    assert conformity_text(0.0) == "less than 0.1 %"
