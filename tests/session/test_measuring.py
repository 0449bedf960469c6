"""Measured values: calculations, remedies, choices, matching, relative limits, instruments. All data is invented."""

import time
from datetime import datetime
from pathlib import Path

import pytest

from benchflow.session.context import Context
from benchflow.session.controller import SessionController
from benchflow.session.log_writer import Accepted
from benchflow.session.rules.instrument_choice import tools_for_joint
from benchflow.session.rules.part_matching import proposed_parts
from benchflow.session.shop.live_register import Register
from benchflow.session.view.bench_view import CalculatedInput, ReadingInput, TightenInput
from benchflow.session.view.operation_inputs import operation_inputs
from tests.driving.session_driver import START, ManualClock, SessionDriver, load_text, read_procedure
from tests.driving.small_head import start_session

HEAD = """\
benchflow: 1
id: measuring
title: Measuring
revision: "1"
notice: Invented for the tests.
"""

BEARING = (
    HEAD
    + """\
instruments:
  micrometer: {kind: length, uncertainty: at most 0.002 mm}
sections:
- id: all
  title: All
  operations:
  - id: torque-cap
    title: Torque the cap
    undo: {do: Loosen the cap}
  - id: measure
    title: Measure
    after: [torque-cap]
    record:
      bore: {ask: Bore, unit: mm, with: micrometer, readings: 2, judge: mean}
      journal: {ask: Journal, unit: mm, with: micrometer}
    work-out:
      clearance:
        is: mean(bore[*]) - journal
        unit: mm
        limit: 0.020 .. 0.050 mm
        below:
        - {do: Torque the cap again, redo: [torque-cap], tries: 2}
        - {do: Fit an undersize shell}
        above:
        - {do: Replace the crankshaft, stop: true}
    undo: {do: Measure again}
"""
)


def record_bearing(driver: SessionDriver, *bores: str, journal: str) -> None:
    for number, value in enumerate(bores, 1):
        driver.do("record", name="bore", value=value, reading=number)
    driver.do("record", name="journal", value=journal)


def test_calculated_value_is_shown_with_its_numbers_and_logged_with_its_uncertainty(tmp_path: Path) -> None:
    driver = start_session(tmp_path, BEARING, options={}, start={})
    driver.work("torque-cap")
    driver.do("start", operation="measure")
    assert driver.refused("finish") == {"value-missing"}
    record_bearing(driver, "52.030 mm", "52.034 mm", journal="2.0472 in")
    line = driver.controller.journal.lines[-1]
    assert line.kind == "calculated"
    # 52.032 - 2.0472 x 25.4 = 52.032 - 51.99888 (calculated by hand)
    assert line.data["quantity"]["value"] == "0.03312"
    assert line.data["verdict"] == "ok"
    # u = 0.001 mm each. The error of the one micrometer is not taken to cancel in the difference: the root of two
    # thousandths (GUM 5.1.2, calculated by hand)
    assert line.data["uncertainty"]["value"].startswith("0.001414")
    shown = next(one for one in inputs_of(driver, "measure") if isinstance(one, CalculatedInput))
    assert shown.filled.startswith("mean(52.030 mm, 52.034 mm)")
    driver.do("finish")


def inputs_of(driver: SessionDriver, step: str) -> tuple[object, ...]:
    state = driver.controller.state
    assert state is not None
    return operation_inputs(state, state.plan.steps[step], driver.controller.context())


def test_remedies_for_a_low_value_follow_in_order_with_their_operations_to_redo(tmp_path: Path) -> None:
    driver = start_session(tmp_path, BEARING, options={}, start={})
    driver.work("torque-cap")
    for attempt in (1, 2):
        driver.do("start", operation="measure")
        record_bearing(driver, "52.000 mm", "52.000 mm", journal="51.990 mm")
        assert driver.refused("finish") == {"out-of-limit", "remedy-first"}
        shown = next(one for one in inputs_of(driver, "measure") if isinstance(one, CalculatedInput))
        assert shown.remedy == f"Torque the cap again (try {attempt} of 2)"
        driver.do("remedy", name="clearance")
        assert driver.controller.state is not None
        assert "torque-cap" not in driver.controller.state.done
        assert driver.refused("start", operation="measure") == {"after-missing"}
        driver.work("torque-cap")
    driver.do("start", operation="measure")
    record_bearing(driver, "52.000 mm", "52.000 mm", journal="51.990 mm")
    driver.do("remedy", name="clearance")  # the undersize shell has no redo list: only measure again
    assert driver.refused("remedy", name="clearance") == {"value-missing"}
    driver.do("record", name="journal", value="51.970 mm")
    assert driver.refused("finish") == {"value-missing"}  # the bore was read before the shell was fitted
    record_bearing(driver, "52.000 mm", "52.000 mm", journal="51.970 mm")
    driver.do("finish")


