"""Stages whose torque is not in the file: given at the bench with its source, or calculated. All data is invented."""

from datetime import UTC
from pathlib import Path

import pytest

from benchflow.commands.check import check_file
from benchflow.procedure.reader import read as read_text
from benchflow.review.log.loaded_log import load_log
from benchflow.review.sheets.build_sheet import build_sheet
from benchflow.review.sheets.build_sheet_markdown import build_sheet_markdown
from benchflow.session.history.history import history_text, plan_from_log
from benchflow.session.log.line_format import read
from tests.driving.clocked_job import ClockedJob
from tests.driving.script import Json, Script, intent, open_intent, procedure_with
from tests.driving.session_driver import read_procedure

HEAD = "joints: {studs: {title: Studs, layout: '1 2'}}\n"


def pulling(folder: Path, stages: str, keys: str = "", *before: str, start: bool = True) -> Script:
    pull = f"{{id: pull, title: Pull, tighten: {{joint: studs, stages: {stages}}}{keys}}}"
    script = Script(folder, procedure_with(*before, pull, head=HEAD))
    script.do_all(open_intent())
    if start:
        script.do_all(intent("start", operation="pull"))
    return script


def tick(fastener: int, value: str | None = None, **fields: object) -> Json:
    given = {} if value is None else {"value": value}
    return intent("tick", joint="studs", fastener=fastener, **given, **fields)


def figure(value: str, stage: int = 1, source: str = "bulletin 4") -> Json:
    return {"intent": "figure", "joint": "studs", "stage": stage, "value": value, "from": source}


def verdicts(script: Script) -> list[str]:
    return [line["data"].get("verdict", "none") for line in script.log() if line["kind"] == "ticked"]


def seq(script: Script, kind: str) -> int:
    """The number of the last log line of this kind."""
    found: int = [line["seq"] for line in script.log() if line["kind"] == kind][-1]
    return found


def verdicts_judged_again(event: Json) -> list[str]:
    assert event["kind"] == "judged-again"
    return list(event["data"]["verdicts"].values())


ASK = "[{torque: ask}]"

# --- a torque that is asked for ------------------------------------------------------------------------


def test_tick_is_refused_before_the_figure(tmp_path: Path) -> None:
    script = pulling(tmp_path, ASK)
    assert script.refused("tick", joint="studs", fastener=1) == ["value-missing"]
    assert script.refused("tick", joint="studs", fastener=1, value="110 ft-lb") == ["value-missing"]
    assert script.refused("finish") == ["value-missing", "stage-not-finished"]
    script.do_all(figure("110 ft-lb"), tick(1), tick(2), intent("finish"))
    script.audited()


def test_figure_is_logged_with_its_source(tmp_path: Path) -> None:
    script = pulling(tmp_path, ASK)
    (event,) = script.do("figure", joint="studs", stage=1, value="110 ft-lb", **{"from": "bulletin 4"})
    assert event["kind"] == "figure-given"
    data = {key: event["data"][key] for key in ("joint", "stage", "figure", "source")}
    assert data == {"joint": "studs", "stage": 1, "figure": "110 ft-lb", "source": "bulletin 4"}
    (event,) = script.do("tick", joint="studs", fastener=1)
    assert event["data"]["torque"]["entered"] == "110 ft-lb"


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"value": "110"}, "bad-quantity"),
        ({"value": "110 mm"}, "wrong-dimension"),
        ({"value": "-110 N·m"}, "bad-quantity"),
        ({"value": "0 N·m"}, "bad-quantity"),
        ({"from": " "}, "value-missing"),
        ({"from": None}, "value-missing"),
        ({"stage": 2}, "not-allowed"),
        ({"stage": 3}, "not-allowed"),
        ({"stage": 4}, "unknown-name"),
        ({"stage": 0}, "unknown-name"),
        ({"joint": "nuts"}, "unknown-name"),
    ],
)
def test_figure_that_says_nothing_is_refused(tmp_path: Path, fields: Json, code: str) -> None:
    record = ", record: {drag: {ask: Drag, unit: N·m}}"
    script = pulling(tmp_path, "[{torque: ask}, 80 N·m, {torque: drag + 90 N·m}]", record)
    given = {**figure("110 N·m"), **fields}
    assert script.refused(**{"kind": given.pop("intent"), **given}) == [code]


