"""Rounded results agree with their verdicts: no lost drag, no limit rounded outwards, no minus zero."""

import pytest

from benchflow.trade.calculations.inputs import CalculationErrors
from benchflow.trade.calculations.result import CalculationResult
from benchflow.trade.calculations.table import calculate


def shown(result: CalculationResult, name: str) -> str:
    return next(line.shown for line in result.lines if line.name == name)


@pytest.mark.parametrize(
    ("torque", "drag", "total"),
    [
        ("10 N·m", "4 in-lb", "10.45 N·m"),  # 4 × 0.112985 = 0.452
        ("100 ft-lb", "8 in-lb", "100.67 ft-lb"),
        ("60 in-lb", "8 in-lb", "68 in-lb"),
        ("60 in-lb", "0 N·m", "60 in-lb"),
        ("60.5 in-lb", "1 N·m", "69.4 in-lb"),  # 8.851
        ("100 N·m", "2.5 in-lb", "100.28 N·m"),  # 0.2825
    ],
)
def test_drag_in_another_unit_is_not_lost_in_rounding(torque: str, drag: str, total: str) -> None:
    assert shown(calculate("drag", {"torque": torque, "drag": drag}), "setting") == total


def test_drag_is_added_to_both_ends_of_a_range() -> None:
    # FAA AC 43.13-1B, table 7-1: 50 to 70 in-lb for 1/4-28, with 8 in-lb of drag.
    found = calculate("drag", {"torque": "50 .. 70 in-lb", "drag": "8 in-lb"})
    assert (shown(found, "setting"), shown(found, "setting-high")) == ("58 in-lb", "78 in-lb")


@pytest.mark.parametrize(
    ("torque", "message"),
    [("at most 70 in-lb", "both ends"), ("50 .. 70 mm", "torque"), ("0 .. 70 in-lb", "from 0.001"), ("x", "Write it")],
)
def test_other_range_of_torque_is_refused(torque: str, message: str) -> None:
    with pytest.raises(CalculationErrors, match=message) as caught:
        calculate("drag", {"torque": torque, "drag": "8 in-lb"})
    assert [error.field for error in caught.value.errors] == ["torque"]


def test_range_without_a_unit_has_the_unit_of_the_field() -> None:
    found = calculate("drag", {"torque": "50 .. 70", "drag": "8"}, use_field_units=True)
    assert (shown(found, "setting"), shown(found, "setting-high")) == ("58 N·m", "78 N·m")


def test_range_is_converted_and_set_with_an_extension_at_both_ends() -> None:
    found = calculate("torque", {"torque": "50 .. 70 in-lb", "unit": "N·m"})
    assert (shown(found, "torque"), shown(found, "torque-high")) == ("5.649 N·m", "7.909 N·m")
    found = calculate("wrench", {"torque": "50 .. 70 in-lb", "lever": "10 in", "extension": "4 in"})
    assert (shown(found, "setting"), shown(found, "setting-high")) == ("35.7 in-lb", "50.0 in-lb")


@pytest.mark.parametrize(
    ("reference", "verdict", "deviation"),
    [("96.15 N·m", "outside", "4.004 %"), ("96.16 N·m", "within", "3.99 %"), ("104.16 N·m", "within", "-3.99 %"),
     ("104.17 N·m", "outside", "-4.003 %")],
)  # fmt: skip
def test_readings_that_a_wrench_check_permits_are_within(reference: str, verdict: str, deviation: str) -> None:
    found = calculate("wrench-check", {"shown": "100 N·m", "reference": reference, "largest": "120 N·m"})
    assert found.notes[0] == f"That is {verdict} ±4 %. The reference may read 96.16 .. 104.16 N·m."
    assert shown(found, "deviation") == deviation


def test_exact_end_of_the_permitted_readings_stays() -> None:
    found = calculate("wrench-check", {"shown": "96 N·m", "reference": "100 N·m", "largest": "120 N·m"})
    assert found.notes[0] == "That is within ±4 %. The reference may read 92.31 .. 100.00 N·m."


def test_piston_to_valve_shows_why_it_is_below_the_minimum() -> None:
    # The minimum of 0.080 in is 2.032 mm.
    found = calculate("piston-to-valve", {"measured": "2.03 mm", "valve": "intake"})
    assert (shown(found, "minimum"), shown(found, "spare")) == ("2.032 mm", "-0.002 mm")
    assert found.cautions
    found = calculate("piston-to-valve", {"measured": "2.032 mm", "valve": "intake"})
    assert (shown(found, "spare"), found.cautions) == ("0.000 mm", ())