def test_remedy_that_stops_the_work_cannot_be_carried_out(tmp_path: Path) -> None:
    driver = start_session(tmp_path, BEARING, options={}, start={})
    driver.work("torque-cap")
    driver.do("start", operation="measure")
    record_bearing(driver, "52.100 mm", "52.100 mm", journal="51.990 mm")
    assert driver.refused("remedy", name="clearance") == {"not-allowed"}
    assert driver.refused("remedy", name="bore") == {"not-allowed"}
    assert driver.refused("finish") == {"out-of-limit"}


RELATIVE_LIMIT = (
    HEAD
    + """\
sections:
- id: all
  title: All
  operations:
  - id: drag
    title: Drag
    record:
      start-torque: {ask: Torque to start, unit: N·m}
  - id: preload
    title: Preload
    after: [drag]
    record:
      turning: {ask: Torque to turn, unit: N·m, limit: above start-torque by 0.35 .. 0.45 N·m}
      weights: {ask: Weight, unit: mm, readings: 3, limit: equal within 0.010 in}
"""
)


def test_relative_limit_is_calculated_from_the_earlier_reading(tmp_path: Path) -> None:
    driver = start_session(tmp_path, RELATIVE_LIMIT, options={}, start={})
    driver.do("start", operation="drag")
    driver.do("record", name="start-torque", value="1.20 N·m")
    driver.do("finish")
    driver.do("start", operation="preload")
    low = driver.do("record", name="turning", value="1.54 N·m").lines[0].data
    assert low["verdict"] == "low"
    assert driver.do("record", name="turning", value="1.55 N·m").lines[0].data["verdict"] == "ok"
    for number, value in enumerate(("10.00 mm", "10.20 mm", "10.26 mm"), 1):
        driver.do("record", name="weights", value=value, reading=number)
    assert driver.refused("finish") == {"out-of-limit"}  # the difference is 0.26 mm; the limit 0.010 in is 0.254 mm
    driver.do("record", name="weights", value="10.25 mm", reading=3)
    driver.do("finish")


CHOOSING = (
    HEAD
    + """\
sections:
- id: all
  title: All
  operations:
  - id: choose-gasket
    title: Choose the gasket
    record:
      protrusion: {ask: Protrusion, unit: mm, readings: 2, judge: largest}
    choose:
      gasket: {by: protrusion, from: [{up to: 0.10 mm, take: one notch}, {up to: 0.20 mm, take: two notches}]}
"""
)


def test_chosen_part_must_be_in_the_table_row_of_the_judged_figure(tmp_path: Path) -> None:
    driver = start_session(tmp_path, CHOOSING, options={}, start={})
    driver.do("start", operation="choose-gasket")
    assert driver.refused("choose", name="gasket", take="one notch") == {"value-missing"}
    driver.do("record", name="protrusion", value="0.09 mm", reading=1)
    driver.do("record", name="protrusion", value="0.10 mm", reading=2)
    assert driver.refused("finish") == {"value-missing"}
    assert driver.refused("choose", name="gasket", take="three notches") == {"unknown-name"}
    driver.do("choose", name="gasket", take="two notches")
    assert driver.refused("finish") == {"out-of-limit"}
    driver.do("record", name="protrusion", value="0.11 mm", reading=2)
    driver.do("finish")


MATCHING = (
    HEAD
    + """\
places: {valve: [1, 2, 3]}
sections:
- id: all
  title: All
  operations:
  - id: shims
    title: Shims
    record:
      gap: {ask: Lash with the old shim, unit: mm, readings: ["1", "2", "3"]}
      old-shim: {ask: Old shim, unit: mm, readings: ["1", "2", "3"]}
      on-hand: {ask: Shims on the bench, unit: mm, readings: [a, b, c, d]}
    work-out:
      lash: {is: gap + old-shim - shims, unit: mm, limit: 0.20 .. 0.30 mm}
    match:
      shims: {measured: on-hand, to: valve, so that: lash, limit: 0.20 .. 0.30 mm, aim: 0.25 mm}
"""
)


