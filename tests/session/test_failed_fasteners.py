"""A fastener strips, breaks or turns without getting tighter: the joint stops. All data is invented."""

from pathlib import Path
from typing import Any

import pytest

from benchflow.review.evidence.assessment import review_everything
from benchflow.review.log.loaded_log import load_log
from benchflow.review.sheets.build_sheet import build_sheet
from benchflow.session.history.history import history_text
from tests.driving.script import Script, intent, open_intent, procedure_with, read_procedure

HEAD = (
    "kit: {parts: {bolts: {title: Stretch bolts, discard: true, lot: required}}}\n"
    "joints: {studs: {title: Head studs, layout: '1 2 3 4', groups: {long: [3, 4]}}}\n"
)


def started(tmp_path: Path, stages: str = "30 N·m, 60 N·m", in_joint: str = "", keys: str = "") -> Script:
    tighten = f"tighten: {{joint: studs, stages: [{stages}]{in_joint}}}"
    operation = f"{{id: pull, title: Pull, {tighten}, undo: {{do: Loosen}}{keys}}}"
    script = Script(tmp_path, procedure_with(operation, head=HEAD))
    script.do_all(open_intent(), intent("start", operation="pull"))
    return script


def ticks(script: Script, *fasteners: int) -> None:
    script.do_all(*(intent("tick", joint="studs", fastener=number) for number in fasteners))


def fail(script: Script, fastener: int, what: str = "stripped", **fields: Any) -> None:
    script.do("fastener-failed", joint="studs", fastener=fastener, what=what, **fields)


def joint(script: Script) -> dict[str, Any]:
    found: dict[str, Any] = script.query("status")["joint"]
    return found


STOPPED = (
    intent("tick", joint="studs", fastener=2),
    intent("tick-rest", joint="studs"),
    intent("draw-down", joint="studs"),
    intent("stage-again", joint="studs"),
    intent("finish"),
)


def test_joint_stops_and_says_which_fastener_failed_where_and_what_to_do(tmp_path: Path) -> None:
    script = started(tmp_path)
    script.do("tick-rest", joint="studs")
    ticks(script, 1)
    fail(script, 2, "turning", value="45 N·m")
    for reply in script.send(*STOPPED):
        assert reply["ok"] is False
        (reason,) = reply["refused"]
        assert (reason["code"], reason["name"]) == ("fastener-failed", "2")
        assert reason["message"] == (
            "Head studs: fastener 2 turns without getting tighter (stage 2: 60 N·m, at 45 N·m). The joint is stopped. "
            "Repair fastener 2 and enter the repair, then begin the joint again. Or sign a deviation about studs[2] "
            "and go on without it."
        )
    found = joint(script)
    assert (found["rest"], found["stage_again"], found["failed"]) == ([], False, {"2": "turns without getting tighter"})
    assert found["stopped"].startswith("Head studs: fastener 2 turns")


def test_repair_begins_the_joint_again(tmp_path: Path) -> None:
    script = started(tmp_path)
    script.do("tick-rest", joint="studs")
    ticks(script, 1)
    fail(script, 2, value="45 N·m")
    (event,) = script.do("repair", joint="studs", fastener=2, repair="M10 thread insert fitted")
    assert (event["kind"], event["data"]["repair"]) == ("repaired", "M10 thread insert fitted")
    found = joint(script)
    assert (found["stage"], found["done"], found["next"], found["stopped"], found["failed"]) == (1, 0, 1, "", {})
    assert script.refused("finish") == ["stage-not-finished"]
    script.do("tick-rest", joint="studs")
    script.do("tick-rest", joint="studs")
    script.do("finish")
    script.audited()


def test_repair_begins_the_draw_down_again(tmp_path: Path) -> None:
    script = started(tmp_path, "30 N·m", ", draw-down: half a turn")
    script.do("draw-down", joint="studs")
    fail(script, 1, "broken")
    assert "(before stage 1)" in joint(script)["stopped"]
    script.do("repair", joint="studs", fastener=1, repair="new stud")
    drawn = joint(script)["draw_down"]
    assert (drawn["begun"], drawn["next"], drawn["done"]) == (False, 1, 0)
    script.do("draw-down", joint="studs", seated=True)
    ticks(script, 1)
    fail(script, 2)
    script.do("repair", joint="studs", fastener=2, repair="new stud")
    assert joint(script)["draw_down"]["seated"] is False


def test_checks_answered_since_the_first_tick_are_open_after_a_repair(tmp_path: Path) -> None:
    script = started(tmp_path, "30 N·m", keys=", check: [Threads are oiled, No nut moved]")
    script.do("tick-check", check=1)
    script.do("tick-rest", joint="studs")
    script.do("tick-check", check=2)
    fail(script, 4)
    script.do("repair", joint="studs", fastener=4, repair="new stud")
    script.do("tick-rest", joint="studs")
    assert script.refused("finish") == ["check-open"]
    script.do("tick-check", check=2)


