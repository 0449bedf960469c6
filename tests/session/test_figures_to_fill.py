"""Figures that the procedure asks for (`ask`): refused until given, given with a source, corrected. Invented data."""

from pathlib import Path

import pytest

from benchflow.commands.check import check_file
from benchflow.procedure.figures_to_fill import figures_to_fill
from benchflow.procedure.reader import read as read_text
from benchflow.review.audit.audited_log import with_audit
from benchflow.review.log.loaded_log import load_log
from benchflow.review.log.replay import Replay
from benchflow.review.sheets.build_sheet import build_sheet
from benchflow.review.sheets.build_sheet_markdown import build_sheet_markdown
from benchflow.review.sheets.customer_copy import customer_copy
from benchflow.session.history.history import history_text, plan_from_log
from benchflow.session.log.line_format import read
from tests.driving.script import Json, Script, intent, open_intent, procedure_with
from tests.driving.session_driver import read_procedure


def job(folder: Path, *operations: str, head: str = "", start: str = "m") -> Script:
    script = Script(folder, procedure_with(*operations, head=head))
    script.do_all(open_intent(), *([intent("start", operation=start)] if start else []))
    return script


def given(value: str, source: str = "manual p. 4-21", **fields: object) -> Json:
    return {"intent": "figure", "value": value, "from": source, **fields}


def codes(script: Script, message: Json) -> list[str]:
    return [reason["code"] for reason in script.send(message)[0].get("refused", [])]


def seq(script: Script, kind: str = "figure-given") -> int:
    """The number of the last log line of this kind."""
    found: int = [line["seq"] for line in script.log() if line["kind"] == kind][-1]
    return found


def history(script: Script) -> str:
    """The log as text."""
    lines = read(script.path.read_bytes()).lines
    return "\n".join(history_text(lines, plan_from_log(lines, read_procedure)))


def record(value: str, **fields: object) -> Json:
    return intent("record", name="play", value=value, **fields)


ASKED = "{id: m, title: M, record: {play: {unit: mm, limit: ask}}}"


def test_reading_is_refused_until_its_limit_is_given(tmp_path: Path) -> None:
    script = job(tmp_path, ASKED)
    assert codes(script, record("0.10 mm")) == ["value-missing"]
    assert codes(script, given("0.05 .. 0.15 mm", name="play")) == []
    assert codes(script, record("0.10 mm")) == []
    assert [line["data"]["limit"] for line in script.log() if line["kind"] == "recorded"] == ["0.05 .. 0.15 mm"]


def test_reading_is_judged_by_the_limit_that_was_given(tmp_path: Path) -> None:
    script = job(tmp_path, ASKED)
    script.do_all(given("0.05 .. 0.15 mm", name="play"), record("0.16 mm"))
    assert "out-of-limit" in codes(script, intent("finish", operation="m"))


@pytest.mark.parametrize(
    ("value", "source", "code"),
    [
        ("", "manual", "value-missing"),
        ("ask", "manual", "value-missing"),
        ("0.05 .. 0.15 mm", " ", "value-missing"),
        ("5 kg", "manual", "wrong-dimension"),
        ("0,05 .. 0,15 mm", "manual", "bad-quantity"),
        ("above start by 0.1 .. 0.2 mm", "manual", "bad-quantity"),
        ("equal within 0.01 mm", "manual", "bad-quantity"),
    ],
)
def test_figure_that_cannot_be_used_is_refused(tmp_path: Path, value: str, source: str, code: str) -> None:
    script = job(tmp_path, ASKED)
    assert codes(script, given(value, source, name="play")) == [code]
    assert codes(script, record("0.10 mm")) == ["value-missing"]


def test_limit_given_twice_is_refused(tmp_path: Path) -> None:
    script = job(tmp_path, ASKED)
    script.do_all(given("0.05 .. 0.15 mm", name="play"))
    assert codes(script, given("0.05 .. 0.25 mm", name="play")) == ["already-done"]