def test_tick_is_judged_by_the_figure_and_its_tolerance(tmp_path: Path) -> None:
    script = pulling(tmp_path, ASK)
    script.do_all(figure("100 N·m"), tick(1, "93 N·m"))
    assert script.refused("finish") == ["stage-not-finished", "out-of-limit"]
    script.do_all(tick(1, "94 N·m"), tick(2, "106 N·m"), intent("finish"))
    assert verdicts(script) == ["low", "ok", "ok"]
    script.audited()


def test_tick_is_judged_by_a_figure_that_is_a_limit(tmp_path: Path) -> None:
    script = pulling(tmp_path, ASK)
    script.do_all(figure("100 .. 102 N·m"), tick(1, "99 N·m"), tick(1, "102 N·m"), tick(2), intent("finish"))
    assert verdicts(script) == ["low", "ok", "none"]


def test_tolerance_of_the_joint_is_used(tmp_path: Path) -> None:
    script = pulling(tmp_path, "[{torque: ask}], tolerance: 2 N·m")
    script.do_all(figure("100 N·m"), tick(1, "97 N·m"), tick(1, "98 N·m"))
    assert verdicts(script) == ["low", "ok"]


def test_figure_may_be_given_again_before_the_first_tick_only(tmp_path: Path) -> None:
    script = pulling(tmp_path, ASK)
    script.do_all(figure("100 N·m"), figure("110 N·m"), tick(1, "105 N·m"))
    (reply,) = script.send(figure("120 N·m"))
    assert [reason["code"] for reason in reply["refused"]] == ["already-done"]
    assert f"correct log line {seq(script, 'figure-given')}" in reply["refused"][0]["message"]
    script.do_all(intent("untick", joint="studs"), figure("120 N·m"), tick(1, "120 N·m"))


def test_figure_of_a_later_stage_may_be_given_early(tmp_path: Path) -> None:
    script = pulling(tmp_path, "[40 N·m, {torque: ask}]")
    script.do_all(figure("100 N·m", stage=2), tick(1), tick(2), tick(1), tick(2), intent("finish"))


def test_bench_proposes_no_figure(tmp_path: Path) -> None:
    script = pulling(tmp_path, ASK)
    status = script.query("status")
    assert status["proposed"] == {}
    assert (status["joint"]["asked_stage"], status["joint"]["stages"]) == (1, ["torque not printed"])
    script.do_all(figure("100 N·m"))
    joint = script.query("status")["joint"]
    assert (joint["asked_stage"], joint["stages"]) == (None, ["100 N·m"])
    assert "Torque from: bulletin 4" in joint["settings"]


# --- correction of the figure ---------------------------------------------------------------------------


def test_correction_judges_the_ticks_again(tmp_path: Path) -> None:
    script = pulling(tmp_path, ASK)
    script.do_all(figure("100 N·m"), tick(1, "100 N·m"), tick(2))
    events = script.do("correct", event=seq(script, "figure-given"), value="110 N·m", reason="wrong column")
    assert [event["kind"] for event in events] == ["corrected", "judged-again"]
    assert verdicts_judged_again(events[1]) == ["low", "low"]
    assert script.refused("finish") == ["out-of-limit", "out-of-limit"]
    script.do_all(tick(1, "110 N·m"), tick(2), intent("finish"))
    script.audited()


def test_correction_to_a_lower_figure_asks_to_loosen(tmp_path: Path) -> None:
    script = pulling(tmp_path, ASK)
    script.do_all(figure("110 N·m"), tick(1), tick(2, "112 N·m"))
    script.do("correct", event=seq(script, "figure-given"), value="100 N·m", reason="wrong column")
    assert script.refused("tick", joint="studs", fastener=1) == ["remedy-first"]
    script.do_all(tick(1, loosened=True), tick(2, loosened=True), intent("finish"))


