"""Torque wrenches with extensions, and their calibration."""

from datetime import date
from decimal import Decimal

import pytest

from benchflow.procedure.model import InstrumentNeed
from benchflow.quantity import Quantity, parse_limit, parse_quantity
from benchflow.trade.calculations.inputs import CalculationErrors
from benchflow.trade.calculations.table import calculate
from benchflow.trade.calculations.torque_wrench import setting
from benchflow.trade.instruments import Instrument, due_date, fitness, uses_allowed


def q(text: str) -> Quantity:
    return parse_quantity(text)


@pytest.mark.parametrize(
    ("torque", "lever", "extension", "exact", "shown", "source"),
    [
        ("300 in-lb", "10 in", "4 in", "214.2857", "214 in-lb",
         "US Army TM 1-1500-204-23-9, fig. 8-16 (aviationmiscmanuals.tpub.com)"),
        ("135 in-lb", "10 in", "1.5 in", "117.39", "117 in-lb",
         "a helicopter's maintenance manual p. 20.4; FAA AC 43.13-1B fig. 7-2 from memory"),
        ("50 ft-lb", "16 in", "2 in", "44.44", "44.4 ft-lb", "manual of a wrench, p. 7 (easymanua.ls)"),
        ("20 ft-lb", "18 in", "3 in", "17.14", "17.1 ft-lb", "marinemechanic.com p. 128"),
    ],
)  # fmt: skip
def test_setting_with_an_extension_agrees_with_the_printed_value(
    torque: str, lever: str, extension: str, exact: str, shown: str, source: str
) -> None:
    found = setting(q(torque), q(lever), q(extension))
    last = Decimal(exact).as_tuple().exponent
    assert isinstance(last, int)
    assert float(found.value) == pytest.approx(float(exact), abs=0.5 * 10.0**last * 1.001), source
    inputs = {"torque": torque, "lever": lever, "extension": extension}
    assert calculate("wrench", inputs).lines[0].shown == shown


def test_torque_at_the_fastener_agrees_with_the_printed_value() -> None:
    # US Army TM 9-254 fig. 4-5 (firetrucksandequipment.tpub.com p. 91): setting 60, lever 12, extension 2: 70 in-lb.
    inputs = {"setting": "60 in-lb", "lever": "12 in", "extension": "2 in"}
    assert calculate("wrench-torque", inputs)["torque"].value == 70


def test_lever_share_is_not_rounded_before_use() -> None:
    # marinemechanic.com p. 128 rounds 18/21 to 0.86, gets a setting of 17.20, and calculates back to 20.12.
    exact = setting(q("20 ft-lb"), q("18 in"), q("3 in"))
    assert float(exact.value) == pytest.approx(20 * 18 / 21, rel=1e-15)
    inputs = {"setting": f"{exact.value:.16f} ft-lb", "lever": "18 in", "extension": "3 in"}
    assert float(calculate("wrench-torque", inputs)["torque"].value) == pytest.approx(20, rel=1e-9)


def test_extension_at_an_angle_adds_its_cosine() -> None:
    # TM 9-254 misprints L = IT × IA cos a; it must be IT + IA cos a.
    straight = setting(q("100 N·m"), q("400 mm"), q("50 mm"), q("0°"))
    assert straight == setting(q("100 N·m"), q("400 mm"), q("50 mm"))
    turned = setting(q("100 N·m"), q("400 mm"), q("50 mm"), q("60°"))
    assert float(turned.value) == pytest.approx(100 * 400 / (400 + 50 * 0.5), rel=1e-12)


def test_extension_at_90_degrees_changes_nothing_and_one_pointing_back_shortens_the_lever() -> None:
    # Geometry: cos 90° is 0, cos 180° is -1.
    for across in ("90°", "270°"):
        assert setting(q("100 N·m"), q("400 mm"), q("50 mm"), q(across)).value == 100
    back = setting(q("100 N·m"), q("400 mm"), q("50 mm"), q("180°"))
    assert float(back.value) == pytest.approx(100 * 400 / (400 - 50), rel=1e-12)