def test_written_limit_cannot_be_given(tmp_path: Path) -> None:
    script = job(tmp_path, "{id: m, title: M, record: {play: {unit: mm, limit: at most 1 mm}}}")
    assert codes(script, given("at most 2 mm", name="play")) == ["not-allowed"]


def test_unknown_name_is_refused(tmp_path: Path) -> None:
    script = job(tmp_path, ASKED)
    assert codes(script, given("1 mm", name="plai")) == ["unknown-name"]


def test_corrected_limit_judges_the_readings_again(tmp_path: Path) -> None:
    script = job(tmp_path, ASKED)
    script.do_all(given("0.05 .. 0.15 mm", name="play"), record("0.10 mm"), intent("finish", operation="m"))
    answer = script.send(intent("correct", event=seq(script), value="0.11 .. 0.15 mm", reason="wrong column"))[0]
    assert [line["kind"] for line in answer["events"]] == ["corrected", "readings-judged-again"]
    assert answer["events"][1]["data"]["verdicts"] == {str(seq(script, "recorded")): "low"}
    status = script.query("status")
    assert list(status["reopened"]) == ["m"]
    log = load_log(script.path, read_procedure)
    assert [(each.verdict, each.limit) for each in log.facts.readings] == [("low", "0.11 .. 0.15 mm")]


def test_corrected_limit_for_used_parts_is_the_one_that_is_named(tmp_path: Path) -> None:
    keys = "unit: mm, limit: 0.30 .. 0.40 mm, used: ask"
    script = job(tmp_path, f"{{id: m, title: M, record: {{play: {{{keys}}}}}}}")
    script.do_all(given("at most 0.35 mm", name="play", used=True), record("0.30 mm", used=True))
    wrong = intent("correct", event=seq(script), value="at most 0.25 mm", reason="misread")
    events = script.send(wrong)[0]["events"]
    assert events[1]["data"]["limit"] == "at most 0.25 mm"
    assert list(events[1]["data"]["verdicts"].values()) == ["high"]
    script.audited()


@pytest.mark.parametrize(
    ("keys", "fields", "further"),
    [
        ("limit: at most 9 mm, also: [{judge: spread, limit: ask}]", {"further": 1}, 1),
        ("judge: mean, limit: ask", {}, 0),
    ],
)
def test_corrected_limit_of_a_statistic_is_judged_again_in_the_log(
    tmp_path: Path, keys: str, fields: Json, further: int
) -> None:
    script = job(tmp_path, f"{{id: m, title: M, record: {{play: {{unit: mm, readings: 2, {keys}}}}}}}")
    script.do_all(given("at most 0.1 mm", name="play", **fields), record("1.0 mm"), record("1.3 mm"))
    deviation = intent("deviate", operation="m", about="play", reason="agreed")
    script.do_all(deviation)
    events = script.send(intent("correct", event=seq(script), value="at most 0.2 mm", reason="misread"))[0]["events"]
    data = events[1]["data"]
    assert (data.get("further", 0), data["together"], data["limit"]) == (further, True, "at most 0.2 mm")
    assert set(data["verdicts"].values()) == {"high"}
    assert "together HIGH" in history(script)
    assert "out-of-limit" in codes(script, intent("finish", operation="m"))  # another departure than the signed one
    script.do_all(intent("correct", event=events[0]["seq"], value="at most 2 mm", reason="misread"))
    script.do_all(intent("finish", operation="m"))
    script.audited()


def test_corrected_limit_is_that_of_every_reading_in_the_review(tmp_path: Path) -> None:
    script = job(tmp_path, ASKED)
    script.do_all(given("0.05 .. 0.15 mm", name="play"), record("0.10 mm"))
    script.do_all(intent("correct", event=seq(script), value="0.08 .. 0.15 mm", reason="misread"))
    log = load_log(script.path, read_procedure)
    assert [(each.verdict, each.limit) for each in log.facts.readings] == [("ok", "0.08 .. 0.15 mm")]


