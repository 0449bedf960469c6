"""Torque wrenches with extensions, and their calibration."""

from datetime import date
from decimal import Decimal

import pytest

from benchflow.procedure.model import InstrumentNeed
from benchflow.quantity import Quantity, parse_limit, parse_quantity
from benchflow.trade.instruments import (
    LOWEST_SHARE,
    TORQUE_MONTHS,
    TORQUE_USES,
    Instrument,
    LowOnScale,
    OutOfRange,
    due_date,
    fitness,
)
from benchflow.trade.worked import SumError
from benchflow.trade.wrench import (
    acceptable_readings,
    deviation,
    permitted_deviation,
    setting,
    torque_at_fastener,
    with_extension,
)


def q(text: str) -> Quantity:
    return parse_quantity(text)


@pytest.mark.parametrize(
    ("torque", "lever", "extension", "set_to", "shown", "source"),
    [
        ("300 in-lb", "10 in", "4 in", "214.2857", "214 in-lb",
         "US Army TM 1-1500-204-23-9, fig. 8-16 (aviationmiscmanuals.tpub.com)"),
        ("135 in-lb", "10 in", "1.5 in", "117.39", "117 in-lb",
         "R66 maintenance manual p. 20.4; FAA AC 43.13-1B fig. 7-2 from memory"),
        ("50 ft-lb", "16 in", "2 in", "44.44", "44.4 ft-lb", "performance-tool m199 p. 7 (easymanua.ls)"),
        ("20 ft-lb", "18 in", "3 in", "17.14", "17.1 ft-lb", "marinemechanic.com p. 128"),
    ],
)  # fmt: skip
def test_the_setting_with_an_extension_is_the_printed_one(
    torque: str, lever: str, extension: str, set_to: str, shown: str, source: str
) -> None:
    exact = setting(q(torque), q(lever), q(extension))
    last = Decimal(set_to).as_tuple().exponent
    assert isinstance(last, int)
    assert float(exact.value) == pytest.approx(float(set_to), abs=0.5 * 10.0**last * 1.001), source
    assert with_extension(q(torque), q(lever), q(extension)).lines[0].shown == shown


def test_what_the_fastener_gets_is_worked_out_backwards() -> None:
    # US Army TM 9-254 fig. 4-5 (firetrucksandequipment.tpub.com p. 91): shown 60, arm 12 and 2: it gets 70 in-lb.
    assert torque_at_fastener(q("60 in-lb"), q("12 in"), q("2 in")).value == 70


def test_a_factor_is_never_rounded_on_the_way() -> None:
    # marinemechanic.com p. 128 rounds 18/21 to 0.86, sets 17.20 and finds 20.12 on checking back.
    exact = setting(q("20 ft-lb"), q("18 in"), q("3 in"))
    assert exact.value != Decimal("17.20")
    assert float(torque_at_fastener(exact, q("18 in"), q("3 in")).value) == pytest.approx(20, abs=1e-20)


def test_the_misprinted_rule_for_an_angle_is_not_the_one_used() -> None:
    # TM 9-254 prints L = IT × IA cos a; it must be IT + IA cos a.
    straight = setting(q("100 N·m"), q("400 mm"), q("50 mm"), q("0°"))
    assert straight == setting(q("100 N·m"), q("400 mm"), q("50 mm"))
    turned = setting(q("100 N·m"), q("400 mm"), q("50 mm"), q("60°"))
    assert float(turned.value) == pytest.approx(100 * 400 / (400 + 50 * 0.5), rel=1e-12)


def test_across_the_wrench_nothing_changes_and_pointing_back_it_shortens() -> None:
    assert setting(q("100 N·m"), q("400 mm"), q("50 mm"), q("90°")).value == 100
    back = setting(q("100 N·m"), q("400 mm"), q("50 mm"), q("180°"))
    assert float(back.value) == pytest.approx(100 * 400 / (400 - 50), rel=1e-12)


def test_an_extension_as_long_as_the_wrench_pointing_back_is_refused() -> None:
    with pytest.raises(SumError, match="nothing is left"):
        setting(q("100 N·m"), q("400 mm"), q("400 mm"), q("180°"))
    with pytest.raises(SumError, match="180"):
        setting(q("100 N·m"), q("400 mm"), q("-50 mm"))


def test_the_deviation_is_relative_to_the_reference() -> None:
    # Formula ISO 6789-1 section 7, from memory; edges computed: 96.15 to 104.17, not 96 to 104.
    allowed = acceptable_readings(q("100 N·m"), Decimal(4))
    assert allowed.low is not None
    assert allowed.high is not None
    assert float(allowed.low.value) == pytest.approx(96.15, abs=0.005)
    assert float(allowed.high.value) == pytest.approx(104.17, abs=0.005)
    assert abs(deviation(q("100 N·m"), allowed.low)) == pytest.approx(Decimal(4), abs=Decimal("1e-20"))
    assert deviation(q("100 N·m"), q("96.1 N·m")) > 4
    assert deviation(q("100 N·m"), q("104.1 N·m")) > -4


@pytest.mark.parametrize(("largest", "percent"), [("10 N·m", 6), ("10.1 N·m", 4), ("120 N·m", 4), ("89 in-lb", 4)])
def test_a_small_wrench_may_deviate_by_six_per_cent(largest: str, percent: int) -> None:
    # Facom S.325DA manual, "review of ISO 6789" (manuzoid 7Bakw): 4 % above 10 N·m, 6 % up to it.
    assert permitted_deviation(q(largest)) == percent


def test_calibration_lasts_a_year_or_five_thousand_uses() -> None:
    # norbar.com ArticleID/99 on ISO 6789; FAA AC 43.13-1B 7-40a: at least yearly, at once after a drop.
    assert (TORQUE_MONTHS, TORQUE_USES) == (12, 5000)
    assert due_date(Instrument("w", "torque", calibrated=date(2025, 5, 31))) == date(2026, 5, 31)


def test_nothing_is_promised_below_a_fifth_of_full_scale() -> None:
    # US Army TM 1-1500-204-23-9 table 8-1: ±4 % of reading from 20 % of full scale up, no requirement below.
    assert Decimal("0.2") == LOWEST_SHARE
    wrench = Instrument("w", "torque", range=parse_limit("0 .. 1000 ft-lb"), calibrated=date(2026, 1, 1))
    need = InstrumentNeed("w", "torque")
    day = date(2026, 2, 1)
    assert fitness(wrench, need, q("200 ft-lb"), day) == ()
    assert [type(one) for one in fitness(wrench, need, q("199 ft-lb"), day)] == [LowOnScale]


def test_the_range_begins_at_the_lowest_value_marked() -> None:
    # norbar.com ArticleID/67, /68 (ISO 6789:2017).
    wrench = Instrument("w", "torque", range=parse_limit("10 .. 100 N·m"), calibrated=date(2026, 1, 1))
    found = fitness(wrench, InstrumentNeed("w", "torque"), q("9 N·m"), date(2026, 2, 1))
    assert [type(one) for one in found] == [OutOfRange]