def test_correction_within_the_band_keeps_the_ticks(tmp_path: Path) -> None:
    script = pulling(tmp_path, ASK)
    script.do_all(figure("100 N·m"), tick(1, "99 N·m"), tick(2))
    events = script.do("correct", event=seq(script, "figure-given"), value="101 N·m", reason="typed wrong")
    assert verdicts_judged_again(events[1]) == ["ok", "none"]
    script.do("finish")


def test_correction_back_makes_the_ticks_good_again(tmp_path: Path) -> None:
    script = pulling(tmp_path, ASK)
    script.do_all(figure("100 N·m"), tick(1), tick(2))
    script.do("correct", event=seq(script, "figure-given"), value="200 N·m", reason="wrong column")
    assert script.refused("correct", event=seq(script, "figure-given"), value="100 N·m", reason="it was right") == [
        "not-allowed"
    ]
    script.do("correct", event=seq(script, "corrected"), value="100 N·m", reason="it was right")
    script.do("finish")
    script.audited()


def test_correction_after_the_finish_blocks_the_close_until_a_deviation(tmp_path: Path) -> None:
    script = pulling(tmp_path, ASK)
    script.do_all(figure("100 N·m"), tick(1), tick(2), intent("finish"))
    script.do("correct", event=seq(script, "figure-given"), value="150 N·m", reason="wrong column")
    assert set(script.refused("close")) == {"out-of-limit"}
    script.do_all(intent("deviate", operation="pull", about="studs", reason="agreed", by="Kim"), intent("close"))
    script.audited()


def test_deviation_about_a_tick_lapses_when_the_figure_changes(tmp_path: Path) -> None:
    script = pulling(tmp_path, ASK)
    script.do_all(figure("100 N·m"), tick(1, "90 N·m"))
    script.do_all(intent("deviate", operation="pull", about="studs[1]", reason="agreed", by="Kim"), tick(2, "100 N·m"))
    script.do("correct", event=seq(script, "figure-given"), value="130 N·m", reason="wrong column")
    assert script.refused("finish") == ["out-of-limit", "out-of-limit"]
    script.do_all(intent("deviate", operation="pull", about="studs[1]", reason="agreed", by="Kim"))
    assert script.refused("finish") == ["out-of-limit"], "it covers fastener 1 only"


def test_correction_of_the_figure_past_a_remedy_needs_the_signature_of_a_deviation(tmp_path: Path) -> None:
    stage = "[{torque: ask, below: [{do: Replace the stud, stop: true}]}]"
    script = pulling(tmp_path, stage, ", waive: never")
    script.do_all(figure("100 N·m"), tick(1, "80 N·m"))
    assert script.refused("correct", event=seq(script, "figure-given"), value="80 N·m", reason="so that it fits") == [
        "not-allowed"
    ]


def test_figure_is_void_after_rework(tmp_path: Path) -> None:
    script = pulling(tmp_path, ASK, ", undo: {do: Slack off}")
    script.do_all(figure("100 N·m"), tick(1), intent("rework", operation="pull", reason="dirt"))
    script.do("start", operation="pull")
    assert script.refused("tick", joint="studs", fastener=1) == ["value-missing"]
    assert script.refused("correct", event=seq(script, "figure-given"), value="110 N·m", reason="late") == [
        "not-allowed"
    ]


def test_history_sheet_and_review_show_the_figure_with_its_source(tmp_path: Path) -> None:
    script = pulling(tmp_path, ASK)
    script.do_all(figure("110 ft-lb", source="bulletin 4, p. 2"), tick(1), tick(2), intent("finish"))
    lines = list(read(script.path.read_bytes()).lines)
    text = " ".join("\n".join(history_text(lines, plan_from_log(lines, read_procedure), zone=UTC, damage=None)).split())
    assert "Studs, stage 1: torque 110 ft-lb, source: bulletin 4, p. 2" in text
    sheet = build_sheet_markdown(build_sheet(load_log(script.path, read_procedure)))
    assert "110 ft-lb (source: bulletin 4, p. 2)" in sheet.replace("\\", "")


