"""The rest of a stage entered together, a stage begun again, and the advice after a break. All data is invented."""

from pathlib import Path
from typing import Any

import pytest

from benchflow.review.evidence.assessment import review_everything
from benchflow.review.evidence.weights import SUSPECT
from benchflow.review.log.loaded_log import load_log
from benchflow.session.controller import SessionController
from benchflow.session.view.bench_view import TightenInput
from tests.driving.script import Script, intent, open_intent, procedure_with
from tests.driving.session_driver import ManualClock, SessionDriver, load_text, read_procedure

HEAD = "joints: {studs: {title: Studs, layout: '1 2 3 4 5 6', groups: {long: [2, 5]}}}\n"


def pulling(stages: str, more: str = "") -> str:
    return procedure_with(f"{{id: pull, title: Pull, tighten: {{joint: studs, stages: [{stages}]{more}}}}}", head=HEAD)


def started(tmp_path: Path, stages: str, more: str = "") -> Script:
    script = Script(tmp_path, pulling(stages, more))
    script.do_all(open_intent(), intent("start", operation="pull"))
    return script


def ticks(script: Script, *fasteners: int, **fields: Any) -> None:
    script.do_all(*(intent("tick", joint="studs", fastener=number, **fields) for number in fasteners))


def joint(script: Script) -> dict[str, Any]:
    found: dict[str, Any] = script.query("status")["joint"]
    return found


def messages(script: Script, kind: str, **fields: Any) -> str:
    (reply,) = script.send(intent(kind, joint="studs", **fields))
    assert reply["ok"] is False
    return " ".join(reason["message"] for reason in reply["refused"])


# --- the rest entered together ----------------------------------------------------------------------


def test_rest_of_a_stage_is_entered_together_in_one_group(tmp_path: Path) -> None:
    script = started(tmp_path, "30 N·m, 60 N·m")
    ticks(script, 1, 2)
    events = script.do("tick-rest", joint="studs")
    assert [(one["data"]["fastener"], one["data"]["together"]) for one in events] == [
        (3, True), (4, True), (5, True), (6, True),
    ]  # fmt: skip
    assert {one["data"]["stage"] for one in events} == {1}
    assert (joint(script)["stage"], joint(script)["done"]) == (2, 0)
    assert [line["data"].get("together", False) for line in script.log() if line["kind"] == "ticked"][:2] == [
        False, False,
    ]  # fmt: skip
    script.audited()


def test_rest_of_a_stage_for_a_group_leaves_the_others_alone(tmp_path: Path) -> None:
    script = started(tmp_path, "{torque: 30 N·m, only: long}, 60 N·m")
    ticks(script, 2)
    assert joint(script)["rest"] == [5]
    (event,) = script.do("tick-rest", joint="studs")
    assert event["data"]["fastener"] == 5
    assert joint(script)["rest"] == [1, 2, 3, 4, 5, 6]


def test_rest_is_offered_only_where_it_is_accepted(tmp_path: Path) -> None:
    script = started(tmp_path, "30 N·m, {check: 25 .. 35 N·m}")
    assert joint(script)["rest"] == [1, 2, 3, 4, 5, 6]
    script.do("tick-rest", joint="studs")
    assert joint(script)["rest"] == []
    assert script.refused("tick-rest", joint="studs") == ["value-missing"]
    assert "reading of each fastener" in messages(script, "tick-rest")


def test_rest_is_refused_while_drawing_down(tmp_path: Path) -> None:
    script = started(tmp_path, "30 N·m", ", draw-down: half a turn")
    script.do("draw-down", joint="studs")
    assert script.refused("tick-rest", joint="studs") == ["stage-not-finished"]
    assert joint(script)["rest"] == []
    script.do("draw-down", joint="studs", seated=True)
    assert len(script.do("tick-rest", joint="studs")) == 6


def test_rest_is_refused_while_a_fastener_is_out_of_its_limit(tmp_path: Path) -> None:
    script = started(tmp_path, "30 N·m")
    ticks(script, 1, value="20 N·m")
    assert script.refused("tick-rest", joint="studs") == ["out-of-limit"]
    assert joint(script)["rest"] == []


