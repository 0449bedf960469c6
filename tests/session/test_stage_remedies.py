"""Remedies of a stage: a fastener that is out of its band counts again only after the remedy in turn.

All figures are invented.
"""

from datetime import UTC
from pathlib import Path

import pytest

from benchflow.commands.check import check_file
from benchflow.session.history.history import history_text, plan_from_log
from benchflow.session.log.line_format import read
from tests.driving.script import Json, Script, intent, open_intent, procedure_with
from tests.driving.session_driver import read_procedure

BELOW = "below: [{do: Clean the thread, tries: 2}, {do: Fit a new stud, stop: true}]"
ABOVE = "above: [{do: Back it off and oil it}]"


def tightening(folder: Path, stages: str, *, before: str = "", keys: str = "", layout: str = "1 2") -> Script:
    head = f"joints: {{studs: {{title: Studs, layout: '{layout}'}}}}\n"
    operation = f"{{id: pull, title: Pull down, tighten: {{joint: studs, stages: {stages}}}{keys}}}"
    script = Script(folder, procedure_with(*([before] if before else []), operation, head=head))
    script.do_all(open_intent())
    if before:
        script.do_all(intent("start", operation="fit"), intent("finish"))
    script.do_all(intent("start", operation="pull"))
    return script


def tick(fastener: int, value: str | None = None, **fields: object) -> Json:
    given = {} if value is None else {"value": value}
    return intent("tick", joint="studs", fastener=fastener, **given, **fields)


def remedy(fastener: int | None = None, name: str = "studs") -> Json:
    return intent("remedy", name=name, **({} if fastener is None else {"fastener": fastener}))


def codes(script: Script, *intents: Json) -> list[list[str]]:
    return [[reason["code"] for reason in reply.get("refused", [])] for reply in script.send(*intents)]


@pytest.mark.parametrize(
    ("stage", "low", "good"),
    [
        (f"{{torque: 100 N·m, {BELOW}}}", "50 N·m", "100 N·m"),
        (f"{{angle: 90°, {BELOW}}}", "40°", "90°"),
        (f"{{loosen: 90°, {BELOW}}}", "40°", "90°"),
        (f"{{check: at least 100 N·m, {BELOW}}}", "50 N·m", "100 N·m"),
    ],
)
def test_fastener_counts_again_only_after_its_remedy(tmp_path: Path, stage: str, low: str, good: str) -> None:
    script = tightening(tmp_path, f"[20 N·m, {stage}]")
    script.do_all(tick(1), tick(2), tick(1, low))
    (reply,) = script.send(tick(1, good))
    assert [reason["code"] for reason in reply["refused"]] == ["remedy-first"]
    assert "carry out the remedy first. Clean the thread (try 1 of 2)" in reply["refused"][0]["message"]
    (reply,) = script.send(intent("finish"))
    assert {reason["code"] for reason in reply["refused"]} >= {"out-of-limit", "remedy-first"}
    script.do_all(remedy(1), tick(1, good), tick(2, good), intent("finish"))


def test_full_stop_of_a_remedy_is_not_repeated_in_the_advice(tmp_path: Path) -> None:
    below = "below: [{do: Clean the thread., tries: 2}, {do: Fit a new stud.}]"
    script = tightening(tmp_path, f"[{{torque: 100 N·m, {below}}}]")
    script.do_all(tick(1, "50 N·m"))
    (reply,) = script.send(tick(2))
    assert "remedy: Clean the thread (try 1 of 2), or sign a deviation" in reply["refused"][0]["message"]
    script.do_all(remedy(1), tick(1, "50 N·m"), remedy(1), tick(1, "50 N·m"))
    (reply,) = script.send(tick(2))
    assert "remedy: Fit a new stud, or sign a deviation" in reply["refused"][0]["message"]


def test_remedies_are_counted_for_each_fastener_and_end_in_a_stop(tmp_path: Path) -> None:
    script = tightening(tmp_path, f"[{{torque: 100 N·m, {BELOW}}}]")
    script.do_all(tick(1, "50 N·m"), remedy(), tick(1, "50 N·m"), remedy(), tick(1, "50 N·m"))
    (again, done, finish) = script.send(tick(1, "100 N·m"), remedy(1), intent("finish"))
    assert [reason["code"] for reason in again["refused"]] == ["out-of-limit"]
    assert "Stop here: Fit a new stud. Sign a deviation" in again["refused"][0]["message"]
    assert [reason["code"] for reason in done["refused"]] == ["not-allowed"]
    assert "remedy-first" not in [reason["code"] for reason in finish["refused"]]
    script.do_all(intent("deviate", operation="pull", about="studs[1]", reason="agreed", by="Kim"), tick(2, "50 N·m"))
    script.do_all(remedy(2), tick(2, "100 N·m"), intent("finish"))