def test_audit_agrees_with_given_and_corrected_figures(tmp_path: Path) -> None:
    script = job(tmp_path, ASKED)
    script.do_all(given("0.05 .. 0.15 mm", name="play"), record("0.10 mm"))
    script.do_all(intent("correct", event=seq(script), value="0.08 .. 0.15 mm", reason="misread"))
    script.do_all(intent("finish", operation="m"))
    script.audited()


def test_review_and_replay_read_the_log_from_the_procedure_as_written(tmp_path: Path) -> None:
    script = job(tmp_path, ASKED)
    script.do_all(given("0.05 .. 0.15 mm", name="play"), record("0.10 mm"), intent("finish", operation="m"))
    log = with_audit(load_log(script.path, read_procedure))
    assert log.audit is not None
    assert log.audit.ok
    replay = Replay(log)
    assert not replay.state(1).filled
    assert list(replay.state(replay.last).done) == ["m"]
    sheet = build_sheet_markdown(build_sheet(log))
    assert "0.05 .. 0.15 mm (source: manual p. 4-21)" in sheet


def test_calculated_value_waits_for_its_limit(tmp_path: Path) -> None:
    operation = "{id: m, title: M, record: {a: {unit: mm}}, work-out: {b: {is: a * 2, unit: mm, limit: ask}}}"
    script = job(tmp_path, operation)
    script.do_all(intent("record", name="a", value="2 mm"))
    assert codes(script, intent("finish", operation="m")) == ["value-missing"]
    answer = script.send(given("at most 3 mm", name="b"))[0]
    assert [line["data"].get("verdict") for line in answer["events"] if line["kind"] == "calculated"] == ["high"]
    assert codes(script, intent("finish", operation="m")) == ["out-of-limit"]


def test_deviation_lapses_when_the_limit_is_given_or_corrected_after_it(tmp_path: Path) -> None:
    operation = "{id: m, title: M, record: {a: {unit: mm}}, work-out: {b: {is: a * 2, unit: mm, limit: ask}}}"
    script = job(tmp_path, operation)
    deviation = intent("deviate", operation="m", about="b", reason="agreed")
    script.do_all(intent("record", name="a", value="2 mm"), deviation, given("at most 3 mm", name="b"))
    assert codes(script, intent("finish", operation="m")) == ["out-of-limit"]
    script.do_all(deviation, intent("correct", event=seq(script), value="at most 1 mm", reason="misread"))
    assert codes(script, intent("finish", operation="m")) == ["out-of-limit"]
    script.do_all(deviation, intent("finish", operation="m"))
    script.audited()


def test_limit_for_used_parts_is_asked_only_for_used_parts(tmp_path: Path) -> None:
    script = job(tmp_path, "{id: m, title: M, record: {play: {unit: mm, limit: at most 1 mm, used: ask}}}")
    assert codes(script, record("0.5 mm", used=True)) == ["value-missing"]
    assert codes(script, record("0.5 mm")) == []
    assert codes(script, given("at most 2 mm", name="play")) == ["not-allowed"]
    assert codes(script, given("at most 2 mm", name="play", used=True)) == []
    assert codes(script, record("1.5 mm", used=True)) == []


def test_limit_for_used_parts_alone_is_asked_before_the_reading(tmp_path: Path) -> None:
    script = job(tmp_path, "{id: m, title: M, record: {play: {unit: mm, used: ask}}}")
    assert codes(script, record("0.5 mm")) == ["value-missing"]
    script.do_all(given("at most 2 mm", name="play", used=True), record("0.5 mm"), intent("finish", operation="m"))


def test_further_limit_is_asked(tmp_path: Path) -> None:
    keys = "unit: mm, limit: at most 1 mm, readings: 2, also: [{judge: spread, limit: ask}]"
    script = job(tmp_path, f"{{id: m, title: M, record: {{play: {{{keys}}}}}}}")
    assert codes(script, record("0.5 mm")) == ["value-missing"]
    assert codes(script, given("at most 0.1 mm", name="play", further=1)) == []
    script.do_all(record("0.5 mm"), record("0.8 mm"))
    assert codes(script, intent("finish", operation="m")) == ["out-of-limit"]


