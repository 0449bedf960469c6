"""The session controller on a real log file: accepted and refused intents, and what is logged."""

from pathlib import Path

import pytest

from benchflow.session.log.log_check import verify
from benchflow.session.refusal import Refusal
from tests.driving.session_driver import ManualClock
from tests.driving.small_head import SMALL_HEAD, resume_session, start_session


def test_entries_are_logged_in_order_with_a_valid_hash_chain(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_and_tighten()
    kinds = [line.kind for line in driver.controller.journal.lines]
    assert kinds[:6] == ["opened", "started", "lot", "finished", "started", "finished"]
    assert kinds.count("ticked") == 10
    found = verify(driver.controller.journal.path)
    assert (found.events, found.damage) == (len(kinds), None)


def test_job_must_be_opened_first_and_only_once(tmp_path: Path) -> None:
    driver = start_session(tmp_path, opened=False)
    assert driver.refused("start", operation="seal") == {"not-open"}
    assert driver.refused("status") == {"not-open"}
    assert driver.refused("open", by="Robin") == {"value-missing"}  # the option is not answered
    wrong = {"cams": "none", "rods": "x"}
    assert driver.refused("open", by="Robin", options=wrong) == {"unknown-name"}
    assert driver.refused("open", by="Robin", options={"cams": "standard"}, start={"valves": "shut"}) == {"not-allowed"}
    assert driver.refused("open", options={"cams": "standard"}) == {"value-missing"}
    driver.do("open", by="Robin", unit="2417", options={"cams": "standard"})
    assert driver.refused("open", by="Robin", options={"cams": "standard"}) == {"already-open"}


def test_start_is_refused_with_all_reasons_at_once(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    assert driver.refused("start", operation="lower") == {"after-missing"}
    assert driver.refused("start", operation="seat-cam") == {"after-missing", "interference"}
    assert driver.refused("start", operation="seel") == {"unknown-name"}
    driver.lower_and_tighten()
    assert driver.refused("start", operation="seat-cam") == {"interference"}
    driver.do("move", move="turn-down")
    driver.do("start", operation="seat-cam")
    assert driver.refused("move", move="turn-down") == {"operation-in-progress"}
    assert driver.refused("start", operation="hold-chain") == {"operation-in-progress"}


def test_unknown_state_blocks_every_rule_that_depends_on_it(tmp_path: Path) -> None:
    driver = start_session(tmp_path, start={})
    driver.lower_and_tighten()
    assert driver.refused("start", operation="seat-cam") == {"interference"}
    assert driver.refused("set-state", variable="pistons") == {"value-missing"}
    assert driver.refused("set-state", variable="pistons", value="up") == {"unknown-name"}
    assert driver.refused("set-state", variable="pistons", value="down") == {"value-missing"}
    driver.do("set-state", variable="pistons", value="down", reason="seen through the bores")
    driver.do("start", operation="seat-cam")
    # After the crank was knocked, the position of the pistons is unknown and the interlock applies again.
    assert driver.refused("set-state", variable="pistons", value=None) == {"value-missing"}
    driver.do("set-state", variable="pistons", value=None, reason="the crank was knocked")
    driver.do("tick-check", check=1)
    driver.do("tick-check", check="The caps are flush")
    assert driver.refused("finish", operation="seat-cam") == {"interference"}


def test_entries_are_accepted_only_for_the_operation_in_progress(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    for intent, fields in (
        ("finish", {"operation": "seal"}),
        ("finish", {}),
        ("pause", {"operation": "seal"}),
        ("record", {"name": "lash", "value": "0.25 mm"}),
        ("tick", {"joint": "studs", "fastener": 1}),
        ("tick-check", {"operation": "seat-cam", "check": 1}),
        ("lot", {"consumable": "sealant", "lot": "1"}),
        ("sign", {"operation": "cure", "by": "Kim"}),
        ("rework-step", {}),
    ):
        assert driver.refused(intent, **fields) == {"not-started"}, intent
    driver.lower_and_tighten()
    assert driver.refused("finish", operation="seal") == {"already-done"}
    assert driver.refused("start", operation="seal") == {"already-done"}


def test_joint_is_tightened_in_sequence_and_a_tick_can_be_cleared(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_head()
    driver.do("start", operation="tighten")
    assert driver.refused("tick", joint="studs", fastener=2) == {"fastener-order"}
    assert driver.refused("tick", joint="studs", fastener=9) == {"unknown-name"}
    assert driver.refused("tick", joint="nuts", fastener=1) == {"unknown-name"}
    assert driver.refused("untick", joint="studs", fastener=1) == {"fastener-order"}
    driver.do("tick", joint="studs", fastener=1)
    assert driver.refused("tick", joint="studs", fastener=2, stage=2) == {"stage-not-finished"}
    again = {"fastener-order", "already-done", "stage-not-finished"}
    assert driver.refused("tick", joint="studs", fastener=1) == again
    driver.do("tick", joint="studs", fastener="2")
    assert driver.refused("untick", joint="studs", fastener=1) == {"fastener-order"}
    driver.do("untick", joint="studs", fastener=2)
    for fastener in (2, 3, 4):
        driver.do("tick", joint="studs", fastener=fastener)
    assert driver.refused("tick", joint="studs", fastener=3) == {
        "fastener-order"
    }  # this stage tightens only the inner two
    assert driver.refused("finish", operation="tighten") == {"stage-not-finished"}
    driver.do("tick", joint="studs", fastener=1)
    driver.do("tick", joint="studs", fastener=2)
    assert driver.refused("tick", joint="studs", fastener=1) == {"value-missing"}  # a check stage requires a reading
    assert driver.refused("tick", joint="studs", fastener=1, value="35") == {"bad-quantity"}
    assert driver.refused("tick", joint="studs", fastener=1, value="35 mm") == {"wrong-dimension"}
    for fastener, value in ((1, "35 N·m"), (2, "29 N·m"), (3, "35 N·m"), (4, "26 ft-lb")):
        driver.do("tick", joint="studs", fastener=fastener, value=value)
    assert driver.refused("finish", operation="tighten") == {"out-of-limit"}
    driver.do("deviate", operation="tighten", about="studs", reason="thread is good, maker agrees", by="Kim")
    driver.do("finish", operation="tighten")


def test_joint_progress_is_kept_after_the_program_was_killed(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_head()
    driver.do("start", operation="tighten")
    for fastener in (1, 2, 3):
        driver.do("tick", joint="studs", fastener=fastener)
    again = resume_session(driver)
    assert again.controller.state == driver.controller.state
    assert "already-done" in again.refused("tick", joint="studs", fastener=3)
    again.do("tick", joint="studs", fastener=4)


def test_readings_are_judged_by_the_decision_rule_and_logged_with_all_digits(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_and_tighten()
    driver.do("start", operation="measure[2]")
    assert driver.refused("finish") == {"value-missing"}
    assert driver.refused("record", name="lash", value="0.25") == {"bad-quantity"}
    assert driver.refused("record", name="lash", value="25 N·m") == {"wrong-dimension"}
    assert driver.refused("record", name="lsah", value="0.25 mm") == {"unknown-name"}
    for entered in ("0.3020 mm", "0.299 mm", "0.0098 in"):
        reply = driver.do("record", name="lash", value=entered)
        assert reply.lines[0].data["quantity"]["entered"] == entered
    verdicts = [line.data["verdict"] for line in driver.controller.journal.lines if line.kind == "recorded"]
    assert verdicts == ["not-proven", "not-proven", "ok"]  # u = 0.002 mm: the guard band is 0.0033 mm
    for reading, value in ((1, "0.04 mm"), (2, "0.07 mm")):
        driver.do("record", name="runout[2]", value=value, reading=reading)
    assert driver.refused("finish") == {"value-missing"}
    assert driver.refused("record", name="runout", value="0.05 mm", reading=4) == {"unknown-name"}
    driver.do("record", name="runout", value="0.05 mm")
    assert driver.refused("finish") == {"out-of-limit"}  # the mean is 0.0533 mm
    driver.do("record", name="runout", value="0.03 mm", reading=2)
    driver.do("finish")
    first = next(line for line in driver.controller.journal.lines if line.kind == "recorded")
    assert first.data["quantity"] == {"value": "0.3020", "unit": "mm", "entered": "0.3020 mm"}


def test_not_proven_reading_blocks_the_finish_until_a_deviation_is_signed(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_and_tighten()
    driver.do("start", operation="measure[1]")
    driver.do("record", name="lash", value="0.299 mm")
    for reading in (1, 2, 3):
        driver.do("record", name="runout", value="0.01 mm", reading=reading)
    assert driver.refused("finish") == {"not-proven"}
    assert driver.refused("deviate", operation="measure[1]", about="lash", reason=" ") == {"value-missing"}
    assert driver.refused("deviate", operation="measure[1]", about="interference", reason="x") == {"not-allowed"}
    assert driver.refused("deviate", operation="measure[1]", about="hold", reason="x") == {"unknown-name"}
    driver.do("deviate", operation="measure[1]", about="lash", reason="within the gauge's error", by="Kim")
    driver.do("finish")


def test_time_window_counts_from_the_latest_finish(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.do("start", operation="seal")
    driver.do("lot", consumable="sealant", lot="0042")
    driver.do("finish")
    driver.do("start", operation="lower")
    driver.clock.advance(601)
    assert driver.refused("finish") == {"too-late"}
    driver.do("deviate", operation="lower", about="time", reason="the sealant was still wet", by="Kim")
    driver.do("finish")
    assert driver.refused("start", operation="cure") == {"too-early"}
    driver.clock.advance(3599)
    assert driver.refused("start", operation="cure") == {"too-early"}
    driver.clock.advance(1)
    driver.do("start", operation="cure")


def test_clock_set_back_is_logged_and_does_not_lengthen_a_window(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_head()
    driver.clock.advance(4000)
    wall = driver.clock.wall_time
    driver.clock.wall_time = wall.replace(year=2025)
    driver.do("start", operation="cure")  # by the monotonic clock, the hour is over
    assert [line.kind for line in driver.controller.journal.lines[-2:]] == ["clock-went-back", "started"]


def test_hold_signed_by_the_builder_is_logged_as_self_signed(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_head()
    driver.clock.advance(4000)
    driver.do("start", operation="cure")
    assert driver.refused("finish") == {"hold-unsigned"}
    assert driver.refused("sign", operation="cure") == {"value-missing"}
    assert driver.refused("sign", operation="hold-chain", by="Kim") == {"not-allowed"}
    own = driver.do("sign", operation="cure", by="Robin")
    assert own.lines[0].data["self_signed"] is True
    other = driver.do("sign", operation="cure", by="Kim")
    assert (other.lines[0].by, other.lines[0].data["self_signed"]) == ("Kim", False)
    driver.do("finish")


def test_signature_lapses_after_a_later_entry(tmp_path: Path) -> None:
    text = SMALL_HEAD.replace(
        "check: [The cam turns freely, The caps are flush]",
        "check: [The cam turns freely, The caps are flush]\n    hold: {by: inspector, for: the cam}",
    )
    driver = start_session(tmp_path, text)
    driver.lower_and_tighten()
    driver.do("move", move="turn-down")
    driver.do("start", operation="seat-cam")
    driver.do("tick-check", check=1)
    driver.do("sign", operation="seat-cam", by="Kim")
    driver.do("tick-check", check=2)
    assert driver.refused("finish") == {"hold-unsigned"}
    driver.do("sign", operation="seat-cam", by="Kim")
    driver.do("finish")


def test_operation_with_a_during_state_cannot_be_paused(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_and_tighten()
    driver.do("move", move="turn-down")
    driver.do("start", operation="seat-cam")
    assert driver.refused("pause", operation="seat-cam") == {"not-allowed"}
    assert driver.refused("finish") == {"check-open"}
    driver.do("tick-check", operation="seat-cam", check=1)
    assert driver.refused("tick-check", check=1) == {"already-done"}
    assert driver.refused("tick-check", check=3) == {"unknown-name"}


def test_paused_operation_keeps_its_entries(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_and_tighten()
    driver.do("start", operation="measure[1]")
    driver.do("record", name="lash", value="0.25 mm")
    driver.do("pause", operation="measure[1]")
    view = driver.controller.view()
    assert [row.operation for row in view.operations if row.status == "paused"] == ["measure[1]"]
    assert view.now is not None
    assert view.now.operation == "measure[1]"
    again = resume_session(driver)
    again.do("start", operation="measure[1]")
    for reading in (1, 2, 3):
        again.do("record", name="runout", value="0.01 mm", reading=reading)
    again.do("finish")


def test_correction_is_a_new_event_and_the_wrong_reading_stays_in_the_log(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_and_tighten()
    driver.do("start", operation="measure[1]")
    wrong = driver.do("record", name="lash", value="2.5 mm").lines[0].seq
    assert driver.refused("correct", event=wrong, value="0.25 mm", reason="") == {"value-missing"}
    assert driver.refused("correct", event=1, value="0.25 mm", reason="slip") == {"unknown-name"}
    driver.do("correct", event=wrong, value="0.25 mm", reason="slip of the decimal point")
    for reading in (1, 2, 3):
        driver.do("record", name="runout", value="0.01 mm", reading=reading)
    driver.do("finish")
    # The second correction is out of the limit, so the job cannot be closed.
    driver.do("correct", event=wrong, value="0.35 mm", reason="read the wrong line")
    assert "out-of-limit" in driver.refused("close", by="Robin", unfinished="the customer took it")
    driver.do("deviate", operation="measure[1]", about="lash", reason="customer accepts", by="Kim")


def test_close_needs_all_work_done_or_a_reason_and_no_temporary_setting(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.work("hold-chain")
    assert driver.refused("close", by="Robin") == {"temporary-left", "after-missing"}
    assert driver.refused("close", by="Robin", unfinished="engine sold") == {"temporary-left"}
    driver.work("let-chain-down")
    driver.do("start", operation="seal")
    assert driver.refused("close", by="Robin", unfinished="engine sold") == {"operation-in-progress"}
    driver.do("pause", operation="seal")
    driver.do("close", by="Robin", unfinished="engine sold")
    assert driver.refused("start", operation="seal") == {"not-open"}
    driver.do("note", text="called the buyer")


def test_operation_that_is_not_in_this_build_blocks_nothing(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    assert driver.refused("start", operation="only-reground") == {"unknown-name"}


def test_lot_keeps_its_leading_zeros(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.do("start", operation="seal")
    assert driver.refused("finish") == {"value-missing"}
    assert driver.refused("lot", consumable="grease", lot="1") == {"unknown-name"}
    assert driver.refused("lot", consumable="sealant", lot=" ") == {"value-missing"}
    reply = driver.do("lot", consumable="sealant", lot="0042-00\x1b[31m")
    assert reply.lines[0].data["lot"] == "0042-00[31m"


@pytest.mark.parametrize(
    ("message", "codes"),
    [
        ({}, ["bad-intent"]),
        ({"intent": "fly"}, ["unknown-name"]),
        ({"intent": "start"}, ["value-missing"]),
        ({"intent": "move", "mvoe": "x"}, ["unknown-name", "value-missing"]),
    ],
)
def test_invalid_intent_is_refused_with_all_its_errors(
    tmp_path: Path, message: dict[str, str], codes: list[str]
) -> None:
    driver = start_session(tmp_path)
    reply = driver.controller.send(message)
    assert isinstance(reply, Refusal)
    assert [reason.code for reason in reply.refused] == codes
    assert driver.controller.saved == 1


def test_rework_undoes_later_operations_and_lists_parts_to_discard(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_and_tighten()
    assert driver.refused("rework", operation="seal", reason="") == {"value-missing"}
    plan = driver.do("rework-plan", operation="seal").answer["rework-plan"]
    assert [step["operation"] for step in plan["steps"]] == ["tighten", "lower", "seal"]
    assert list(plan["discard"]) == ["sealant"]
    driver.do("rework", operation="seal", reason="the sealant had skinned")
    assert list(driver.controller.state.done) == []  # type: ignore[union-attr]  # the session is open
    driver.lower_and_tighten()


def test_stepwise_rework_continues_after_a_crash(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_and_tighten()
    driver.do("rework", operation="seal", reason="the sealant had skinned", walk=True)
    assert driver.refused("start", operation="hold-chain") == {"not-allowed"}
    driver.do("rework-step")
    again = resume_session(driver)
    assert again.controller.state is not None
    assert list(again.controller.state.done) == ["seal", "lower"]
    again.do("rework-step")
    again.do("rework-step")
    assert again.refused("rework-step") == {"not-started"}
    again.lower_and_tighten()


def test_move_is_refused_between_two_steps_of_a_rework(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_and_tighten()
    driver.do("rework", operation="seal", reason="the sealant had skinned", walk=True)
    for _ in range(3):
        assert driver.refused("move", move="turn-down") == {"not-allowed"}
        driver.do("rework-step")
    driver.do("move", move="turn-down")


def test_rework_of_an_operation_without_undo_is_refused(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.work("hold-chain")
    assert driver.refused("rework", operation="hold-chain", reason="x") == {"not-allowed"}
    assert driver.refused("rework", operation="seal", reason="x") == {"not-started"}


def test_time_between_two_runs_comes_from_the_wall_clock(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_head()
    driver.controller.close()
    later = ManualClock()
    later.wall_time = driver.clock.wall_time.replace(hour=23)
    again = resume_session(driver)
    again.clock.wall_time = later.wall_time
    again.do("start", operation="cure")


def test_operation_that_cannot_be_paused_can_be_reworked(tmp_path: Path) -> None:
    driver = start_session(tmp_path)
    driver.lower_and_tighten()
    driver.do("move", move="turn-down")
    driver.do("start", operation="seat-cam")
    driver.do("tick-check", check=1)
    assert driver.refused("rework", operation="tighten", reason="x") == {"operation-in-progress"}
    driver.do("rework", operation="seat-cam", reason="it will not turn", walk=True)
    assert driver.refused("finish", operation="seat-cam") == {"not-allowed"}
    driver.do("rework-step")
    assert driver.controller.state is not None
    assert driver.controller.state.in_progress is None
    assert driver.controller.state.valuation["valves"] == "shut"
    driver.do("start", operation="seat-cam")
    assert driver.refused("finish", operation="seat-cam") == {"check-open"}


def test_bench_offers_the_operation_with_the_nearest_deadline(tmp_path: Path) -> None:
    text = (
        SMALL_HEAD.replace("- id: seal\n", "- id: tidy\n    title: Tidy up\n  - id: seal\n")
        .replace("    after: [seal]\n", "    after: [lift]\n")
        .replace("  - id: lower\n", "  - id: lift\n    title: Lift the head over\n    after: [seal]\n  - id: lower\n")
    )
    driver = start_session(tmp_path, text)

    def shown_operation() -> str:
        now = driver.controller.view().now
        assert now is not None
        return now.operation

    assert shown_operation() == "tidy"
    driver.do("start", operation="seal")
    driver.do("lot", consumable="sealant", lot="0042")
    driver.do("finish")
    assert shown_operation() == "lift"  # comes before `lower`, whose window is ten minutes
    driver.work("lift")
    assert shown_operation() == "lower"
    driver.clock.advance(601)
    assert shown_operation() == "lower"  # its window has closed: it is blocked, and asks for a rework
    driver.do("deviate", operation="lower", about="time", reason="still wet")
    driver.work("lower")
    assert shown_operation() == "tidy"


def test_clock_advice_names_the_operation_to_start_first(tmp_path: Path) -> None:
    text = SMALL_HEAD.replace("    after: [seal]\n", "    after: [lift]\n").replace(
        "  - id: lower\n",
        "  - id: lift\n    title: Lift the head over\n    after: [seal]\n    takes: 3 min\n  - id: lower\n",
    )
    driver = start_session(tmp_path, text)
    driver.do("start", operation="seal")
    driver.do("lot", consumable="sealant", lot="0042")
    driver.do("finish")
    (clock,) = driver.controller.view().clocks
    # Ten minutes, minus two for lowering and three for lifting.
    assert (
        clock.advice == "Start step 2 (Lift the head over) within 5:00 min, to finish step 3 (Lower the head) in time."
    )
    driver.do("start", operation="lift")
    (clock,) = driver.controller.view().clocks
    assert clock.advice == "Start step 3 (Lower the head) within 8:00 min."
    driver.clock.advance(601)
    (clock,) = driver.controller.view().clocks
    assert clock.phase == "missed"