def test_end_of_the_remedies_is_final(tmp_path: Path) -> None:
    script = tightening(tmp_path, f"[{{torque: 100 N·m, {ABOVE}}}]")
    script.do_all(tick(1, "150 N·m"), remedy(), tick(1, "150 N·m"))
    assert codes(script, tick(1, "100 N·m", loosened=True), remedy(1)) == [["out-of-limit"], ["not-allowed"]]


def test_side_without_a_remedy_is_done_again_as_before(tmp_path: Path) -> None:
    script = tightening(tmp_path, f"[{{torque: 100 N·m, {ABOVE}}}]")
    script.do_all(tick(1, "50 N·m"))
    assert codes(script, remedy(1)) == [["not-allowed"]]
    script.do_all(tick(1, "100 N·m"))
    assert codes(script, remedy(1), remedy(2)) == [["not-allowed"], ["not-allowed"]]


def test_remedy_first_holds_also_a_fastener_that_was_loosened(tmp_path: Path) -> None:
    script = tightening(tmp_path, f"[{{torque: 100 N·m, {ABOVE}}}]")
    script.do_all(tick(1, "150 N·m"))
    assert codes(script, tick(1, "100 N·m", loosened=True)) == [["remedy-first"]]
    script.do_all(remedy(1), tick(1, "100 N·m"), tick(2), intent("finish"))


def test_tick_that_waits_for_its_remedy_is_not_cleared(tmp_path: Path) -> None:
    script = tightening(tmp_path, f"[{{torque: 100 N·m, {BELOW}}}]")
    script.do_all(tick(1, "50 N·m"))
    assert codes(script, intent("untick", joint="studs")) == [["remedy-first"]]
    script.do_all(intent("correct", event=5, value="100 N·m", reason="misread"), tick(2), intent("finish"))


def test_correction_does_not_get_past_a_remedy_that_nobody_can_waive(tmp_path: Path) -> None:
    script = tightening(tmp_path, f"[{{torque: 100 N·m, {BELOW}}}]", keys=", waive: never")
    script.do_all(tick(1, "50 N·m"))
    assert codes(script, intent("correct", event=5, value="100 N·m", reason="misread")) == [["not-allowed"]]
    script.do_all(remedy(1), tick(1, "100 N·m"), tick(2), intent("finish"))


def test_deviation_gets_past_a_remedy(tmp_path: Path) -> None:
    script = tightening(tmp_path, f"[{{torque: 100 N·m, {BELOW}}}]")
    script.do_all(tick(1, "50 N·m"), intent("deviate", operation="pull", about="studs", reason="agreed", by="Kim"))
    script.do_all(tick(2), intent("finish"))


def test_remedy_names_the_fastener_where_several_are_out(tmp_path: Path) -> None:
    script = tightening(tmp_path, f"[{{check: at least 100 N·m, {BELOW}}}]")
    script.do_all(tick(1, "50 N·m"), tick(2, "60 N·m"))
    assert codes(script, remedy(), remedy(3)) == [["value-missing"], ["unknown-name"]]
    script.do_all(remedy(2), tick(2, "100 N·m"))
    assert codes(script, tick(1, "100 N·m"), remedy(2)) == [["remedy-first"], ["not-allowed"]]
    script.do_all(remedy(name="studs[1]"), tick(1, "100 N·m"), intent("finish"))


def test_fastener_is_only_for_a_joint(tmp_path: Path) -> None:
    script = tightening(tmp_path, f"[{{torque: 100 N·m, {BELOW}}}]")
    assert codes(script, remedy(1, name="studz")) == [["unknown-name"]]


REDO = "below: [{do: Take it off and clean it, redo: [fit]}]"
FIT = "{id: fit, title: Fit it, undo: {do: Take it off}}"