def test_further_limit_that_the_value_does_not_have_is_refused(tmp_path: Path) -> None:
    keys = "unit: mm, limit: ask, readings: 2, also: [{judge: spread, limit: ask}]"
    script = job(tmp_path, f"{{id: m, title: M, record: {{play: {{{keys}}}}}}}")
    script.do_all(given("at most 1 mm", name="play"))
    assert codes(script, given("at most 0.1 mm", name="play", further=2)) == ["unknown-name"]
    script.do_all(given("at most 0.1 mm", name="play", further=1))
    (reply,) = script.send(given("at most 0.2 mm", name="play", further=1))
    assert [each["code"] for each in reply["refused"]] == ["already-done"]
    assert f"correct log line {seq(script)}" in reply["refused"][0]["message"]


def test_one_figure_serves_all_places(tmp_path: Path) -> None:
    head = "places: {side: [left, right]}\n"
    script = job(tmp_path, "{id: m, each: side, title: M, record: {play: {unit: mm, limit: ask}}}", head=head,
                 start="m[left]")  # fmt: skip
    assert codes(script, given("at most 1 mm", name="play")) == []
    assert script.log()[-1]["data"]["name"] == "limit of play"
    script.do_all(record("0.5 mm"), intent("finish", operation="m[left]"), intent("start", operation="m[right]"))
    assert codes(script, intent("record", name="play[right]", value="0.5 mm")) == []


def test_limit_by_place_is_asked_for_each_place(tmp_path: Path) -> None:
    head = "places: {side: [left, right]}\n"
    limit = "{by: side, left: ask, right: ask}"
    operation = f"{{id: m, each: side, title: M, record: {{play: {{unit: mm, limit: {limit}}}}}}}"
    script = job(tmp_path, operation, head=head, start="m[left]")
    assert codes(script, given("at most 1 mm", name="play")) == ["value-missing"]
    assert codes(script, given("at most 1 mm", name="play[left]")) == []
    assert script.log()[-1]["data"]["name"] == "limit of play[left]"
    script.do_all(record("0.5 mm"), intent("finish", operation="m[left]"), intent("start", operation="m[right]"))
    assert codes(script, intent("record", name="play[right]", value="0.5 mm")) == ["value-missing"]


def test_limit_by_reading_is_asked_for_each_reading(tmp_path: Path) -> None:
    head = "places: {side: [left, right]}\n"
    keys = "unit: mm, readings: side, limit: {by: side, left: ask, right: at most 2 mm}"
    script = job(tmp_path, f"{{id: m, title: M, record: {{play: {{{keys}}}}}}}", head=head)
    assert codes(script, record("1.5 mm", reading="right")) == []
    assert codes(script, record("1.5 mm", reading="left")) == ["value-missing"]
    assert codes(script, given("at most 1 mm", name="play[left]")) == []
    script.do_all(record("1.5 mm", reading="left"))
    assert codes(script, intent("finish", operation="m")) == ["out-of-limit"]


JOINT = "joints: {cover: {layout: '1 2', lubricant: ask, thread: ask}}\n"
CLOSE = "{id: m, title: M, tighten: {joint: cover, stages: [10 N·m, {angle: ask}]}}"


def tick(fastener: int) -> Json:
    return intent("tick", joint="cover", fastener=fastener)


def test_joint_waits_for_its_lubricant_thread_and_angle(tmp_path: Path) -> None:
    script = job(tmp_path, CLOSE, head=JOINT)
    assert codes(script, tick(1)) == ["value-missing"]
    assert codes(script, {"intent": "figure", "joint": "cover", "lubricant": "engine oil", "from": "manual"}) == []
    assert codes(script, tick(1)) == ["value-missing"]
    assert codes(script, {"intent": "figure", "joint": "cover", "thread": "M8x1.25", "from": "measured"}) == []
    script.do_all(tick(1), tick(2))
    assert codes(script, tick(1)) == ["value-missing"]
    assert codes(script, given("40 N·m", joint="cover", stage=2)) == ["wrong-dimension"]
    assert codes(script, given("90°", joint="cover", stage=2)) == []
    script.do_all(tick(1))
    assert codes(script, intent("tick", joint="cover", fastener=2, value="120°")) == []
    assert "out-of-limit" in codes(script, intent("finish", operation="m"))