def test_matching_proposes_the_shims_nearest_to_the_aim_and_rejects_a_lash_out_of_limit(tmp_path: Path) -> None:
    driver = start_session(tmp_path, MATCHING, options={}, start={})
    driver.do("start", operation="shims")
    for place, gap, old in (("1", "0.35 mm", "2.40 mm"), ("2", "0.25 mm", "2.50 mm"), ("3", "0.15 mm", "2.60 mm")):
        driver.do("record", name="gap", value=gap, place=place)
        driver.do("record", name="old-shim", value=old, place=place)
    for part, size in (("a", "2.50 mm"), ("b", "2.48 mm"), ("c", "2.52 mm"), ("d", "2.90 mm")):
        driver.do("record", name="on-hand", value=size, place=part)
    state = driver.controller.state
    assert state is not None
    step = state.plan.steps["shims"]
    given, _ = proposed_parts(state, step, step.operation.match[0])
    # gap + old shim - aim = 2.50 mm for every valve (calculated by hand). The three nearest shims are proposed.
    assert sorted(given.values()) == ["a", "b", "c"]
    assert driver.refused("choose", name="shims[1]", take="z") == {"unknown-name"}
    driver.do("choose", name="shims[1]", take="d")
    driver.do("choose", name="shims[2]", take="a")
    assert driver.refused("choose", name="shims[3]", take="a") == {"not-allowed"}
    driver.do("choose", name="shims[3]", take="c")
    assert driver.refused("finish") == {"out-of-limit"}
    assert driver.refused("choose", name="shims[1]", take="2.5 N·m") == {"wrong-dimension"}
    driver.do("choose", name="shims[1]", take="2.51 mm")  # the size of a new shim
    driver.do("finish")


JOINT = (
    HEAD
    + """\
instruments:
  wrench: {kind: torque, covers: 20 .. 100 N·m, uncertainty: at most 4 %}
joints:
  studs: {title: Studs, thread: M10x1.25, class: "10.9", lubricant: engine oil, nut-factor: 0.15, layout: "1 2"}
sections:
- id: all
  title: All
  operations:
  - id: tighten
    title: Tighten
    uses: [wrench]
    tighten: {joint: studs, stages: [60 N·m]}
    undo: {do: Loosen}
  - id: sealed
    title: Sealed
    hold: {by: inspector, for: the joint}
"""
)

SHOP = """\
shop: 1
people:
  Robin: {roles: [builder]}
  Kim: {roles: [inspector]}
instruments:
  big: {kind: torque, serial: T-9, range: 40 .. 400 N·m, uncertainty: 4 %, calibrated: 2026-01-01}
  old: {kind: torque, serial: T-2, range: 20 .. 120 N·m, uncertainty: 4 %, calibrated: 2024-01-01}
  good: {kind: torque, serial: T-1, range: 20 .. 120 N·m, uncertainty: 4 %, calibrated: 2026-01-01, lever: 400 mm}
"""


def joint_lines(driver: SessionDriver) -> str:
    shown = next(one for one in inputs_of(driver, "tighten") if isinstance(one, TightenInput))
    return "\n".join((*shown.settings, *shown.background))


def test_extension_changes_the_wrench_setting_and_preload_is_estimated(tmp_path: Path) -> None:
    driver = start_session(tmp_path, JOINT, options={}, start={})
    driver.do("start", operation="tighten")
    # T / (K d) = 60 / (0.15 x 0.010) = 40 kN (calculated by hand)
    assert "Preload about 40 kN" in joint_lines(driver)
    assert driver.refused("wrench", extension="50 mm") == {"value-missing"}
    assert driver.refused("wrench", extension="50 N·m", lever="400 mm") == {"wrong-dimension"}
    driver.do("wrench", extension="100 mm", lever="400 mm")
    # TW = TA x L / (L + E) = 60 x 400 / 500 = 48 (US Army TM 1-1500-204-23-9, fig. 8-16)
    assert "SET THE WRENCH TO 48 N·m" in joint_lines(driver)
    driver.do("wrench", extension="none")
    assert "SET THE WRENCH" not in joint_lines(driver)
    driver.do("lubricant", joint="studs", lubricant="dry", **{"nut-factor": "0.20"})
    assert "80.0 N·m" in joint_lines(driver)  # T2 = T1 K2 / K1 = 60 x 0.20 / 0.15


def test_lubricant_of_the_procedure_is_shown_until_another_is_entered(tmp_path: Path) -> None:
    driver = start_session(tmp_path, JOINT, options={}, start={})
    driver.do("start", operation="tighten")
    assert "Lubricant: engine oil" in joint_lines(driver)
    driver.do("lubricant", joint="studs", lubricant="dry")
    assert "Lubricant: engine oil" not in joint_lines(driver)