def test_parts_for_one_use_are_renewed_with_a_repair(tmp_path: Path) -> None:
    script = started(tmp_path, "30 N·m", keys=", uses: [bolts]")
    script.do("lot", consumable="bolts", lot="A1")
    ticks(script, 1)
    fail(script, 2, "broken")
    assert "begin the joint again with new parts (Stretch bolts)" in joint(script)["stopped"]
    (event,) = script.do("repair", joint="studs", fastener=2, repair="new bolt")
    assert event["data"]["discard"] == ["bolts"]
    script.do("tick-rest", joint="studs")
    assert script.refused("finish") == ["value-missing"]
    script.do("lot", consumable="bolts", lot="A2")
    script.do("finish")
    script.audited()


def test_joint_goes_on_without_a_fastener_that_a_deviation_covers(tmp_path: Path) -> None:
    script = started(tmp_path)
    ticks(script, 1)
    fail(script, 2)
    script.do("deviate", operation="pull", about="studs[2]", reason="three are enough here", by="Kim")
    found = joint(script)
    assert (found["next"], found["of"], found["done"], found["stopped"]) == (3, 3, 1, "")
    assert found["failed"] == {"2": "stripped"}
    assert "without no. 2" in found["words"]
    assert script.refused("tick", joint="studs", fastener=2) == ["not-allowed"]
    assert [one["data"]["fastener"] for one in script.do("tick-rest", joint="studs")] == [3, 4]
    assert [one["data"]["fastener"] for one in script.do("tick-rest", joint="studs")] == [1, 3, 4]
    script.do("finish")
    script.audited()


def test_deviation_about_a_failed_fastener_covers_its_torque_out_of_the_limit(tmp_path: Path) -> None:
    script = started(tmp_path, "30 N·m")
    script.do("tick", joint="studs", fastener=1, value="20 N·m")
    fail(script, 1)
    script.do("deviate", operation="pull", about="studs", reason="agreed", by="Kim")
    assert joint(script)["next"] == 2


def test_draw_down_goes_on_without_a_fastener_that_a_deviation_covers(tmp_path: Path) -> None:
    script = started(tmp_path, "30 N·m", ", draw-down: half a turn")
    script.do("draw-down", joint="studs")
    fail(script, 2, "broken")
    script.do("deviate", operation="pull", about="studs[2]", reason="agreed", by="Kim")
    turned = [script.do("draw-down", joint="studs")[0]["data"] for _ in range(4)]
    assert [(one["round"], one["fastener"]) for one in turned] == [(1, 3), (1, 4), (2, 1), (2, 3)]


def test_fastener_of_no_later_stage_can_fail_too(tmp_path: Path) -> None:
    script = started(tmp_path, "30 N·m, {torque: 60 N·m, only: long}")
    script.do("tick-rest", joint="studs")
    fail(script, 3)
    script.do("deviate", operation="pull", about="studs[3]", reason="agreed", by="Kim")
    assert joint(script)["rest"] == [4]


def test_wrong_entry_is_cleared_and_the_joint_goes_on(tmp_path: Path) -> None:
    script = started(tmp_path)
    ticks(script, 1, 2)
    fail(script, 4)
    assert script.refused("untick", joint="studs", fastener=2) == ["fastener-order"]
    (event,) = script.do("untick", joint="studs")
    assert (event["kind"], event["data"]["fastener"]) == ("failure-cleared", 4)
    found = joint(script)
    assert (found["stopped"], found["next"], found["done"]) == ("", 3, 2)
    script.audited()


def test_second_failure_stops_the_joint_until_it_is_repaired_too(tmp_path: Path) -> None:
    script = started(tmp_path)
    fail(script, 2)
    fail(script, 4, "broken")
    script.do("repair", joint="studs", fastener=2, repair="insert")
    assert script.refused("tick", joint="studs", fastener=1) == ["fastener-failed"]
    script.do("repair", joint="studs", fastener=4, repair="new stud")
    ticks(script, 1)


def test_failed_fastener_still_has_to_be_repaired_after_rework(tmp_path: Path) -> None:
    script = started(tmp_path)
    fail(script, 2)
    script.do_all(intent("pause"), intent("rework", operation="pull", reason="to drill it"))
    script.do("start", operation="pull")
    assert script.refused("tick", joint="studs", fastener=1) == ["fastener-failed"]
    script.do("repair", joint="studs", fastener=2, repair="insert")
    ticks(script, 1)
    script.audited()


@pytest.mark.parametrize(
    ("fields", "codes"),
    [
        ({"fastener": 9, "what": "stripped"}, ["unknown-name"]),
        ({"fastener": 2, "what": "lost"}, ["unknown-name"]),
        ({"fastener": 2, "what": "stripped", "value": "45 mm"}, ["wrong-dimension"]),
        ({"fastener": 2, "what": "stripped", "value": "-45 N·m"}, ["bad-quantity"]),
        ({"fastener": 2, "what": "stripped", "value": "tight"}, ["bad-quantity"]),
        ({"fastener": 1, "what": "broken"}, ["already-done"]),
    ],
)
def test_impossible_failure_is_refused(tmp_path: Path, fields: dict[str, Any], codes: list[str]) -> None:
    script = started(tmp_path)
    fail(script, 1, value="60°")
    assert script.refused("fastener-failed", joint="studs", **fields) == codes


