"""Readings far from their limit. Source of the cases: common practice (slipped decimal points, mixed units), no source.

Conversions: 1 in = 25.4 mm (international yard and pound, 1959), 1 ft-lb = 1.3558 N·m.
"""

import pytest

from benchflow.quantity import interval, parse_limit, parse_quantity
from benchflow.trade.implausible_readings import is_far_off, other_unit_of


@pytest.mark.parametrize(
    ("reading", "limit"),
    [
        ("3.175 mm", "139.6 .. 139.8 mm"),
        ("5.5 mm", "139.6 .. 139.8 mm"),
        ("1397 mm", "139.6 .. 139.69 mm"),
        ("0.51 mm", "at most 0.05 mm"),
        ("0.6 bar", "at least 7 bar"),
        ("440 mm", "38.0 .. 50.0 mm"),
        ("4.4 mm", "38.0 .. 50.0 mm"),
        ("-0.21 mm", "-0.01 .. 0.02 mm"),
    ],
)
def test_ten_times_or_a_tenth_of_the_limit_is_far_off(reading: str, limit: str) -> None:
    assert is_far_off(parse_quantity(reading), interval(parse_limit(limit)))


@pytest.mark.parametrize(
    ("reading", "limit"),
    [
        ("139.7 mm", "139.6 .. 139.8 mm"),
        ("150 mm", "139.6 .. 139.8 mm"),
        ("0.001 mm", "at most 0.05 mm"),
        ("0.4 mm", "at most 0.05 mm"),
        ("120 bar", "at least 7 bar"),
        ("0 mm", "-0.01 .. 0.02 mm"),
        ("2 °C", "80 .. 95 °C"),
        ("60 mm", "38.0 .. 50.0 mm"),
        ("150 mm", "1 .. 100 mm"),
        ("0.6 mm", "1 .. 100 mm"),
        ("0.1 mm", "at most 0 mm"),
    ],
)
def test_reading_of_the_same_size_as_its_limit_is_not_far_off(reading: str, limit: str) -> None:
    assert not is_far_off(parse_quantity(reading), interval(parse_limit(limit)))


@pytest.mark.parametrize(
    ("reading", "limit", "unit"),
    [
        ("5.5 mm", "139.6 .. 139.8 mm", "in"),
        ("74 N·m", "95 .. 105 N·m", "ft-lb"),
        ("139.7 mm", "139.6 .. 139.8 mm", ""),
        ("0.31 mm", "0.20 .. 0.30 mm", ""),
        ("3.175 mm", "139.6 .. 139.8 mm", ""),
    ],
)
def test_unit_that_would_put_the_number_inside_the_limit_is_found(reading: str, limit: str, unit: str) -> None:
    assert other_unit_of(parse_quantity(reading), interval(parse_limit(limit))) == unit