def test_figure_that_was_meant_for_another_question_is_refused(tmp_path: Path) -> None:
    """The bench asks for the thread, then for the lubricant: a word is not a thread, a torque not a lubricant."""
    script = job(tmp_path, CLOSE, head=JOINT)
    (reply,) = script.send(tick(1))
    assert reply["refused"][0]["message"].startswith("The thread of ")
    for thread in ("dry", "12 N·m", "90°"):
        assert codes(script, {"intent": "figure", "joint": "cover", "thread": thread, "from": "m"}) == ["bad-quantity"]
    for lubricant in ("12 Nm", "10 .. 12 N·m", "90°"):
        sent = {"intent": "figure", "joint": "cover", "lubricant": lubricant, "from": "m"}
        assert codes(script, sent) == ["bad-quantity"]
    for key, text in (("thread", "3/8-24"), ("lubricant", "oil, SAE 30")):
        assert codes(script, {"intent": "figure", "joint": "cover", key: text, "from": "m"}) == []


TOTAL = "{id: m, title: M, tighten: {joint: cover, stages: [10 N·m, {angle: ask}, {angle: ask}], total-angle: 180°}}"


def test_angle_that_contradicts_the_printed_total_is_refused(tmp_path: Path) -> None:
    script = job(tmp_path, TOTAL, head="joints: {cover: {layout: '1 2'}}\n")
    script.do_all(given("90°", joint="cover", stage=2))
    first = seq(script)
    (reply,) = script.send(given("75°", joint="cover", stage=3))
    assert [each["code"] for each in reply["refused"]] == ["bad-quantity"]
    assert "add up to 165°, but 180° is printed" in reply["refused"][0]["message"]
    assert f"correct log line {first}" in reply["refused"][0]["message"]
    script.do_all(given("90°", joint="cover", stage=3))
    assert script.refused("correct", event=first, value="75°", reason="misread") == ["bad-quantity"]


def test_figure_that_replaces_another_names_it_in_the_log(tmp_path: Path) -> None:
    script = job(tmp_path, BAND, head="joints: {cover: {layout: '1 2'}}\n")
    script.do_all(given("20 N·m", joint="cover", stage=1))
    first = seq(script)
    script.do_all(given("25 N·m", joint="cover", stage=1), tick(1))
    assert f"torque 25 N·m, source: manual p. 4-21, instead of the one in log line {first}" in " ".join(
        history(script).split()
    )


def test_lubricant_is_corrected_only_before_the_joint_is_tightened(tmp_path: Path) -> None:
    head = "joints: {cover: {layout: '1 2', lubricant: ask}}\n"
    script = job(tmp_path, "{id: m, title: M, tighten: {joint: cover, stages: [10 N·m]}}", head=head)
    script.do_all({"intent": "figure", "joint": "cover", "lubricant": "grease", "from": "manual"})
    script.do_all(intent("correct", event=seq(script), value="oil", reason="misread"))
    wrong = intent("correct", event=seq(script, "corrected"), value="dry", reason="misread")
    script.do_all(tick(1))
    assert codes(script, wrong) == ["not-allowed"]


def test_joint_waits_for_its_tightening_order(tmp_path: Path) -> None:
    head = "joints: {cover: {layout: ask, count: 4}}\n"
    script = job(tmp_path, "{id: m, title: M, tighten: {joint: cover, stages: [10 N·m]}}", head=head)
    asked = {"intent": "figure", "joint": "cover", "from": "manual p. 9"}
    assert codes(script, tick(1)) == ["value-missing"]
    assert codes(script, {**asked, "layout": "1 3 / 4"}) == ["bad-quantity"]
    assert codes(script, {**asked, "layout": "1 3 / 2"}) == ["bad-quantity"]
    assert codes(script, {**asked, "layout": "3 1 / 2 4"}) == []
    script.do_all(*map(tick, (1, 2, 3, 4)), intent("finish", operation="m"))
    script.audited()


