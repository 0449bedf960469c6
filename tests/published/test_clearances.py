"""Clearances: rules of thumb as printed, and misprints of real manuals that an author would copy."""

from decimal import Decimal
from fractions import Fraction

import pytest

from benchflow.procedure.reader import read
from benchflow.quantity import QuantityError, parse_limit, parse_quantity
from benchflow.trade.clearances import bearing, flatness, piston_to_valve, ring_gap, rule_of_thumb


def test_a_thousandth_to_the_inch_of_journal() -> None:
    # moparmusclemagazine mopp_0806: 2.375 in wants "about .0024".
    assert rule_of_thumb(parse_quantity("2.375 in")).value == Decimal("0.002375")
    found = bearing(parse_quantity("2.3774 in"), parse_quantity("2.3750 in"))
    assert (found["clearance"].value, found["rule"].value) == (Decimal("0.0024"), Decimal("0.0024"))


@pytest.mark.parametrize(
    ("use", "top", "second"),
    [
        ("street", "0.016", "0.020"), ("modified", "0.020", "0.022"), ("racing", "0.022", "0.021"),
        ("nitrous-or-turbo-race", "0.024", "0.023"), ("blower", "0.028", "0.025"),
    ],
)  # fmt: skip
def test_ring_gaps_of_a_four_inch_bore(use: str, top: str, second: str) -> None:
    # Wiseco's rule as quoted at ramforum: .0040 / .0050 / .0055 / .0060 / .0070 of the bore for the top ring.
    found = ring_gap(parse_quantity("4.00 in"), use)
    assert found["top"].value == Decimal(top)
    assert found["second"].value == Decimal(second)


@pytest.mark.parametrize(("factor", "gap"), [("0.0045", "0.018"), ("0.0050", "0.020")])
def test_ring_gaps_by_the_makers_own_factor(factor: str, gap: str) -> None:
    # nbm.uberflip, The Shop 2019-01 p. 58: bore 4.030; computed .018135 and .02015.
    found = ring_gap(parse_quantity("4.030 in"), "", parse_quantity(factor, unit=""))
    assert found["top"].value == Decimal(gap)


def test_another_maker_takes_a_quarter_more_for_the_second_ring() -> None:
    # supertech: top .0045 street, second 1.25 times the top; oil rail at least .015 in. Makers differ, so the sum
    # takes the factor from whoever made the ring.
    top = ring_gap(parse_quantity("4.00 in"), "", parse_quantity("0.0045", unit=""))["top"].value
    assert top * Decimal("1.25") == Decimal("0.0225")
    assert any("0.015 in" in note for note in ring_gap(parse_quantity("4.00 in"), "street").notes)


@pytest.mark.parametrize(("valve", "least"), [("intake", "0.080 in"), ("exhaust", "0.100 in")])
def test_the_usual_least_between_piston_and_valve(valve: str, least: str) -> None:
    # fordmuscle.com, hpacademy forum: .080 intake, .100 exhaust; others differ (lcengineering, hotrod.com).
    assert piston_to_valve(parse_quantity(least), valve)["spare"].value == 0
    short = piston_to_valve(parse_quantity("0.075 in"), valve)
    assert short["spare"].value < 0
    assert "less than the usual least" in short.notes[0]


def test_flatness_by_the_length() -> None:
    # A service manual of 2000 (charm): .00075 in to the inch; 12 in: .009 in (0.22 mm).
    found = flatness(parse_quantity("12 in"))["allowed"].value
    assert found == Decimal("0.009")
    assert round(found * Decimal("25.4"), 2) == Decimal("0.23")  # it prints 0.22, cut off from 0.2286


LIMITS = [
    # As printed, and by whom.
    ("0.080 .. 0.114 mm", "US Army TM 9-2815-254-24 p. 3-156, cam end play"),
    ("at most 0.2 mm (0.008 in)", "the same, its limit"),
    ("0.002 in (0.05 mm)", "the same, cam bearing clearance"),
    ("at most 0.005 in (0.12 mm)", "the same, its limit"),
    ("0.0016 .. 0.0037 in", "issuhub 42018, cam end play"),
    ("at most 0.0047 in (0.12 mm)", "the same, its limit"),
    ("0.02 .. 0.20 mm", "myvehicle.help, cam end play"),
    ("at most 0.05 mm (0.002 in)", "two service manuals, head flatness"),
    ("at most 0.2 mm (0.008 in)", "the same, service limit"),
    ("at most 0.03 mm", "two service manuals, head flatness"),
    ("0.09 .. 0.27 mm", "a service manual of 2019, crank end play"),
    ("0.10 .. 0.35 mm", "the same, connecting-rod side clearance"),
    ("0.020 .. 0.038 mm", "the same, rod bearing clearance"),
]


@pytest.mark.parametrize(("text", "source"), LIMITS)
def test_limits_can_be_written_as_manuals_print_them(text: str, source: str) -> None:
    parse = parse_limit if ".." in text or text.startswith("at") else parse_quantity
    assert parse(text), source


MISPRINTS = [
    ("0.082 .. 0.0044 in (0.080 .. 0.114 mm)", "US Army TM 9-2815-254-24: the low limit must be .0032 in"),
    ("0.0082 .. 0.0044 in", "the same with the point where it was meant: low above high"),
    ("at most 1.0 mm (0.004 in)", "a service manual of 2000: 0.10 mm is meant"),
    ("at most 0.0007 mm/mm (0.0004 in/in)", "a service manual of 2002: the same ratio with two values"),
]


@pytest.mark.parametrize(("text", "source"), MISPRINTS)
def test_a_misprint_copied_from_a_manual_is_caught(text: str, source: str) -> None:
    with pytest.raises(QuantityError):
        parse_limit(text)
    found = read(
        f"""\
benchflow: 1
id: misprint
title: Copied from a manual
revision: "1"
sections:
  - title: Measure
    operations:
      - id: measure
        title: Measure
        record:
          value: {{ask: Read it, unit: mm, limit: "{text}"}}
"""
    )
    assert found.procedure is None, source
    assert any(problem.line == 11 for problem in found.problems)


def test_a_service_limit_with_a_slipped_point_is_far_from_any_rule() -> None:
    # A service manual prints ring gaps of .010-.016 in new and "MAX 0.19" in service (a slipped point, so we read
    # it). Nothing in the text contradicts itself; held against the rule of thumb for its bore it stands out.
    usual = ring_gap(parse_quantity("4.00 in"), "blower")["top"].value
    assert Fraction("0.19") > 5 * Fraction(usual)
