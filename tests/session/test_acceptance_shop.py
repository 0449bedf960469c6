"""Intents with a shop file: people who can sign, fitness of instruments, and their log. All data is invented."""

from pathlib import Path
from typing import Any

import pytest

from benchflow.session.shop.register import hash_pin
from tests.driving.log_files import texts_in
from tests.driving.script import Json, Script, intent, open_intent

SHOP = f"""\
shop: 1
people:
  Robin: {{roles: [builder]}}
  Kim:
    roles: [builder, inspector]
    pin: {hash_pin("2417", bytes(16))}
  Lee: {{roles: [inspector], retired: 2025-06-30}}
instruments:
  good: {{kind: torque, serial: W-1, range: 20 .. 200 N·m, uncertainty: 4 %, calibrated: 2026-01-10}}
  overdue: {{kind: torque, serial: W-2, range: 20 .. 200 N·m, uncertainty: 4 %, calibrated: 2024-01-10}}
  small: {{kind: torque, serial: W-3, range: 2 .. 25 N·m, uncertainty: 4 %, calibrated: 2026-01-10}}
  large: {{kind: torque, serial: W-4, range: 60 .. 600 N·m, uncertainty: 4 %, calibrated: 2026-01-10}}
  gauge-1: {{kind: stretch, serial: S-1, range: 0 .. 1 mm, uncertainty: 0.002 mm, calibrated: 2026-01-10}}
  dial:
    {{kind: length, serial: D-1, range: 0 .. 9 mm, uncertainty: 0.006 mm, coverage-factor: 3, calibrated: 2026-01-10}}
"""
PROCEDURE = """\
benchflow: 1
id: with-shop
title: With a shop
revision: "1"
instruments:
  torque-wrench: {title: Torque wrench, kind: torque, covers: 20 .. 120 N·m}
  any-wrench: {title: Any wrench, kind: torque, unfit: warn}
  dial-indicator: {title: Dial indicator, kind: length}
  stretch-gauge: {title: Stretch gauge, kind: stretch}
joints: {studs: {title: Studs, layout: "1 2"}}
sections:
- title: All
  operations:
  - {id: pull, title: Pull, uses: [torque-wrench], tighten: {joint: studs, stages: [100 N·m]}}
  - {id: pull-warned, title: Pull warned, uses: [any-wrench], tighten: {joint: studs, stages: [30 N·m]}}
  - id: pull-read
    title: Pull and read
    uses: [torque-wrench, stretch-gauge]
    tighten: {joint: studs, stages: [{check: 80 .. 120 N·m, stretch: 0.14 .. 0.16 mm}]}
  - id: play
    title: Play
    record: {play: {ask: Play, unit: mm, with: dial-indicator, decision: guarded, limit: 0.10 .. 0.20 mm}}
  - {id: look, title: Look, hold: {by: inspector, for: the look of it}}
"""
AT = "2026-03-01T08:00:00Z"


@pytest.fixture
def script(tmp_path: Path) -> Script:
    found = Script(tmp_path, PROCEDURE, simulated=True, shop=SHOP)
    found.do_all(open_intent(at=AT))
    return found


def accepted(script: Script, kind: str, **fields: Any) -> list[Json]:
    return script.do(kind, at=AT, **fields)


def refused(script: Script, kind: str, **fields: Any) -> list[str]:
    return script.refused(kind, at=AT, **fields)


def test_only_a_person_with_the_role_and_the_pin_can_sign(script: Script) -> None:
    accepted(script, "start", operation="look")
    for by, pin in (("Robin", None), ("Kim", None), ("Lee", None), ("Nobody", None)):
        assert refused(script, "sign", operation="look", by=by, pin=pin) == ["not-allowed"]
    (signed,) = accepted(script, "sign", operation="look", by="Kim", pin="2417")
    assert (signed["by"], signed["data"]["self_signed"], signed["data"]["proven"]) == ("Kim", False, "pin")
    assert not any("2417" in text for text in texts_in(script.path))
    accepted(script, "finish")


def test_wrong_pin_is_logged_and_the_next_try_has_to_wait(script: Script) -> None:
    accepted(script, "start", operation="look")
    sign = {"operation": "look", "by": "Kim"}
    (reply,) = script.send(intent("sign", pin="0000", at="2026-03-01T08:00:00Z", **sign))
    assert [reason["code"] for reason in reply["refused"]] == ["not-allowed"]
    tried = script.log()[-1]
    assert (tried["kind"], tried["data"]["person"], tried["data"]["role"]) == ("pin-refused", "Kim", "inspector")
    assert tried["data"]["sent"] == {"intent": "sign", **sign}
    assert script.refused("sign", pin="2417", at="2026-03-01T08:00:01.900Z", **sign) == ["pin-wait"]
    script.do("sign", pin="2417", at="2026-03-01T08:00:02Z", **sign)


