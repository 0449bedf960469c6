"""Verdicts on values with several readings, relative limits and stated uncertainties. All data is invented."""

from pathlib import Path

import pytest

from benchflow.session.rules.verdicts import ValueVerdict, combined_text, judge_value
from tests.driving.script import Script, intent, open_intent
from tests.driving.session_driver import SessionDriver
from tests.driving.small_head import start_session

PROCEDURE = """\
benchflow: 1
id: verdicts
title: Verdicts
revision: "1"
notice: Invented for the tests.
instruments:
  micrometer: {kind: length, uncertainty: at most 0.02 mm}
  gauge: {kind: torque, uncertainty: at most 4 %}
sections:
- id: all
  title: All
  operations:
  - id: drag
    title: Drag
    record:
      start-torque: {ask: Torque to start, unit: N·m}
  - id: measure
    title: Measure
    record:
      mean: {ask: Bore, unit: mm, readings: 3, judge: mean, limit: 9.90 .. 10.10 mm}
      each: {ask: Bore, unit: mm, readings: 2, limit: 9.90 .. 10.10 mm, with: micrometer, decision: guarded}
      middle: {ask: Bore, unit: mm, readings: 2, judge: mean, limit: 9.90 .. 10.10 mm, with: micrometer,
        decision: guarded}
      taper: {ask: Bore, unit: mm, readings: 2, judge: spread, limit: at most 0.10 mm, with: micrometer,
        decision: guarded}
      turning: {ask: Torque to turn, unit: N·m, limit: above start-torque by at most 0.45 N·m}
      torque: {ask: Torque, unit: N·m, limit: at least 58.1 N·m, with: gauge, decision: guarded}
"""


@pytest.fixture
def driver(tmp_path: Path) -> SessionDriver:
    driver = start_session(tmp_path, PROCEDURE, options={}, start={})
    driver.do("start", operation="measure")
    return driver


def verdict(driver: SessionDriver, name: str) -> ValueVerdict:
    record = next(one for one in driver.state.plan.steps["measure"].operation.record if one.name == name)
    return judge_value(driver.state, "measure", record)


def enter(driver: SessionDriver, name: str, *values: str) -> None:
    for number, value in enumerate(values, 1):
        driver.do("record", name=name, value=value, reading=number)


@pytest.mark.parametrize(
    ("values", "text"),
    [
        (("10.0012 mm", "10.0014 mm", "10.0020 mm"), "mean 10.00153 mm"),  # by hand: 10.001533..., one decimal more
        (("10.0 mm", "10.1 mm", "10.2 mm"), "mean 10.1 mm"),
    ],
)
def test_mean_is_shown_with_one_decimal_more_than_its_readings(
    driver: SessionDriver, values: tuple[str, ...], text: str
) -> None:
    enter(driver, "mean", *values)
    record = driver.state.plan.steps["measure"].operation.record[0]
    assert combined_text(driver.state, "measure", record) == text


def test_no_statistic_is_shown_for_readings_that_are_judged_singly(driver: SessionDriver) -> None:
    enter(driver, "each", "10.00 mm", "10.02 mm")
    record = next(one for one in driver.state.plan.steps["measure"].operation.record if one.name == "each")
    assert combined_text(driver.state, "measure", record) == ""


def test_reading_out_of_limit_is_worse_than_one_that_is_not_proven(driver: SessionDriver) -> None:
    # U is 0.02 mm with k = 2, so the guard band is 1.65 × 0.01 mm = 0.0165 mm.
    enter(driver, "each", "9.91 mm", "9.80 mm")
    assert verdict(driver, "each").verdict == "low"
    judged = verdict(driver, "each").value
    assert judged is not None
    assert judged.entered == "9.80 mm"


def test_value_has_no_verdict_while_a_reading_is_missing_and_the_others_are_ok(driver: SessionDriver) -> None:
    enter(driver, "each", "10.00 mm")
    assert verdict(driver, "each").verdict == "none"
    assert verdict(driver, "each").missing
    enter(driver, "each", "9.80 mm")
    assert verdict(driver, "each").verdict == "low"