def test_rest_is_refused_while_a_fastener_has_to_be_loosened(tmp_path: Path) -> None:
    script = started(tmp_path, "30 N·m")
    ticks(script, 1, value="40 N·m")
    script.do("untick", joint="studs")
    assert script.refused("tick-rest", joint="studs") == ["remedy-first"]


def test_rest_is_refused_for_a_torque_that_is_not_given(tmp_path: Path) -> None:
    script = started(tmp_path, "{torque: ask}")
    assert script.refused("tick-rest", joint="studs") == ["value-missing"]
    script.do("figure", joint="studs", stage=1, value="30 N·m", **{"from": "bulletin 4"})
    events = script.do("tick-rest", joint="studs")
    assert {one["data"]["torque"]["value"] for one in events} == {"30"}
    script.audited()


@pytest.mark.parametrize(("stage", "codes"), [(1, ["stage-not-finished"]), (3, ["stage-not-finished"])])
def test_rest_of_another_stage_is_refused(tmp_path: Path, stage: int, codes: list[str]) -> None:
    script = started(tmp_path, "30 N·m, 60 N·m, +90°")
    script.do("tick-rest", joint="studs", stage=1)
    assert script.refused("tick-rest", joint="studs", stage=stage) == codes
    script.do("tick-rest", joint="studs", stage=2)


def test_rest_of_a_tightened_joint_is_refused(tmp_path: Path) -> None:
    script = started(tmp_path, "30 N·m")
    script.do("tick-rest", joint="studs")
    assert script.refused("tick-rest", joint="studs") == ["already-done"]


def test_log_and_review_show_entered_together_and_the_audit_finds_nothing_wrong(tmp_path: Path) -> None:
    text = pulling("30 N·m, 60 N·m")
    clock = ManualClock()
    path = tmp_path / "log.jsonl"
    controller = SessionController.begin(path, load_text(text), file="p.yaml", read=read_procedure, clock=clock)
    driver = SessionDriver(controller, clock, pace=10)
    driver.do("open", by="Robin", unit="job 7")
    driver.do("start", operation="pull")
    for number in (1, 2):
        driver.do("tick", joint="studs", fastener=number)
    driver.do("tick-rest", joint="studs")
    driver.do("tick-rest", joint="studs")
    driver.do("finish")
    controller.close()
    log = load_log(path, read_procedure)
    (step,) = review_everything(log).guards
    assert [(point.kind, point.words) for point in step.reasons] == [
        ("entered-together", "4 fasteners of stage 1 of studs entered together"),
        ("entered-together", "6 fasteners of stage 2 of studs entered together"),
    ]
    assert all(point.grade < SUSPECT for point in step.reasons)
    assert any("entered together" in known.words for known in step.known)


# --- a stage begun again ----------------------------------------------------------------------------


def test_stage_begun_again_clears_its_ticks_by_one_event_and_keeps_the_earlier_stages(tmp_path: Path) -> None:
    script = started(tmp_path, "30 N·m, 60 N·m")
    script.do("tick-rest", joint="studs")
    ticks(script, 1, 2, 3)
    assert joint(script)["stage_again"] is True
    (event,) = script.do("stage-again", joint="studs")
    assert (event["kind"], event["data"]["stage"], event["data"]["cleared"]) == ("stage-again", 2, 3)
    found = joint(script)
    assert (found["stage"], found["done"], found["next"], found["stage_again"]) == (2, 0, 1, False)
    assert script.refused("stage-again", joint="studs") == ["fastener-order"]
    script.do("tick-rest", joint="studs")
    script.do("finish")
    script.audited()


def test_stage_that_turns_by_an_angle_cannot_be_begun_again(tmp_path: Path) -> None:
    script = started(tmp_path, "30 N·m, +90°")
    script.do("tick-rest", joint="studs")
    ticks(script, 1, 2)
    assert joint(script)["stage_again"] is False
    assert script.refused("stage-again", joint="studs") == ["not-allowed"]
    assert "what is turned stays turned" in messages(script, "stage-again")


def test_fastener_that_was_too_tight_still_has_to_be_loosened_when_its_stage_is_begun_again(tmp_path: Path) -> None:
    script = started(tmp_path, "30 N·m")
    ticks(script, 1, value="40 N·m")
    script.do("stage-again", joint="studs")
    assert script.refused("tick", joint="studs", fastener=1) == ["remedy-first"]
    script.do("tick", joint="studs", fastener=1, loosened=True)