def test_setting_on_the_scale_is_given_with_an_extension_only(tmp_path: Path) -> None:
    def setting() -> str:
        return next(one for one in inputs_of(driver, "tighten") if isinstance(one, TightenInput)).wrench_setting

    driver = start_session(tmp_path, JOINT, options={}, start={})
    driver.do("start", operation="tighten")
    assert setting() == ""
    driver.do("wrench", extension="100 mm", lever="400 mm")
    assert setting() == "48 N·m"  # TW = TA x L / (L + E) = 60 x 400 / 500


def test_instrument_named_by_its_need_has_no_serial_number(tmp_path: Path) -> None:
    driver = start_session(tmp_path, JOINT, options={}, start={})
    driver.do("start", operation="tighten")
    data = driver.do("tick", joint="studs", fastener=1, instrument="wrench").lines[-1].data
    assert (data["instrument"], data.get("serial")) == ("wrench", None)
    assert driver.do("tick", joint="studs", fastener=2, instrument="W-7").lines[-1].data["serial"] == "W-7"


def test_adapter_that_points_back_to_the_hand_is_refused_and_one_in_line_is_not(tmp_path: Path) -> None:
    driver = start_session(tmp_path, JOINT, options={}, start={})
    driver.do("start", operation="tighten")
    lengths = {"extension": "390 mm", "lever": "400 mm"}
    assert driver.refused("wrench", **lengths, angle="180°") == {"bad-quantity"}  # 10 mm of lever are left
    driver.do("wrench", **lengths, angle="90°")
    assert "SET THE WRENCH TO 60 N·m" in joint_lines(driver)  # across, an adapter changes nothing
    driver.do("wrench", **lengths)
    # TW = TA x L / (L + E) = 60 x 400 / 790 = 30.38 (US Army TM 1-1500-204-23-9, fig. 8-16)
    assert "SET THE WRENCH TO 30.4 N·m" in joint_lines(driver)


@pytest.fixture
def shop(tmp_path: Path) -> Register:
    path = tmp_path / "shop.yaml"
    path.write_text(SHOP, encoding="utf-8")
    return Register(path)


def start_in_shop(tmp_path: Path, shop: Register, by: str = "Robin", at: datetime = START) -> SessionDriver:
    clock = ManualClock(at)
    log = tmp_path / "shop.jsonl"
    controller = SessionController.begin(
        log, load_text(JOINT), file="joint.yaml", read=read_procedure, clock=clock, register=shop
    )
    driver = SessionDriver(controller, clock)
    driver.do("open", by=by, unit="1")
    return driver


def test_unfit_wrench_is_refused_and_the_only_fit_one_is_used(tmp_path: Path, shop: Register) -> None:
    driver = start_in_shop(tmp_path, shop)
    driver.do("start", operation="tighten")
    # 60 N·m is below 20 % of 400 N·m; T-2 is overdue.
    assert driver.refused("tick", joint="studs", fastener=1, instrument="T-9") == {"instrument-unfit"}
    assert driver.refused("tick", joint="studs", fastener=1, instrument="T-2") == {"instrument-unfit"}
    assert driver.refused("tick", joint="studs", fastener=1, instrument="T-7") == {"unknown-name"}
    used = driver.do("tick", joint="studs", fastener=1)  # the only fit one
    assert [line.kind for line in used.lines] == ["instrument-used", "ticked"]
    assert (used.lines[0].data["due"], used.lines[1].data["serial"]) == ("2027-01-01", "T-1")
    assert [line.kind for line in driver.do("tick", joint="studs", fastener=2).lines] == ["ticked"]
    driver.do("finish")
    driver.controller.close()
    register = Register(shop.path, tmp_path / "cache").shop()
    assert register is not None
    assert Register(shop.path, tmp_path / "cache").shop() == register  # unchanged when read again
    assert next(one.uses for one in register.instruments if one.id == "good") == 2


@pytest.mark.parametrize(
    ("zone", "at", "fit"),
    [
        ("EST5", "2027-01-02T02:30", True),  # 21:30 on 1 January
        ("EST5", "2027-01-02T05:30", False),  # 0:30 on 2 January
        ("AEST-10", "2027-01-01T13:30", True),  # 23:30 on 1 January
        ("AEST-10", "2027-01-01T15:00", False),  # 1:00 on 2 January
    ],
)
def test_calibration_is_valid_until_the_end_of_the_local_due_day(
    tmp_path: Path, shop: Register, monkeypatch: pytest.MonkeyPatch, zone: str, at: str, fit: bool
) -> None:
    """The calibration of T-1 is due on 1 January 2027."""
    monkeypatch.setenv("TZ", zone)
    time.tzset()
    try:
        driver = start_in_shop(tmp_path, shop, at=datetime.fromisoformat(f"{at}:00Z"))
        driver.do("start", operation="tighten")
        context = Context(driver.controller.now(), shop.shop())
        (tools,) = tools_for_joint(driver.state, context, 1)
        assert next(row.allowed for row in tools.rows if row.serial == "T-1") is fit
        if fit:
            assert driver.do("tick", joint="studs", fastener=1).lines[0].data.get("warnings", []) == []
        else:
            assert driver.refused("tick", joint="studs", fastener=1) == {"instrument-unfit"}
            assert driver.refused("tick", joint="studs", fastener=1, instrument="T-1") == {"instrument-unfit"}
    finally:
        monkeypatch.undo()
        time.tzset()