def test_register_without_its_people_lets_nobody_sign(script: Script) -> None:
    accepted(script, "start", operation="look")
    head, _, rest = script.shop.read_text(encoding="utf-8").partition("people:")
    instruments = rest.partition("instruments:")[2]
    script.shop.write_text(f"{head}people: {{}}\ninstruments:{instruments}", encoding="utf-8")
    accepted(script, "note", text="the people are gone")
    for kind, fields in (("sign", {}), ("deviate", {"about": "hold", "reason": "in a hurry"})):
        assert refused(script, kind, operation="look", by="Kim", **fields) == ["not-allowed"]
        assert refused(script, kind, operation="look", by="Nobody", **fields) == ["not-allowed"]


def test_person_outside_the_register_cannot_open_a_job_or_sign_a_deviation(tmp_path: Path, script: Script) -> None:
    other = Script(tmp_path / "other", PROCEDURE, simulated=True)
    other.path.parent.mkdir()
    other.shop.write_text(SHOP, encoding="utf-8")
    assert other.refused("open", by="Nobody", at=AT) == ["not-allowed"]
    accepted(script, "start", operation="look")
    assert refused(script, "deviate", operation="look", about="hold", reason="x", by="Nobody") == ["not-allowed"]


@pytest.mark.parametrize(
    ("serial", "why", "fit"),
    [
        ("W-2", "calibration", "Fit for"),
        ("W-3", "above the range 2 .. 25 N·m", "Use a larger wrench"),
        ("large", "20 %", "Fit for"),
    ],
)
def test_unfit_wrench_is_refused_and_a_fit_one_is_named(script: Script, serial: str, why: str, fit: str) -> None:
    accepted(script, "start", operation="pull")
    (reply,) = script.send(intent("tick", joint="studs", fastener=1, instrument=serial, at=AT))
    assert [reason["code"] for reason in reply["refused"]] == ["instrument-unfit"]
    assert why in reply["refused"][0]["message"]
    assert fit in reply["refused"][0]["message"]
    assert "W-1" in reply["refused"][0]["message"].partition(fit)[2]
    assert refused(script, "tick", joint="studs", fastener=1, instrument="W-99") == ["unknown-name"]


def test_log_has_the_wrench_and_its_calibration(script: Script) -> None:
    accepted(script, "start", operation="pull")
    used, ticked = accepted(script, "tick", joint="studs", fastener=1, instrument="W-1")
    assert (used["kind"], used["data"]["serial"], used["data"]["calibrated"]) == (
        "instrument-used",
        "W-1",
        "2026-01-10",
    )
    assert ticked["data"]["serial"] == "W-1"
    (again,) = accepted(script, "tick", joint="studs", fastener=2)  # the same wrench by default
    assert again["data"]["serial"] == "W-1"


def test_unfit_wrench_is_logged_with_a_warning_where_the_procedure_only_warns(
    script: Script,
) -> None:
    accepted(script, "start", operation="pull-warned")
    used, ticked = accepted(script, "tick", joint="studs", fastener=1, instrument="W-2")
    assert used["data"]["warnings"]
    assert ticked["data"]["serial"] == "W-2"


def test_torque_and_stretch_are_logged_with_their_own_instruments(script: Script) -> None:
    accepted(script, "start", operation="pull-read")
    events = accepted(script, "tick", joint="studs", fastener=1, value="100 N·m", stretch="0.15 mm", instrument="W-1")
    assert [event["kind"] for event in events] == ["instrument-used", "instrument-used", "ticked"]
    data = events[-1]["data"]
    assert (data["serial"], data["stretch_serial"]) == ("W-1", "S-1")
    assert refused(
        script, "tick", joint="studs", fastener=2, value="100 N·m", stretch="0.15 mm", stretch_instrument="S-9"
    ) == ["unknown-name"]


@pytest.mark.parametrize(("value", "verdict"), [("0.1034 mm", "ok"), ("0.1032 mm", "not-proven"), ("0.0966 mm", "low")])
def test_guard_band_uses_the_coverage_factor_of_the_register(script: Script, value: str, verdict: str) -> None:
    # U = 0.006 mm at k = 3, so u = 0.002 mm and the guard band is 1.65 u = 0.0033 mm.
    accepted(script, "start", operation="play")
    event = accepted(script, "record", name="play", value=value, instrument="D-1")[-1]
    assert (event["data"]["verdict"], event["data"]["serial"]) == (verdict, "D-1")