@pytest.mark.parametrize(
    ("drawn", "logged"),
    [
        ("1 3\n4 2", "1 3 / 4 2"),
        ("1 3 / 4 2", "1 3 / 4 2"),
        ("  1\r\n3   4\r\n  2", ". 1 . / 3 . 4 / . 2 ."),
    ],
)
def test_tightening_order_keeps_its_rows(tmp_path: Path, drawn: str, logged: str) -> None:
    head = "joints: {cover: {layout: ask, count: 4}}\n"
    script = job(tmp_path, "{id: m, title: M, tighten: {joint: cover, stages: [10 N·m]}}", head=head)
    script.do_all({"intent": "figure", "joint": "cover", "from": "manual p. 9", "layout": drawn})
    assert script.log()[-1]["data"]["figure"] == logged
    assert logged in history(script)
    (joint,) = load_log(script.path, read_procedure).plan.procedure.joints
    assert " / ".join(" ".join(str(number or ".") for number in row) for row in joint.layout) == logged


BAND = "{id: m, title: M, tighten: {joint: cover, stages: [{torque: ask}]}}"


def test_limit_given_for_a_stage_is_shown_with_both_ends(tmp_path: Path) -> None:
    script = job(tmp_path, BAND, head="joints: {cover: {layout: '1 2'}}\n")
    script.do_all(given("20 .. 30 N·m", joint="cover", stage=1), tick(1), tick(2))
    assert "stage 1 (20 .. 30 N·m): fasteners 1, 2 done" in history(script)
    script.do_all(intent("correct", event=seq(script), value="40 .. 50 N·m", reason="misread"))
    text = history(script)
    assert "the torque is 40 .. 50 N·m now" in text
    assert "25 N·m" not in text
    (reason, _) = script.send(intent("finish", operation="m"))[0]["refused"]
    assert "20 .. 30 N·m LOW, limit 40 .. 50 N·m" in reason["message"]
    log = load_log(script.path, read_procedure)
    sheet = build_sheet_markdown(build_sheet(log))
    assert "20 .. 30 N·m LOW" in sheet
    assert "40 .. 50 N·m" in sheet
    assert "45 N·m" not in sheet


def test_customer_gets_both_ends_of_a_limit_given_for_a_stage_in_both_units(tmp_path: Path) -> None:
    script = job(tmp_path, BAND, head="joints: {cover: {layout: '1 2'}}\n")
    script.do_all(given("20 .. 30 N·m", joint="cover", stage=1), tick(1), tick(2), intent("finish", operation="m"))
    log = load_log(script.path, read_procedure)
    (joint,) = customer_copy(log, build_sheet(log)).joints
    assert "20 .. 30 N·m (14.8 .. 22.1 ft-lb)" in str(joint.stages)  # 1 N·m is 0.73756 ft-lb, NIST SP 811, B.8


def test_instrument_waits_for_its_range(tmp_path: Path) -> None:
    head = "instruments: {dial: {kind: length, covers: ask}}\n"
    script = job(tmp_path, "{id: m, title: M, record: {play: {unit: mm, limit: at most 1 mm, with: dial}}}", head=head)
    assert codes(script, record("0.5 mm")) == ["value-missing"]
    assert codes(script, given("0 .. 10 mm", instrument="dial")) == []
    assert codes(script, record("0.5 mm")) == []


WRENCH = "instruments: {wr: {kind: torque, covers: ask}}\n"
RANGE = given("10 .. 60 N·m", instrument="wr")