def test_hold_needs_a_person_with_the_role_and_opening_needs_a_registered_person(
    tmp_path: Path, shop: Register
) -> None:
    driver = start_in_shop(tmp_path, shop)
    driver.do("start", operation="sealed")
    assert driver.refused("sign", operation="sealed", by="Robin") == {"not-allowed"}
    assert driver.refused("sign", operation="sealed", by="Stranger") == {"not-allowed"}
    driver.do("sign", operation="sealed", by="Kim")
    driver.controller.close()
    shop.path.write_text(SHOP + "defaults: {by: Robin}\n", encoding="utf-8")
    with_default = SessionController.begin(
        tmp_path / "3.jsonl", load_text(JOINT), file="j.yaml", read=read_procedure, register=shop
    )
    assert SessionDriver(with_default, ManualClock()).do("open", unit="1").lines[0].by == "Robin"
    other = SessionController.begin(
        tmp_path / "2.jsonl", load_text(JOINT), file="j.yaml", read=read_procedure, register=shop
    )
    assert SessionDriver(other, ManualClock()).refused("open", by="Stranger", unit="1") == {"not-allowed"}


def test_nothing_is_accepted_while_the_register_has_an_error(tmp_path: Path, shop: Register) -> None:
    driver = start_in_shop(tmp_path, shop)
    shop.path.write_text(SHOP.replace("roles: [inspector]", "rolls: [inspector]"), encoding="utf-8")
    assert driver.refused("start", operation="sealed") == {"not-allowed"}
    shop.path.write_text(SHOP, encoding="utf-8")
    driver.do("start", operation="sealed")


def test_used_part_is_judged_by_the_limit_for_used_parts(tmp_path: Path) -> None:
    text = HEAD + (
        "sections:\n- id: all\n  title: All\n  operations:\n  - id: one\n    title: One\n    record:\n"
        "      play: {ask: Play, unit: mm, limit: at most 0.20 mm, used: at most 0.40 mm}\n"
    )
    driver = start_session(tmp_path, text, options={}, start={})
    driver.do("start", operation="one")
    driver.do("record", name="play", value="0.30 mm")
    assert driver.refused("finish") == {"out-of-limit"}
    driver.do("record", name="play", value="0.30 mm", used=True)
    shown = next(one for one in inputs_of(driver, "one") if isinstance(one, ReadingInput))
    assert shown.limit == "at most 0.40 mm"
    driver.do("finish")


def test_temperature_difference_is_judged_without_the_offset_of_the_scales(tmp_path: Path) -> None:
    text = HEAD + (
        "sections:\n- id: all\n  title: All\n  operations:\n  - id: one\n    title: One\n    record:\n"
        "      hot: {ask: Hot, unit: °C}\n      cold: {ask: Cold, unit: °C}\n"
        "    work-out:\n      rise: {is: hot - cold, unit: °C, limit: 85 .. 95 °F}\n"
    )
    driver = start_session(tmp_path, text, options={}, start={})
    driver.do("start", operation="one")
    driver.do("record", name="hot", value="70 °C")
    driver.do("record", name="cold", value="20 °C")  # a difference of 50 K is 90 °F
    driver.do("finish")


def test_simulated_job_does_not_count_uses_of_instruments(tmp_path: Path, shop: Register) -> None:
    log = tmp_path / "simulated.jsonl"
    controller = SessionController.begin(
        log, load_text(JOINT), file="j.yaml", read=read_procedure, register=shop, simulated=True
    )
    at = "2026-03-01T18:00:00Z"
    for intent in (
        {"intent": "open", "by": "Robin", "unit": "1"},
        {"intent": "start", "operation": "tighten"},
        {"intent": "tick", "joint": "studs", "fastener": 1},
    ):
        assert isinstance(controller.send(intent | {"at": at}), Accepted)
    controller.close()
    register = shop.shop()
    assert register is not None
    assert [one.uses for one in register.instruments] == [0, 0, 0]