def test_stage_with_a_fastener_that_waits_for_its_remedy_cannot_be_begun_again(tmp_path: Path) -> None:
    script = started(tmp_path, "{torque: 30 N·m, below: [{do: Clean it, tries: 1}]}")
    ticks(script, 1, value="20 N·m")
    assert joint(script)["stage_again"] is False
    assert script.refused("stage-again", joint="studs") == ["remedy-first"]


def test_deviation_about_a_tick_lapses_when_its_stage_is_begun_again(tmp_path: Path) -> None:
    script = started(tmp_path, "30 N·m")
    ticks(script, 1, value="20 N·m")
    script.do("deviate", operation="pull", about="studs[1]", reason="agreed", by="Kim")
    assert joint(script)["next"] == 2
    script.do("stage-again", joint="studs")
    assert joint(script)["next"] == 1
    ticks(script, 1, value="20 N·m")
    assert script.refused("tick", joint="studs", fastener=2) == ["out-of-limit"]


def test_stage_begun_again_is_not_a_sign_of_redone_ticks_in_the_review(tmp_path: Path) -> None:
    script = started(tmp_path, "30 N·m")
    ticks(script, 1, 2, 3, 4)
    script.do("stage-again", joint="studs")
    ticks(script, 1, 2, 3, 4, 5, 6)
    script.do("finish")
    (step,) = review_everything(load_log(script.path, read_procedure)).guards
    assert "redone" not in [point.kind for point in step.reasons]


# --- after a break ----------------------------------------------------------------------------------


def at_the_bench(tmp_path: Path, clock: ManualClock) -> SessionDriver:
    controller = SessionController.begin(
        tmp_path / "log.jsonl", load_text(pulling("30 N·m, 60 N·m")), file="p.yaml", read=read_procedure, clock=clock
    )
    driver = SessionDriver(controller, clock)
    driver.do("open", by="Robin", unit="job 7")
    driver.do("start", operation="pull")
    for number in (1, 2):
        driver.do("tick", joint="studs", fastener=number)
    return driver


def resume_text(driver: SessionDriver) -> str:
    now = driver.controller.view().now
    assert now is not None
    return next(one.resume_text for one in now.inputs if isinstance(one, TightenInput))


AFTER = "last: no. 2. Check no. 2, then no. 3."


@pytest.mark.parametrize(("seconds", "shown"), [(600, ""), (601, AFTER)])
def test_more_than_ten_minutes_within_a_stage_are_a_break(tmp_path: Path, seconds: float, shown: str) -> None:
    # 10 minutes: common practice, no source
    clock = ManualClock()
    driver = at_the_bench(tmp_path, clock)
    clock.advance(seconds)
    assert resume_text(driver) == shown


def test_pause_within_a_stage_is_a_break_until_the_next_tick(tmp_path: Path) -> None:
    driver = at_the_bench(tmp_path, ManualClock())
    assert resume_text(driver) == ""
    driver.do("pause")
    driver.do("start", operation="pull")
    assert resume_text(driver) == AFTER
    driver.do("tick", joint="studs", fastener=3)
    assert resume_text(driver) == ""


def test_new_start_of_the_program_within_a_stage_is_a_break(tmp_path: Path) -> None:
    clock = ManualClock()
    driver = at_the_bench(tmp_path, clock)
    driver.controller.close()
    again = SessionController.resume(tmp_path / "log.jsonl", read=read_procedure, clock=clock)
    driver = SessionDriver(again, clock)
    assert resume_text(driver) == AFTER
    driver.do("note", text="lunch")  # the start is logged with it
    assert resume_text(driver) == AFTER
    driver.do("tick", joint="studs", fastener=3)
    assert resume_text(driver) == ""


def test_query_after_a_new_start_of_the_program_reports_the_break(tmp_path: Path) -> None:
    script = started(tmp_path, "30 N·m")
    ticks(script, 1, 2)
    assert joint(script)["resume"] == AFTER


def test_break_between_two_stages_needs_no_check(tmp_path: Path) -> None:
    clock = ManualClock()
    driver = at_the_bench(tmp_path, clock)
    driver.do("tick-rest", joint="studs")
    clock.advance(3600)
    assert resume_text(driver) == ""
