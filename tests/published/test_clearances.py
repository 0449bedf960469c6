"""Clearances compared with printed rules of thumb. Limits and misprints from manuals."""

from decimal import Decimal

import pytest

from benchflow.procedure.reader import read
from benchflow.quantity import QuantityError, parse_limit, parse_quantity
from benchflow.trade.calculations.table import calculate


def test_bearing_rule_is_a_thousandth_per_inch_of_journal() -> None:
    # A page of a trade magazine prints "about .0024" for a journal of 2.375 in.
    found = calculate("bearing", {"bore": "2.3774 in", "journal": "2.3750 in"})
    assert (found["clearance"].value, found["rule"].value) == (Decimal("0.0024"), Decimal("0.0024"))
    # The same page allows .0005 in more: .002875.
    assert found["rule-high"].value == Decimal("0.0029")
    assert "within the usual range" in found.notes[0]
    wide = calculate("bearing", {"bore": "2.3785 in", "journal": "2.3750 in"})
    assert "above the usual range" in wide.notes[0]
    none = calculate("bearing", {"bore": "2.3750 in", "journal": "2.3750 in"})
    assert none.cautions[0].text == "There is no clearance. Do not turn the engine."


@pytest.mark.parametrize(
    ("use", "top", "second"),
    [
        ("street", "0.016", "0.020"), ("modified", "0.020", "0.022"), ("racing", "0.022", "0.021"),
        ("nitrous-or-turbo-race", "0.024", "0.023"), ("blower", "0.028", "0.025"),
    ],
)  # fmt: skip
def test_ring_gaps_of_a_four_inch_bore_agree_with_the_printed_values(use: str, top: str, second: str) -> None:
    # A ring maker's rule, as quoted in a forum. The top gaps are printed there. The second gaps are computed from its
    # factors.
    found = calculate("ring-gap", {"bore": "4.00 in", "use": use})
    assert found["top"].value == Decimal(top)
    assert found["second"].value == Decimal(second)


@pytest.mark.parametrize(
    ("use", "top", "second"),
    [
        ("street", "0.4000", "0.5000"), ("modified", "0.5000", "0.5500"), ("racing", "0.5500", "0.5300"),
        ("nitrous-or-turbo-race", "0.6000", "0.5700"), ("blower", "0.7000", "0.6300"),
    ],
)  # fmt: skip
def test_ring_gaps_of_a_hundred_millimetre_bore_follow_from_the_factors(use: str, top: str, second: str) -> None:
    # Computed by the same rule: top .0040/.0050/.0055/.0060/.0070, second .0050/.0055/.0053/.0057/.0063.
    found = calculate("ring-gap", {"bore": "100 mm", "use": use})
    assert (found["top"].value, found["second"].value) == (Decimal(top), Decimal(second))


@pytest.mark.parametrize(("factor", "gap"), [("0.0045", "0.018"), ("0.0050", "0.020")])
def test_ring_gap_by_the_makers_factor_agrees_with_the_printed_value(factor: str, gap: str) -> None:
    # A trade magazine of January 2019, p. 58: bore 4.030 in. The exact values are .018135 and .02015.
    assert calculate("ring-gap", {"bore": "4.030 in", "factor": factor})["top"].value == Decimal(gap)


def test_oil_rails_have_the_printed_minimum_gap() -> None:
    # A ring maker's sheet: oil rail at least .015 in.
    assert calculate("ring-gap", {"bore": "4.00 in", "use": "street"})["rail"].value == Decimal("0.015")
    assert calculate("ring-gap", {"bore": "100 mm", "use": "street"})["rail"].value == Decimal("0.38")


@pytest.mark.parametrize(("valve", "minimum"), [("intake", "0.080 in"), ("exhaust", "0.100 in")])
def test_usual_minimum_between_piston_and_valve_agrees_with_the_printed_value(valve: str, minimum: str) -> None:
    # A trade page and a forum: .080 intake, .100 exhaust. Other pages differ.
    assert calculate("piston-to-valve", {"measured": minimum, "valve": valve})["spare"].value == 0
    short = calculate("piston-to-valve", {"measured": "0.075 in", "valve": valve})
    assert short["spare"].value < 0
    assert "less than the usual minimum" in short.cautions[0].text


def test_lash_is_added_to_a_clearance_measured_at_zero_lash() -> None:
    # By arithmetic: 0.075 + 0.012 = 0.087 in, 0.007 in above the usual 0.080 in.
    found = calculate("piston-to-valve", {"measured": "0.075 in", "valve": "intake", "lash": "0.012 in"})
    assert (found["clearance"].value, found["spare"].value) == (Decimal("0.087"), Decimal("0.007"))


def test_flatness_error_of_twelve_inches_agrees_with_the_printed_value() -> None:
    # A service manual of 2000: .00075 in per inch. For 12 in it prints .009 in (0.22 mm, cut off from 0.2286).
    assert calculate("flatness", {"span": "12 in"})["allowed"].value == Decimal("0.009")


LIMITS = [
    # The text as printed, and its source.
    ("0.080 .. 0.114 mm", "US Army TM 9-2815-254-24 p. 3-156, cam end play"),
    ("at most 0.2 mm (0.008 in)", "the same, its limit"),
    ("0.002 in (0.05 mm)", "the same, cam bearing clearance"),
    ("at most 0.005 in (0.12 mm)", "the same, its limit"),
    ("0.0016 .. 0.0037 in", "a service manual, cam end play"),
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
def test_limit_can_be_written_as_manuals_print_it(text: str, source: str) -> None:
    parse = parse_limit if ".." in text or text.startswith("at") else parse_quantity
    assert parse(text), source


MISPRINTS = [
    ("0.082 .. 0.0044 in (0.080 .. 0.114 mm)", "US Army TM 9-2815-254-24: the low limit must be .0032 in"),
    ("0.0082 .. 0.0044 in", "the same with the point where it was meant: low above high"),
    ("at most 1.0 mm (0.004 in)", "a service manual of 2000: 0.10 mm is meant"),
    ("at most 0.0007 mm/mm (0.0004 in/in)", "a service manual of 2002: the same ratio with two values"),
]


@pytest.mark.parametrize(("text", "source"), MISPRINTS)
def test_misprint_copied_from_a_manual_is_an_error(text: str, source: str) -> None:
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