@pytest.mark.parametrize(
    ("keys", "entry"),
    [
        ("tighten: {joint: cover, stages: [10 N·m]}", tick(1)),
        ("tighten: {joint: cover, stages: [10 N·m]}", intent("tick-rest", joint="cover")),
        ("check: [Wrench set]", intent("tick-check", check=1)),
        ("record: {play: {unit: mm, limit: at most 1 mm}}", record("0.5 mm")),
        ("do: Set the wrench", intent("finish", operation="m")),
    ],
)
def test_operation_waits_for_the_range_of_an_instrument_that_it_uses(tmp_path: Path, keys: str, entry: Json) -> None:
    head = f"joints: {{cover: {{layout: '1 2'}}}}\n{WRENCH}"
    script = job(tmp_path, f"{{id: m, title: M, uses: [wr], {keys}}}", head=head)
    assert "value-missing" in codes(script, entry)
    script.do_all(RANGE, entry)
    script.audited()


def test_instrument_that_no_operation_uses_has_no_figure_to_give(tmp_path: Path) -> None:
    script = job(tmp_path, "{id: m, title: M, check: [ok]}", head=WRENCH)
    assert codes(script, RANGE) == ["not-allowed"]
    assert codes(script, given("10 .. 60 N·m", instrument="wrr")) == ["unknown-name"]


def test_both_ends_of_a_time_wait_for_it(tmp_path: Path) -> None:
    script = job(tmp_path, "{id: seal, title: Seal}", "{id: m, title: M, time: {seal: ask}}", start="")
    assert codes(script, intent("start", operation="seal")) == ["value-missing"]
    assert codes(script, given("at most 10 min", operation="m", since="seal")) == []
    (reply,) = script.send(given("at most 20 min", operation="m", since="seal"))
    assert f"correct log line {seq(script)}" in reply["refused"][0]["message"]
    script.do_all(intent("start", operation="seal"), intent("finish", operation="seal"))
    script.do_all(intent("start", operation="m"), intent("finish", operation="m"))
    wrong = intent("correct", event=seq(script), value="at most 1 min", reason="misread")
    assert codes(script, wrong) == ["not-allowed"]  # it was done within the old time, and nothing can judge that again


def test_finding_by_an_asked_limit_is_open_on_both_sides(tmp_path: Path) -> None:
    script = job(tmp_path, ASKED, "{id: n, title: N, when: {play: above}}")
    script.do_all(given("at most 1 mm", name="play"), record("2 mm"), intent("finish", operation="m"))
    assert codes(script, intent("start", operation="n")) == []


def test_corrected_figure_that_changes_a_finding_of_a_finished_operation_is_refused(tmp_path: Path) -> None:
    script = job(tmp_path, ASKED, "{id: n, title: N, when: {play: above}}")
    script.do_all(given("0.10 .. 0.20 mm", name="play"), record("0.15 mm"), intent("finish", operation="m"))
    wrong = {"event": seq(script), "reason": "misread"}
    assert script.refused("correct", value="0.05 .. 0.10 mm", **wrong) == ["not-allowed"]
    script.do_all(intent("correct", value="0.10 .. 0.30 mm", **wrong))  # the finding is the same


def test_corrected_figure_of_a_calculated_value_that_changes_a_finding_is_refused(tmp_path: Path) -> None:
    first = "{id: m, title: M, record: {a: {unit: mm}}, work-out: {b: {is: a * 2, unit: mm, limit: ask}}}"
    script = job(tmp_path, first, "{id: n, title: N, when: {b: above}}")
    script.do_all(intent("record", name="a", value="2 mm"), given("at most 5 mm", name="b"))
    script.do_all(intent("finish", operation="m"))
    wrong = {"event": seq(script), "reason": "misread"}
    assert script.refused("correct", value="at most 3 mm", **wrong) == ["not-allowed"]


@pytest.mark.parametrize("place", ["left", "right"])
def test_corrected_figure_of_all_places_is_refused_for_the_finding_of_one(tmp_path: Path, place: str) -> None:
    head = "places: {side: [left, right]}\n"
    first = "{id: m, each: side, title: M, record: {play: {unit: mm, limit: ask}}}"
    script = job(tmp_path, first, "{id: n, each: side, title: N, when: {play: above}}", head=head, start="m[left]")
    script.do_all(given("at most 1 mm", name="play"))
    for at, value in (("left", "0.5 mm"), ("right", "0.5 mm")):
        script.do_all(*([intent("start", operation=f"m[{at}]")] if at == "right" else []))
        shown = "0.9 mm" if at == place else value
        script.do_all(intent("record", name=f"play[{at}]", value=shown), intent("finish", operation=f"m[{at}]"))
    wrong = {"event": seq(script), "reason": "misread"}
    assert script.refused("correct", value="at most 0.7 mm", **wrong) == ["not-allowed"]