def test_value_rounded_to_zero_has_no_minus_sign() -> None:
    found = calculate("tdc", {"before": "42.0°", "after": "42.0°"})
    assert not any(line.shown.startswith("-0") for line in found.lines)
    inputs = {"stroke": "88.4 mm", "rod": "144.8 mm", "angle": "0°", "deck": "-0.00001 mm"}
    assert shown(calculate("piston-position", inputs), "below-deck") == "0.000 mm"


@pytest.mark.parametrize(
    ("name", "inputs", "line", "result"),
    [
        # By hand: 0.701 / 7 = 10.014 %; 4 × 0.096 / 0.868 × 0.17² × 220² = 618.8 N.
        ("leak-down", {"supply": "7 bar", "cylinder": "6.299 bar", "limit": "at most 10 %"}, "leakage", "10.01 %"),
        ("belt-tension", {"mass": "96 g", "length": "868 mm", "span": "170 mm", "frequency": "220 Hz",
                          "limit": "at least 619 N"}, "tension", "618.8 N"),
        ("belt-tension", {"mass": "96 g", "length": "868 mm", "span": "170 mm", "frequency": "220 Hz",
                          "limit": "at most 618.8 N"}, "tension", "619 N"),
        ("squish", {"deck": "0 mm", "gasket": "1.015 mm"}, "spare", "-0.001 mm"),
        ("squish", {"deck": "0 mm", "gasket": "0.0399 in"}, "spare", "-0.0001 in"),
    ],
)  # fmt: skip
def test_result_close_to_its_limit_is_shown_with_enough_digits(
    name: str, inputs: dict[str, str], line: str, result: str
) -> None:
    assert shown(calculate(name, inputs), line) == result


# --- judge ------------------------------------------------------------------------------------------


def test_judge_shows_the_acceptance_limits_rounded_inwards() -> None:
    # ±0.003 mm with U = 0.001 mm, k = 2: ±(0.003 − 0.825 × 0.001) = ±0.002175 mm. The bench shows it in the same way.
    found = calculate("judge", {"reading": "0.0017 mm", "limit": "-0.003 .. 0.003 mm", "uncertainty": "0.001 mm"})
    assert (shown(found, "accept-low"), shown(found, "accept-high")) == ("-0.00217 mm", "0.00217 mm")
    for reading, verdict in (("0.002175 mm", "ok"), ("0.002176 mm", "not proven")):
        inputs = {"reading": reading, "limit": "-0.003 .. 0.003 mm", "uncertainty": "0.001 mm"}
        assert calculate("judge", inputs).notes[0].startswith(verdict)


def test_acceptance_limits_of_an_inch_limit_are_accepted_readings() -> None:
    inputs = {"limit": "0.0015 .. 0.0030 in", "uncertainty": "0.003 mm"}
    found = calculate("judge", inputs | {"reading": "0.0020 in"})
    for name in ("accept-low", "accept-high"):
        assert calculate("judge", inputs | {"reading": shown(found, name)}).notes[0].startswith("ok")


def test_limit_too_narrow_for_the_uncertainty_has_no_acceptance_limits() -> None:
    found = calculate("judge", {"reading": "0.1 mm", "limit": "0.099 .. 0.101 mm", "uncertainty": "0.01 mm"})
    assert not any(line.name.startswith("accept") for line in found.lines)
    assert any("no reading can be ok" in note for note in found.notes)


def test_one_ended_limit_has_one_acceptance_limit() -> None:
    found = calculate("judge", {"reading": "0.1 mm", "limit": "at most 0.2 mm", "uncertainty": "0.01 mm"})
    assert [line.shown for line in found.lines if line.name.startswith("accept")] == ["0.1917 mm"]


def test_limit_of_judge_can_be_one_quantity() -> None:
    inputs = {"limit": "0.15 mm", "decision": "simple"}
    assert calculate("judge", inputs | {"reading": "0.153 mm"}).notes[0].startswith("ok")
    assert calculate("judge", inputs | {"reading": "0.156 mm"}).notes[0].startswith("HIGH")


def test_judge_without_an_uncertainty_says_one_thing() -> None:
    guarded = calculate("judge", {"reading": "0.0027 mm", "limit": "-0.003 .. 0.003 mm"})
    assert guarded.notes[0].startswith("not proven")
    assert not any("no uncertainty" in note for note in guarded.notes)
    assert any("decision=simple" in note for note in guarded.notes)
    simple = calculate("judge", {"reading": "0.0027 mm", "limit": "-0.003 .. 0.003 mm", "decision": "simple"})
    assert any("no uncertainty" in note for note in simple.notes)


def test_simple_acceptance_has_no_guard_band() -> None:
    inputs = {"reading": "0.0027 mm", "limit": "-0.003 .. 0.003 mm", "uncertainty": "0.001 mm", "decision": "simple"}
    assert not any(line.name in ("guard", "accept-low") for line in calculate("judge", inputs).lines)
