"""The setting of a torque wrench with an extension must be in its range, and is shown in its unit. Data is invented.

Settings by hand: TW = TA x L / (L + E) (US Army TM 1-1500-204-23-9, fig. 8-16).
"""

from pathlib import Path
from typing import Any

import pytest

from benchflow.review.audit.audit_file import audit_file
from tests.driving.forged_log import ForgedLog
from tests.driving.script import Json, Script, intent, open_intent, procedure_with, read_procedure

SHOP = """\
shop: 1
people: {Robin: {roles: [builder]}}
instruments:
  large: {kind: torque, serial: W-7, range: 40 .. 200 N·m, uncertainty: 3 %, calibrated: 2026-01-01}
"""
SMALL = "  small: {kind: torque, serial: W-3, range: 10 .. 50 N·m, uncertainty: 3 %, calibrated: 2026-01-01}\n"
FT_LB = "  pounds: {kind: torque, serial: W-9, range: 20 .. 150 ft-lb, uncertainty: 3 %, calibrated: 2026-01-01}\n"
JOINTS = "joints: {studs: {title: Studs, layout: '1 2 3'}}\n"
LONG = {"extension": "250 mm", "lever": "400 mm"}  # 60 N·m x 400 / 650 = 36.9 N·m
SHORT = {"extension": "100 mm", "lever": "400 mm"}  # 60 N·m x 400 / 500 = 48 N·m


def started(tmp_path: Path, stages: str = "60 N·m", *, need: str = "kind: torque", shop: str = SHOP) -> Script:
    head = f"instruments: {{wrench: {{title: Torque wrench, {need}}}}}\n{JOINTS}"
    operation = f"{{id: pull, title: Pull, uses: [wrench], tighten: {{joint: studs, stages: [{stages}]}}}}"
    script = Script(tmp_path, procedure_with(operation, head=head), simulated=True, shop=shop)
    script.do_all(open_intent(at="2026-03-01T08:00:00Z"), intent("start", operation="pull", at="2026-03-01T08:01:00Z"))
    return script


def tick(fastener: int, **fields: Any) -> Json:
    return intent("tick", joint="studs", fastener=fastener, at="2026-03-01T08:05:00Z", **fields)


def wrench(**fields: Any) -> Json:
    return intent("wrench", at="2026-03-01T08:04:00Z", **fields)


def message(script: Script, sent: Json) -> str:
    (reply,) = script.send(sent)
    assert reply["ok"] is False, reply
    (reason,) = reply["refused"]
    assert reason["code"] == "instrument-unfit"
    text: str = reason["message"]
    return text


def joint(script: Script) -> dict[str, Any]:
    found: dict[str, Any] = script.query("status", at="2026-03-01T08:06:00Z")["joint"]
    return found


BELOW = "Setting 36.9 N·m is below the range 40 .. 200 N·m of wrench W-7. Use a smaller wrench or no extension."


@pytest.mark.parametrize("unfit", ["refuse", "warn"])
def test_extension_that_takes_the_setting_out_of_the_range_is_refused(tmp_path: Path, unfit: str) -> None:
    script = started(tmp_path, need=f"kind: torque, unfit: {unfit}")
    script.do_all(tick(1))
    assert message(script, wrench(**LONG)) == BELOW
    script.do_all(wrench(**SHORT), tick(2))
    script.audited()


@pytest.mark.parametrize("unfit", ["refuse", "warn"])
def test_extension_is_refused_before_the_wrench_was_used(tmp_path: Path, unfit: str) -> None:
    script = started(tmp_path, need=f"kind: torque, unfit: {unfit}")
    assert message(script, wrench(**LONG)) == BELOW


@pytest.mark.parametrize("unfit", ["refuse", "warn"])
def test_tick_with_a_setting_out_of_the_range_is_refused(tmp_path: Path, unfit: str) -> None:
    script = started(tmp_path, "30 N·m", need=f"kind: torque, unfit: {unfit}")
    told = "Setting 30 N·m is below the range 40 .. 200 N·m of wrench W-7. Use a smaller wrench."
    assert message(script, tick(1)) == told
    assert message(script, intent("tick-rest", joint="studs", at="2026-03-01T08:05:00Z")) == told


def test_setting_at_the_end_of_the_range_is_accepted(tmp_path: Path) -> None:
    script = started(tmp_path, "50 N·m")
    script.do_all(wrench(**SHORT), tick(1))  # 50 N·m x 400 / 500 = 40 N·m


def test_setting_above_the_range_asks_for_a_larger_wrench(tmp_path: Path) -> None:
    script = started(tmp_path, "190 N·m", need="kind: torque, unfit: warn")
    back = wrench(extension="100 mm", lever="400 mm", angle="180°")  # 190 N·m x 400 / 300 = 253.3 N·m
    assert message(script, back) == (
        "Setting 253.3 N·m is above the range 40 .. 200 N·m of wrench W-7. Use a larger wrench or no extension."
    )


def test_procedure_decides_about_an_overdue_calibration(tmp_path: Path) -> None:
    shop = SHOP.replace("calibrated: 2026-01-01", "calibrated: 2024-01-01")
    script = started(tmp_path, need="kind: torque, unfit: warn", shop=shop)
    script.do_all(wrench(**SHORT), tick(1))
    assert "ran out" in script.log()[-2]["data"]["warnings"][0]
    assert message(script, wrench(**LONG)) == BELOW
    script.audited()


