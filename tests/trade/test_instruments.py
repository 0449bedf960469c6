"""Fitness of instruments, and the reasons against it."""

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from benchflow.procedure.model import InstrumentNeed
from benchflow.quantity import parse_limit, parse_quantity
from benchflow.trade.instruments import (
    FixedUncertainty,
    Instrument,
    PercentUncertainty,
    add_months,
    due_date,
    fitness,
    is_torque,
    same_kind,
    standard_uncertainty,
)

TODAY = date(2026, 3, 1)
WRENCH = Instrument(
    "tw", "torque", "Click wrench", "T-1", parse_limit("20 .. 120 N·m"),
    uncertainty=PercentUncertainty(Decimal(4), "4 %"), calibrated=date(2026, 1, 15),
)  # fmt: skip
NEED = InstrumentNeed("wrench", "torque", uncertainty=parse_limit("at most 4 %"))


def kinds(instrument: Instrument, value: str | None, need: InstrumentNeed = NEED, on: date = TODAY) -> list[str]:
    reasons = fitness(instrument, need, parse_quantity(value) if value else None, on)
    assert all(reason.message for reason in reasons)
    return [type(reason).__name__ for reason in reasons]


@pytest.mark.parametrize(
    ("wanted", "reasons"),
    [
        ("60 N·m", []),
        ("120 N·m", []),
        ("121 N·m", ["OutOfRange"]),
        ("24 N·m", []),
        ("23.9 N·m", ["LowOnScale"]),
        ("19 N·m", ["OutOfRange"]),
        ("19 mm", ["OtherQuantity"]),
        ("88 ft-lb", []),  # 119.3 N·m
        ("89 ft-lb", ["OutOfRange"]),  # 120.7 N·m
    ],
)
def test_wrench_is_fit_within_its_range_and_above_a_fifth_of_its_scale(wanted: str, reasons: list[str]) -> None:
    assert kinds(WRENCH, wanted) == reasons


def test_micrometer_is_fit_at_the_bottom_of_its_scale() -> None:
    micrometer = Instrument("m", "micrometer", range=parse_limit("0 .. 25 mm"))
    assert kinds(micrometer, "0.5 mm", InstrumentNeed("m", "micrometer")) == []


@pytest.mark.parametrize(
    ("change", "reasons"),
    [
        ({"due": date(2026, 3, 1)}, []),
        ({"due": date(2026, 2, 28)}, ["CalibrationOver"]),
        ({"calibrated": date(2025, 3, 1)}, []),
        ({"calibrated": date(2025, 2, 28)}, ["CalibrationOver"]),
        ({"calibrated": None}, ["NoCalibration"]),
        ({"uses_before": 4999}, []),
        ({"uses_before": 4000, "uses_in": {"a": 600, "b": 400}}, ["UsesOver"]),
        ({"uses_before": 600, "uses_allowed": 500}, ["UsesOver"]),
        ({"retired": date(2026, 3, 1)}, ["Retired"]),
        ({"retired": date(2026, 3, 2)}, []),
        ({"doubt": "dropped"}, ["InDoubt"]),
        ({"uncertainty": None}, ["UncertaintyUnknown"]),
        ({"uncertainty": PercentUncertainty(Decimal(6), "6 %")}, ["TooUncertain"]),
        ({"range": None}, ["RangeUnknown"]),
        ({"kind": "micrometer"}, ["OtherKind"]),
    ],
)
def test_each_reason_why_a_wrench_is_not_fit_is_found(change: dict[str, object], reasons: list[str]) -> None:
    assert kinds(replace(WRENCH, **change), "60 N·m") == reasons


def test_all_reasons_are_listed_at_once() -> None:
    bad = replace(WRENCH, due=date(2025, 1, 1), doubt="dropped", uncertainty=PercentUncertainty(Decimal(6), "6 %"))
    assert kinds(bad, "10 N·m") == ["InDoubt", "CalibrationOver", "OutOfRange", "TooUncertain"]


def test_range_must_include_the_whole_range_that_the_need_covers() -> None:
    assert kinds(WRENCH, None, replace(NEED, covers=parse_limit("20 .. 120 N·m"))) == []
    assert kinds(WRENCH, None, replace(NEED, covers=parse_limit("20 .. 130 N·m"))) == ["OutOfRange"]


def test_fixed_uncertainty_is_compared_as_a_percentage_of_the_value() -> None:
    gauge = Instrument("g", "pressure", range=parse_limit("0 .. 10 bar"),
                       uncertainty=FixedUncertainty(parse_quantity("0.1 bar"), "0.1 bar"))  # fmt: skip
    need = InstrumentNeed("g", "pressure", uncertainty=parse_limit("at most 4 %"))
    assert kinds(gauge, "2.5 bar", need) == []
    assert kinds(gauge, "2.4 bar", need) == ["TooUncertain"]


def test_standard_uncertainty_is_the_expanded_uncertainty_divided_by_k() -> None:
    found = standard_uncertainty(WRENCH, parse_quantity("60 N·m"))
    assert found is not None
    assert (found.value, found.unit) == (Decimal("1.2"), "N·m")
    mic = Instrument(
        "m", "micrometer", uncertainty=FixedUncertainty(parse_quantity("0.004 mm"), "0.004 mm"), k=Decimal(2)
    )
    inches = standard_uncertainty(mic, parse_quantity("2.0000 in"))
    assert inches is not None
    assert float(inches.value) == pytest.approx(0.002 / 25.4)


def test_spelling_of_a_kind_does_not_matter() -> None:
    assert same_kind("Dial Indicator", "dial-indicator")
    assert is_torque("torque wrench")
    assert not is_torque("micrometer")


@given(st.dates(date(1990, 1, 1), date(2080, 1, 1)), st.integers(1, 60))
def test_added_months_keep_the_day_or_end_on_the_last_day_of_the_month(day: date, months: int) -> None:
    later = add_months(day, months)
    assert (later.year - day.year) * 12 + later.month - day.month == months
    assert later.day <= day.day


def test_calibration_on_a_leap_day_is_due_at_the_end_of_february() -> None:
    assert due_date(replace(WRENCH, calibrated=date(2024, 2, 29))) == date(2025, 2, 28)