@pytest.mark.parametrize(("second", "expected"), [("10.0834 mm", "ok"), ("10.0836 mm", "not-proven")])
def test_mean_is_as_uncertain_as_one_reading(driver: SessionDriver, second: str, expected: str) -> None:
    # By hand: u is 0.01 mm, the guard band 0.0165 mm, so means up to 10.0835 mm are ok.
    enter(driver, "middle", second, second)
    assert verdict(driver, "middle").verdict == expected


@pytest.mark.parametrize(("second", "expected"), [("10.0766 mm", "ok"), ("10.0767 mm", "not-proven")])
def test_spread_is_more_uncertain_than_a_reading_by_the_root_of_two(
    driver: SessionDriver, second: str, expected: str
) -> None:
    # By hand: the guard band is 1.65 × √2 × 0.01 mm = 0.02333 mm, so spreads up to 0.07667 mm are ok.
    enter(driver, "taper", "10.0000 mm", second)
    assert verdict(driver, "taper").verdict == expected


def test_relative_limit_without_its_reading_gives_no_verdict(driver: SessionDriver) -> None:
    enter(driver, "turning", "1.50 N·m")
    assert verdict(driver, "turning").verdict == "none"


@pytest.mark.parametrize(("value", "expected"), [("0.10 N·m", "ok"), ("1.65 N·m", "ok"), ("1.66 N·m", "high")])
def test_relative_limit_with_an_open_end_has_no_lower_limit(tmp_path: Path, value: str, expected: str) -> None:
    driver = start_session(tmp_path, PROCEDURE, options={}, start={})
    driver.do("start", operation="drag")
    driver.do("record", name="start-torque", value="1.20 N·m")
    driver.do("finish")
    driver.do("start", operation="measure")
    enter(driver, "turning", value)
    assert verdict(driver, "turning").verdict == expected


@pytest.mark.parametrize(("value", "expected"), [("60.00 N·m", "not-proven"), ("60.09 N·m", "ok")])
def test_uncertainty_in_per_cent_is_a_share_of_the_reading(driver: SessionDriver, value: str, expected: str) -> None:
    # By hand: u = 4 % / 2 of 60 N·m is 1.2 N·m, the guard band 1.98 N·m, so readings from 60.083 N·m are ok.
    enter(driver, "torque", value)
    assert verdict(driver, "torque").verdict == expected


DIALS = """\
benchflow: 1
id: dials
title: Dials
revision: "1"
notice: Invented for the tests.
instruments:
  dial: {kind: length}
sections:
- id: all
  title: All
  operations:
  - id: measure
    title: Measure
    record:
      middle: {ask: Bore, unit: mm, readings: 2, judge: mean, limit: 9.90 .. 10.10 mm, with: dial, decision: guarded}
"""
DIALS_OF_THE_SHOP = """\
shop: 1
people: {Robin: {roles: [builder]}}
instruments:
  sure: {kind: length, serial: D-1, range: 0 .. 50 mm, uncertainty: 0.02 mm, calibrated: 2026-01-01}
  unsure: {kind: length, serial: D-2, range: 0 .. 50 mm, calibrated: 2026-01-01}
"""


@pytest.mark.parametrize("serials", [("D-1", "D-2"), ("D-2", "D-1"), ("D-2", "D-2")])
def test_guarded_mean_is_not_proven_if_the_uncertainty_of_a_reading_is_not_known(
    tmp_path: Path, serials: tuple[str, ...]
) -> None:
    script = Script(tmp_path, DIALS, shop=DIALS_OF_THE_SHOP)
    script.do_all(open_intent(), intent("start", operation="measure"))
    for serial in serials:
        script.do("record", name="middle", value="10.00 mm", instrument=serial)
    assert script.refused("finish") == ["not-proven"]
    for reading in (1, 2):
        script.do("record", name="middle", value="10.00 mm", reading=reading, instrument="D-1")
    script.do("finish")


def test_corrected_reading_has_its_own_share_as_uncertainty(driver: SessionDriver) -> None:
    # U is 4 % of the reading, k = 2: u is 2 N·m at 100 N·m, and 0.2 N·m at the mistyped 10 N·m. By hand.
    wrong = driver.do("record", name="torque", value="10 N·m").lines[0]
    assert float(wrong.data["uncertainty"]["value"]) == 0.2
    corrected = driver.do("correct", event=wrong.seq, value="100 N·m", reason="mistyped").lines[0]
    assert float(corrected.data["uncertainty"]["value"]) == 2.0