def test_smaller_wrench_is_named_and_can_be_named_with_the_extension(tmp_path: Path) -> None:
    script = started(tmp_path, need="kind: torque, unfit: warn", shop=SHOP + SMALL)
    script.do_all(tick(1, instrument="W-7"))
    assert message(script, wrench(**LONG)) == BELOW.replace("smaller wrench", "smaller wrench (W-3)")
    script.do_all(wrench(**LONG, instrument="W-3"))
    assert BELOW.removesuffix(".").partition(". ")[0] in joint(script)["settings"][0]
    assert "Use a smaller wrench (W-3)" in message(script, tick(2))
    script.do_all(tick(2, instrument="W-3"), tick(3))
    script.audited()


def test_wrench_that_the_procedure_does_not_name_is_judged_too(tmp_path: Path) -> None:
    text = procedure_with("{id: pull, title: Pull, tighten: {joint: studs, stages: [30 N·m]}}", head=JOINTS)
    script = Script(tmp_path, text, shop=SHOP)
    script.do_all(open_intent(), intent("start", operation="pull"))
    told = message(script, intent("tick", joint="studs", fastener=1, instrument="W-7"))
    assert told == "Setting 30 N·m is below the range 40 .. 200 N·m of wrench W-7. Use a smaller wrench."


def test_check_is_judged_by_what_the_wrench_reads(tmp_path: Path) -> None:
    script = started(tmp_path, "60 N·m, {check: 55 .. 65 N·m}", need="kind: torque, unfit: warn")
    script.do_all(*(tick(number) for number in (1, 2, 3)))
    # 55 N·m x 400 / 600 = 36.7 N·m, below the range; 65 N·m x 400 / 600 = 43.3 N·m
    assert message(script, wrench(extension="200 mm", lever="400 mm")).startswith("Setting 36.7 N·m is below")
    script.do_all(wrench(extension="100 mm", lever="400 mm"))
    script.do_all(tick(1, value="55 N·m"))  # the wrench reads 44 N·m
    assert "Setting 39.2 N·m is below" in message(script, tick(2, value="49 N·m"))  # 49 N·m x 400 / 500


def test_angle_and_hand_stages_have_no_setting(tmp_path: Path) -> None:
    script = started(tmp_path, "by hand, 60 N·m, +90°")
    script.do_all(wrench(**LONG))
    assert joint(script)["settings"] == []
    script.do_all(*(tick(number) for number in (1, 2, 3)))
    assert message(script, tick(1)) == BELOW


def test_torque_that_is_given_at_the_bench_is_judged(tmp_path: Path) -> None:
    script = started(tmp_path, "{torque: ask}", need="kind: torque, unfit: warn")
    figure = intent("figure", joint="studs", stage=1, value="60 N·m", at="2026-03-01T08:03:00Z", **{"from": "bulletin"})
    script.do_all(wrench(**LONG), figure)
    assert message(script, tick(1)) == BELOW


def test_without_a_register_the_range_of_the_procedure_counts_against_an_extension(tmp_path: Path) -> None:
    script = started(tmp_path, need="kind: torque, covers: 40 .. 200 N·m", shop="")
    assert message(script, wrench(**LONG)) == (
        "Setting 36.9 N·m is below the range 40 .. 200 N·m that the procedure needs of the torque wrench. Use a "
        "shorter extension or none, or enter the wrench with its range in the register."
    )
    script.do_all(wrench(**SHORT), tick(1))


def test_without_a_register_a_stage_below_the_range_of_the_procedure_can_be_ticked(tmp_path: Path) -> None:
    script = started(tmp_path, "20 N·m", need="kind: torque, covers: 40 .. 200 N·m", shop="")
    script.do_all(wrench(**SHORT), tick(1))


def test_setting_is_shown_in_the_unit_of_the_wrench(tmp_path: Path) -> None:
    script = started(tmp_path, shop=SHOP.partition("  large:")[0] + FT_LB)
    # 60 N·m is 44.25 ft-lb; with the extension 48 N·m, 35.40 ft-lb
    assert "SET THE WRENCH TO 44.3 ft-lb" in joint(script)["settings"]
    script.do_all(tick(1))
    assert "SET THE WRENCH TO 44.3 ft-lb" in joint(script)["settings"]
    script.do_all(wrench(**SHORT))
    assert "SET THE WRENCH TO 35.4 ft-lb (extension 100 mm, lever 400 mm)" in joint(script)["settings"]
    assert joint(script)["wrench_setting"] == "35.4 ft-lb"
    # 60 N·m x 400 / 1000 = 24 N·m, 17.7 ft-lb
    assert message(script, wrench(extension="600 mm", lever="400 mm")).startswith(
        "Setting 17.7 ft-lb is below the range 20 .. 150 ft-lb of wrench W-9"
    )


def test_audit_names_a_tick_with_a_setting_out_of_the_range(tmp_path: Path) -> None:
    shop = SHOP.replace("calibrated: 2026-01-01", "calibrated: 2024-01-01")  # the log has a warning about it
    script = started(tmp_path, need="kind: torque, unfit: warn", shop=shop)
    script.do_all(tick(1))
    forged = ForgedLog(script.path)
    forged.event("instrument-used")["range"] = "70 .. 200 N·m"
    report, _ = audit_file(forged.save(), read_procedure)
    assert [(finding.kind, finding.codes) for finding in report.wrong] == [("refused", ("instrument-unfit",))]