def test_remedy_with_redo_serves_all_fasteners_and_starts_the_joint_again(tmp_path: Path) -> None:
    stages = f"[20 N·m, {{check: at least 100 N·m, {REDO}}}]"
    script = tightening(tmp_path, stages, before=FIT, keys=", after: [fit]")
    script.do_all(tick(1), tick(2), tick(1, "50 N·m"), tick(2, "60 N·m"))
    (event,) = script.do("remedy", name="studs")
    assert (event["data"]["stage"], event["data"]["fasteners"], event["data"]["redo"]) == (2, [1, 2], ["fit"])
    script.do_all(intent("start", operation="fit"), intent("finish"), intent("start", operation="pull"))
    joint = script.query("status")["joint"]
    assert (joint["stage"], joint["next"]) == (1, 1)
    script.do_all(tick(1), tick(2), tick(1, "50 N·m"))
    assert codes(script, remedy(1)) == [["not-allowed"]]


def test_redo_of_the_operation_itself_clears_it_and_keeps_the_count(tmp_path: Path) -> None:
    script = tightening(tmp_path, "[20 N·m, {torque: 100 N·m, above: [{do: Slack all, redo: [pull]}]}]")
    script.do_all(tick(1), tick(2), tick(1, "150 N·m"), remedy(1))
    assert script.query("status")["joint"]["stage"] == 1
    script.do_all(tick(1), tick(2), tick(1, "150 N·m"))
    assert codes(script, tick(1, "100 N·m", loosened=True)) == [["out-of-limit"]]


def test_fresh_part_sets_the_count_back(tmp_path: Path) -> None:
    script = tightening(tmp_path, "[{torque: 100 N·m, below: [{do: Fit a new stud, fresh: true}]}]")
    for _ in range(3):
        script.do_all(tick(1, "50 N·m"), remedy(1))
    script.do_all(tick(1, "100 N·m"), tick(2), intent("finish"))


def test_stop_of_a_fastener_survives_the_remedy_of_a_value(tmp_path: Path) -> None:
    value = "{gap: {ask: Gap, unit: mm, limit: at most 1 mm, above: [{do: Begin again, redo: [pull]}]}}"
    script = tightening(tmp_path, "[{torque: 100 N·m, below: [{do: Scrap it, stop: true}]}]", keys=f", record: {value}")
    script.do_all(tick(1, "50 N·m"), intent("record", name="gap", value="2 mm"))
    assert codes(script, intent("remedy", name="gap")) == [["not-allowed"]]


def test_corrected_tick_of_an_earlier_stage_is_remedied_with_its_later_ticks(tmp_path: Path) -> None:
    script = tightening(tmp_path, f"[{{torque: 50 N·m, {BELOW}}}, 100 N·m]")
    script.do_all(tick(1, "50 N·m"), tick(2), tick(1), intent("correct", event=5, value="20 N·m", reason="misread"))
    assert codes(script, tick(1, "50 N·m")) == [["out-of-limit"]]
    script.do_all(remedy(1), tick(1, "50 N·m"), tick(1), tick(2), intent("finish"))


def test_history_names_the_remedy_and_the_fastener(tmp_path: Path) -> None:
    script = tightening(tmp_path, f"[{{torque: 100 N·m, {BELOW}}}]")
    script.do_all(tick(1, "50 N·m"), remedy(1))
    lines = list(read(script.path.read_bytes()).lines)
    text = "\n".join(history_text(lines, plan_from_log(lines, read_procedure), zone=UTC, damage=None))
    assert "stage 1, fastener 1, too low. Remedy done: Clean the thread" in " ".join(text.split())


@pytest.mark.parametrize(("undo", "found"), [("", ["unreachable-remedy"]), (", undo: {do: Take it off}", [])])
def test_redo_of_a_stage_is_checked(tmp_path: Path, undo: str, found: list[str]) -> None:
    head = "joints: {studs: {title: Studs, layout: '1 2'}}\n"
    pull = f"{{id: pull, title: Pull, after: [fit], tighten: {{joint: studs, stages: [{{torque: 20 N·m, {REDO}}}]}}}}"
    path = tmp_path / "p.yaml"
    path.write_text(procedure_with(f"{{id: fit, title: Fit it{undo}}}", pull, head=head), encoding="utf-8")
    assert [each["code"] for each in check_file(path, None)["findings"] if each["severity"] == "error"] == found


def test_bench_shows_the_remedy_of_a_fastener(tmp_path: Path) -> None:
    script = tightening(tmp_path, f"[{{torque: 100 N·m, {BELOW}}}]")
    script.do_all(tick(1, "50 N·m"))
    joint = script.query("status")["joint"]
    assert joint["remedy"] == {"fastener": 1, "do": "Clean the thread (try 1 of 2)", "stop": False}