def test_corrected_limit_that_makes_a_waiting_reading_good_needs_the_signature_of_a_deviation(tmp_path: Path) -> None:
    keys = "unit: mm, limit: ask, above: [{do: Fit a thicker shim}], waive: never"
    script = job(tmp_path, f"{{id: m, title: M, record: {{play: {{{keys}}}}}}}")
    script.do_all(given("at most 1 mm", name="play"), record("2 mm"))
    wrong = {"event": seq(script), "reason": "misread"}
    assert script.refused("correct", value="at most 3 mm", **wrong) == ["not-allowed"]
    script.do_all(intent("correct", value="at most 1.5 mm", **wrong))


def test_remedy_of_an_asked_limit_is_carried_out(tmp_path: Path) -> None:
    keys = "unit: mm, limit: ask, above: [{do: Fit a thicker shim}]"
    script = job(tmp_path, f"{{id: m, title: M, record: {{play: {{{keys}}}}}}}")
    script.do_all(given("at most 1 mm", name="play"), record("2 mm"))
    assert codes(script, record("0.5 mm")) == ["remedy-first"]


def test_history_names_figure_and_source(tmp_path: Path) -> None:
    script = job(tmp_path, ASKED)
    script.do_all(given("at most 1 mm", name="play"))
    assert "limit of play: at most 1 mm, source: manual p. 4-21" in history(script)


def test_history_names_a_joint_by_its_title_and_one_event_by_one_number(tmp_path: Path) -> None:
    head = "joints:\n  bolts: {title: Cover bolts, layout: 1 2, lubricant: ask}\n"
    tighten = "{id: t, title: T, tighten: {joint: bolts, stages: [9 N·m]}}"
    script = Script(tmp_path, procedure_with(tighten, head=head))
    script.do_all(
        open_intent(), intent("start", operation="t"), given("", joint="bolts", lubricant="dry"),
        intent("tick", joint="bolts", fastener=1),
        intent("untick", joint="bolts"),
    )  # fmt: skip
    lines = read(script.path.read_bytes()).lines
    text = "\n".join(history_text(lines, plan_from_log(lines, read_procedure)))
    assert "Filled in, lubricant of Cover bolts: dry, source: manual p. 4-21" in " ".join(text.split())
    assert "4-4" not in text


def test_check_lists_each_figure_once_as_a_note(tmp_path: Path) -> None:
    path = tmp_path / "asked.yaml"
    path.write_text(procedure_with(CLOSE, head=JOINT), encoding="utf-8")
    report = check_file(path, None)
    found = [finding for finding in report["findings"] if finding["code"] == "to-fill"]
    assert report["ok"]
    assert [finding["severity"] for finding in found] == ["note"] * 3
    assert [finding["message"].partition(". ")[0] for finding in found] == [
        "To be filled in: lubricant of cover",
        "To be filled in: thread of cover",
        "To be filled in: cover stage 2",
    ]


def test_asked_limit_without_a_unit_is_an_error() -> None:
    result = read_text(procedure_with("{id: m, title: M, record: {play: {limit: ask}}}"))
    assert [problem.code for problem in result.problems] == ["missing-unit"]


def test_figures_to_fill_name_the_choice_they_are_for() -> None:
    limit = "{by: side, left: ask, right: ask}"
    text = procedure_with(f"{{id: m, each: side, title: M, record: {{play: {{unit: mm, limit: {limit}}}}}}}",
                          head="places: {side: [left, right]}\n")  # fmt: skip
    procedure = read_text(text).procedure
    assert procedure is not None
    assert [one.title for one in figures_to_fill(procedure)] == [
        "limit of play (side left)",
        "limit of play (side right)",
    ]