def test_kill_between_figure_and_tick_loses_nothing(tmp_path: Path) -> None:
    pull = f"{{id: pull, title: Pull, tighten: {{joint: studs, stages: {ASK}}}}}"
    job = ClockedJob(tmp_path, procedure_with(pull, head=HEAD))
    job.do_all(intent("start", operation="pull"), figure("100 N·m"))
    job.restart().do_all(tick(1, "100 N·m"))
    job.restart().do_all(tick(2), intent("finish"))
    job.audited()


# --- a torque that is a formula --------------------------------------------------------------------------

DRAG = ", record: {breakaway: {ask: Breakaway torque, unit: in-lb, limit: at most 100 in-lb}}"
FORMULA = "[{torque: breakaway + 50 in-lb}]"


def drag(value: str) -> Json:
    return intent("record", name="breakaway", value=value)


def test_formula_gives_the_torque(tmp_path: Path) -> None:
    script = pulling(tmp_path, FORMULA, DRAG)
    assert script.refused("tick", joint="studs", fastener=1) == ["value-missing"]
    assert script.refused("finish") == ["value-missing", "value-missing", "stage-not-finished"]
    events = script.do("record", name="breakaway", value="40 in-lb")
    assert [event["kind"] for event in events] == ["recorded", "calculated"]
    assert events[1]["data"]["quantity"]["entered"] == "90 in-lb"
    script.do_all(tick(1, "84 in-lb"), tick(1, "85 in-lb"), tick(2), intent("finish"))
    assert verdicts(script) == ["low", "ok", "none"]
    script.audited()


def test_reading_is_not_taken_again_once_fasteners_are_tightened_to_it(tmp_path: Path) -> None:
    script = pulling(tmp_path, FORMULA, DRAG)
    script.do_all(drag("40 in-lb"), drag("45 in-lb"), tick(1))
    assert script.refused("record", name="breakaway", value="60 in-lb") == ["not-allowed"]
    script.do_all(intent("untick", joint="studs"), drag("60 in-lb"), tick(1, "110 in-lb"))
    assert verdicts(script)[-1] == "ok"


def test_correction_of_the_reading_judges_the_ticks_again(tmp_path: Path) -> None:
    script = pulling(tmp_path, FORMULA, DRAG)
    script.do_all(drag("40 in-lb"), tick(1), tick(2, "90 in-lb"))
    events = script.do("correct", event=seq(script, "recorded"), value="90 in-lb", reason="misread")
    assert [event["kind"] for event in events] == ["corrected", "calculated", "judged-again"]
    assert set(script.refused("finish")) == {"out-of-limit"}
    script.do_all(tick(1, "140 in-lb"), tick(2), intent("finish"))
    script.audited()


def test_correction_in_an_earlier_operation_judges_the_ticks_again(tmp_path: Path) -> None:
    drags = f"{{id: turn, title: Turn{DRAG}}}"
    script = pulling(tmp_path, FORMULA, ", after: [turn]", drags, start=False)
    script.do_all(intent("start", operation="turn"), drag("40 in-lb"))
    script.do_all(intent("finish"), intent("start", operation="pull"), tick(1), tick(2), intent("finish"))
    script.do("correct", event=seq(script, "recorded"), value="90 in-lb", reason="misread")
    assert set(script.refused("close")) == {"out-of-limit"}
    script.audited()


def test_torque_that_is_not_above_zero_is_missing(tmp_path: Path) -> None:
    script = pulling(tmp_path, "[{torque: breakaway - 50 in-lb}]", DRAG)
    script.do_all(drag("40 in-lb"))
    assert script.refused("tick", joint="studs", fastener=1) == ["value-missing"]