@pytest.mark.parametrize(
    ("fields", "codes"),
    [({"fastener": 2, "repair": "insert"}, ["not-allowed"]), ({"fastener": 1, "repair": " "}, ["value-missing"])],
)
def test_repair_of_nothing_or_without_a_text_is_refused(
    tmp_path: Path, fields: dict[str, Any], codes: list[str]
) -> None:
    script = started(tmp_path)
    fail(script, 1)
    assert script.refused("repair", joint="studs", **fields) == codes


def test_failure_in_a_finished_joint_needs_its_rework_first(tmp_path: Path) -> None:
    script = started(tmp_path, "30 N·m")
    script.do_all(intent("tick-rest", joint="studs"), intent("finish"))
    failed = intent("fastener-failed", joint="studs", fastener=1, what="broken", operation="pull")
    (reply,) = script.send(failed)
    assert reply["refused"][0]["code"] == "already-done"
    assert "Start a rework first" in reply["refused"][0]["message"]


def test_repair_does_not_get_past_a_stop(tmp_path: Path) -> None:
    script = started(tmp_path, "{torque: 30 N·m, above: [{do: Scrap the stud, stop: true}]}")
    script.do("tick", joint="studs", fastener=1, value="40 N·m")
    fail(script, 2)
    assert script.refused("repair", joint="studs", fastener=2, repair="insert") == ["not-allowed"]
    script.do("deviate", operation="pull", about="studs", reason="agreed", by="Kim")


def test_log_sheet_and_review_tell_the_failure_and_its_repair(tmp_path: Path) -> None:
    script = started(tmp_path, "30 N·m")
    fail(script, 2, value="45 N·m")
    script.do("repair", joint="studs", fastener=2, repair="M10 thread insert fitted")
    script.do_all(intent("tick-rest", joint="studs"), intent("finish"))
    log = load_log(script.path, read_procedure)
    told = " ".join(" ".join(history_text(log.lines, log.plan)).split())
    assert "Head studs, stage 1 (30 N·m): FASTENER 2 is stripped at 45 N·m. The joint is stopped" in told
    assert "Head studs: fastener 2 repaired: M10 thread insert fitted. The joint is begun again" in told
    words = "studs, fastener 2 stripped at 45 N·m; repaired: M10 thread insert fitted"
    assert any(words in line for line in build_sheet(log).exceptions)
    (step,) = review_everything(log).guards
    assert ("fastener-failed", words) in [(point.kind, point.words) for point in step.reasons]


def test_part_for_one_use_under_a_tightened_joint_is_renewed_before_the_repair(tmp_path: Path) -> None:
    text = procedure_with(
        "{id: lay, title: Lay the gasket, uses: [gasket], check: [It lies flat], undo: {do: Lift it off}}",
        "{id: pull, title: Pull, after: [lay], tighten: {joint: studs, stages: [30 N·m, 60 N·m]}, "
        "undo: {do: Loosen, discard: [gasket]}}",
        head="kit: {parts: {gasket: {title: Gasket, discard: true}}}\n"
        "joints: {studs: {title: Head studs, layout: '1 2 3 4'}}\n",
    )
    script = Script(tmp_path, text)
    script.do_all(open_intent(), intent("start", operation="lay"), intent("tick-check", check=1), intent("finish"))
    script.do("start", operation="pull")
    ticks(script, 1)
    fail(script, 2)
    renew = "Pause step 2 and rework step 1 with new parts (Gasket)"
    assert renew in joint(script)["stopped"]
    (reply,) = script.send(intent("repair", joint="studs", fastener=2, repair="thread insert"))
    assert reply["refused"][0]["message"].endswith(f"{renew} first.")
    script.do("pause")
    script.do("rework", operation="lay", reason="new gasket")
    script.do("start", operation="lay")
    script.do("tick-check", check=1)
    script.do("finish")
    script.do("start", operation="pull")
    assert joint(script)["failed"] == {"2": "stripped"}
    script.do("repair", joint="studs", fastener=2, repair="thread insert")
    script.do("tick-rest", joint="studs")
    script.do("tick-rest", joint="studs")
    script.do("finish")
    script.audited()


def test_fastener_that_fails_before_anything_is_tightened_spends_no_part(tmp_path: Path) -> None:
    script = started(tmp_path, "30 N·m", keys=", uses: [bolts]")
    script.do("lot", consumable="bolts", lot="A1")
    fail(script, 2, "broken")
    script.do("repair", joint="studs", fastener=2, repair="new bolt")