@pytest.mark.parametrize(("extension", "allowed"), [("50 mm", True), ("359 mm", True), ("360 mm", False),
                                                    ("400 mm", False), ("500 mm", False)])  # fmt: skip
def test_extension_pointing_back_must_leave_a_tenth_of_the_lever(extension: str, allowed: bool) -> None:
    # Common practice, no source: below a tenth, a millimetre at the grip changes the torque by several per cent.
    inputs = {"torque": "100 N·m", "lever": "400 mm", "extension": extension, "angle": "180°"}
    if allowed:
        back = 400 - float(extension.split()[0])
        assert float(calculate("wrench", inputs)["setting"].value) == pytest.approx(100 * 400 / back, rel=0.005)
    else:
        with pytest.raises(CalculationErrors, match="no lever is left"):
            calculate("wrench", inputs)


def test_extension_below_zero_is_refused() -> None:
    # A length cannot be negative. The message explains how to enter one that points back.
    with pytest.raises(CalculationErrors, match="180"):
        calculate("wrench", {"torque": "100 N·m", "lever": "400 mm", "extension": "-50 mm"})


@pytest.mark.parametrize(
    ("reference", "deviation", "verdict"),
    [("96.154 N·m", "4.00", "within"), ("96.15 N·m", "4.004", "outside"), ("104.166 N·m", "-4.00", "within"),
     ("104.17 N·m", "-4.003", "outside"), ("96.1 N·m", "4.06", "outside"), ("104.1 N·m", "-3.94", "within")],
)  # fmt: skip
def test_deviation_is_relative_to_the_reference(reference: str, deviation: str, verdict: str) -> None:
    # Formula of ISO 6789-1 section 7, from memory; edges computed: 96.154 to 104.167, not 96 to 104.
    # The text has them rounded inwards, so that each reading in it is permitted.
    found = calculate("wrench-check", {"shown": "100 N·m", "reference": reference, "largest": "120 N·m"})
    assert found["deviation"].value == Decimal(deviation)
    assert found.notes[0].startswith(f"That is {verdict} ±4 %. The reference may read 96.16 .. 104.16 N·m")


@pytest.mark.parametrize(("largest", "percent"), [("10 N·m", 6), ("10.1 N·m", 4), ("120 N·m", 4), ("89 in-lb", 4)])
def test_small_wrench_may_deviate_by_six_per_cent(largest: str, percent: int) -> None:
    # A wrench maker's manual, "review of ISO 6789": 4 % above 10 N·m, 6 % up to it.
    found = calculate("wrench-check", {"shown": "8 N·m", "reference": "8 N·m", "largest": largest})
    assert f"±{percent} %" in found.notes[0]


def test_calibration_lasts_a_year_or_five_thousand_uses() -> None:
    # A wrench maker's page on ISO 6789. FAA AC 43.13-1B 7-40a: at least once a year, and after each drop.
    wrench = Instrument("w", "torque", calibrated=date(2025, 5, 31))
    assert due_date(wrench) == date(2026, 5, 31)
    assert uses_allowed(wrench) == 5000


def test_wrench_is_not_used_below_a_fifth_of_its_scale() -> None:
    # US Army TM 1-1500-204-23-9 table 8-1: ±4 % of reading from 20 % of full scale up, no requirement below.
    wrench = Instrument("w", "torque", range=parse_limit("0 .. 1000 ft-lb"), calibrated=date(2026, 1, 1))
    need = InstrumentNeed("w", "torque")
    day = date(2026, 2, 1)
    assert fitness(wrench, need, q("200 ft-lb"), day) == ()
    assert [type(one).__name__ for one in fitness(wrench, need, q("199 ft-lb"), day)] == ["LowOnScale"]


def test_range_begins_at_the_lowest_value_marked() -> None:
    # ISO 6789:2017, as a wrench maker's page states it.
    wrench = Instrument("w", "torque", range=parse_limit("10 .. 100 N·m"), calibrated=date(2026, 1, 1))
    found = fitness(wrench, InstrumentNeed("w", "torque"), q("9 N·m"), date(2026, 2, 1))
    assert [type(one).__name__ for one in found] == ["OutOfRange"]