def test_formula_of_a_repeated_operation_is_that_of_its_place(tmp_path: Path) -> None:
    head = f"{HEAD}places: {{side: [left, right]}}\n"
    pull = f"{{id: pull, title: Pull, each: side{DRAG}, tighten: {{joint: studs, stages: {FORMULA}}}}}"
    script = Script(tmp_path, procedure_with(pull, head=head))
    script.do_all(open_intent())
    for side, value, torque in (("left", "40 in-lb", "90 in-lb"), ("right", "10 in-lb", "60 in-lb")):
        script.do_all(intent("start", operation=f"pull[{side}]"), drag(value), tick(1, torque), tick(2, torque))
        script.do("finish")
    assert verdicts(script) == ["ok"] * 4
    script.audited()


# --- the file -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("torque", "record", "code"),
    [
        ("breakaway + 50 mm", "breakaway: {ask: B, unit: in-lb}", "bad-formula"),
        ("breakaway + 5", "breakaway: {ask: B, unit: in-lb}", "bad-formula"),
        ("breakawy + 50 in-lb", "breakaway: {ask: B, unit: in-lb}", "unknown-name"),
        ("breakaway + 50 in-lb", "breakaway: {ask: B, unit: in-lb, readings: 2}", "which-reading"),
        ("gap", "gap: {ask: Gap, unit: mm}", "bad-formula"),
        ("asks", "gap: {ask: Gap, unit: mm}", "unknown-name"),
    ],
)
def test_bad_formula_is_reported_where_it_is(torque: str, record: str, code: str) -> None:
    pull = f"{{id: pull, title: Pull, record: {{{record}}}, tighten: {{joint: studs, stages: [{{torque: {torque}}}]}}}}"
    problems = read_text(procedure_with(pull, head=HEAD)).problems
    assert [problem.code for problem in problems] == [code]
    assert problems[0].line == 9


@pytest.mark.parametrize("torque", ["mean(breakaway[*]) + 50 in-lb", "breakaway[1] + 50 in-lb"])
def test_formula_of_several_readings_names_one_figure(torque: str) -> None:
    record = "record: {breakaway: {ask: B, unit: in-lb, readings: 2}}"
    pull = f"{{id: pull, title: Pull, {record}, tighten: {{joint: studs, stages: [{{torque: '{torque}'}}]}}}}"
    assert read_text(procedure_with(pull, head=HEAD)).problems == ()


def test_value_that_may_be_absent_is_found(tmp_path: Path) -> None:
    pull = f"{{id: pull, title: Pull, tighten: {{joint: studs, stages: {FORMULA}}}}}"
    path = tmp_path / "p.yaml"
    path.write_text(procedure_with(f"{{id: turn, title: Turn{DRAG}}}", pull, head=HEAD), encoding="utf-8")
    assert "value-absent" in [each["code"] for each in check_file(path, None)["findings"]]


def test_order_of_the_stages_is_checked_around_an_open_torque() -> None:
    for stages, codes in (("[{torque: ask}, +90°]", []), ("[+90°, {torque: ask}]", ["stage-order"])):
        pull = f"{{id: pull, title: Pull, tighten: {{joint: studs, stages: {stages}}}}}"
        assert [each.code for each in read_text(procedure_with(pull, head=HEAD)).problems] == codes


def test_torque_is_asked_for_with_one_choice_only(tmp_path: Path) -> None:
    head = f"{HEAD}options: {{studs-are: {{choices: [old, new]}}}}\n"
    stages = "[{torque: {by: studs-are, old: ask, new: breakaway + 50 in-lb}}]"
    pull = f"{{id: pull, title: Pull{DRAG}, tighten: {{joint: studs, stages: {stages}}}}}"
    for choice, value in (("old", figure("90 in-lb")), ("new", drag("40 in-lb"))):
        folder = tmp_path / choice
        folder.mkdir()
        script = Script(folder, procedure_with(pull, head=head))
        script.do_all(open_intent(options={"studs-are": choice}), intent("start", operation="pull"))
        assert script.refused("tick", joint="studs", fastener=1) == ["value-missing"]
        script.do_all(value, tick(1, "90 in-lb"), tick(2, "90 in-lb"))
        assert verdicts(script) == ["ok", "ok"]
