"""Findings that decide what is done, and operations that are done only if a remedy calls for them."""

from pathlib import Path
from typing import Any

import pytest

from benchflow.ordering.proof import prove
from benchflow.procedure import reader
from benchflow.procedure.expand import expand
from benchflow.session.context import Context
from benchflow.session.log.line_format import read
from benchflow.session.state.clock import Now
from benchflow.session.state.fold import replay
from benchflow.session.view.bench_view import ReadingInput
from benchflow.session.view.build import bench_view
from tests.driving.script import Script, read_procedure

HEAD = """\
benchflow: 1
id: found
title: Found
revision: A
places: {cyl: [1, 2], side: [left, right]}
options: {kind: {ask: Kind?, choices: [old, new]}}
sections:
- title: A
  operations:
"""
"""An invented procedure."""

PLAY = """\
  - id: measure
    title: Measure
    record: {play: {unit: mm, limit: 0.10 .. 0.20 mm}}
    check: [{see: The shaft is loose, id: loose}, The end is clean]
    undo: {do: Nothing}
  - {id: shim, title: Fit a shim, when: {play: above}}
  - {id: hone, title: Hone, when: {play: below}, after: shim}
  - {id: nut, title: Tighten the nut, when: {loose: no}}
  - {id: close, title: Close, after: [hone, nut]}
"""


def script_of(folder: Path, operations: str, **options: Any) -> Script:
    script = Script(folder, HEAD + operations)
    script.do("open", by="Kim", unit="1", options=options or {"kind": "old"})
    return script


def operations(script: Script) -> list[str]:
    return list(script.query("status")["operations"])


def measured(folder: Path, play: str = "0.15 mm", loose: str = "yes") -> Script:
    script = script_of(folder, PLAY)
    script.do("start", operation="measure")
    script.do("record", name="play", value=play)
    script.do("tick-check", check="loose", answer=loose)
    script.do("tick-check", check=2, answer="yes")
    script.do("finish")
    return script


def test_before_the_finding_all_are_there_and_wait(tmp_path: Path) -> None:
    script = script_of(tmp_path, PLAY)
    assert operations(script) == ["measure", "shim", "hone", "nut", "close"]
    assert script.refused("start", operation="shim") == ["after-missing"]
    assert script.refused("start", operation="close") == ["after-missing"] * 2


@pytest.mark.parametrize(
    ("play", "loose", "left"),
    [
        ("0.15 mm", "yes", ["measure", "close"]),
        ("0.25 mm", "yes", ["measure", "shim", "close"]),
        ("0.05 mm", "yes", ["measure", "hone", "close"]),
        ("0.15 mm", "no", ["measure", "nut", "close"]),
        ("0.25 mm", "no", ["measure", "shim", "nut", "close"]),
    ],
)
def test_finding_decides_what_is_done(tmp_path: Path, play: str, loose: str, left: list[str]) -> None:
    script = measured(tmp_path, play, loose)
    assert operations(script) == left
    for name in left[1:]:
        script.do("start", operation=name)
        script.do("finish")
    script.do("close")
    script.audited()


def test_finding_is_made_when_the_operation_is_finished(tmp_path: Path) -> None:
    script = script_of(tmp_path, PLAY)
    script.do("start", operation="measure")
    script.do("record", name="play", value="0.25 mm")
    assert "hone" in operations(script)
    script.do("record", name="play", value="0.15 mm")
    script.do("tick-check", check="loose", answer="yes")
    script.do("tick-check", check=2, answer="yes")
    (event,) = script.do("finish")
    assert event["data"]["findings"] == {"play": ["ok"], "loose": ["yes"]}
    assert operations(script) == ["measure", "close"]


def test_left_out_operation_says_what_was_found(tmp_path: Path) -> None:
    script = measured(tmp_path)
    (reply,) = script.send({"intent": "start", "operation": "shim"})
    assert [reason["code"] for reason in reply["refused"]] == ["unknown-name"]
    assert "not part of this build (play is ok)" in reply["refused"][0]["message"]


def test_answer_that_no_when_names_holds_the_operation_open(tmp_path: Path) -> None:
    script = script_of(tmp_path, PLAY)
    script.do("start", operation="measure")
    script.do("record", name="play", value="0.15 mm")
    script.do("tick-check", check="loose", answer="yes")
    script.do("tick-check", check=2, answer="no")
    assert script.refused("finish") == ["check-failed"]


def test_rework_makes_the_finding_again(tmp_path: Path) -> None:
    script = measured(tmp_path, "0.25 mm")
    script.do("start", operation="shim")
    script.do("finish")
    assert script.refused("rework", operation="measure", reason="again") == ["not-allowed"]  # shim has no undo
    (tmp_path / "2").mkdir()
    again = measured(tmp_path / "2", "0.25 mm")
    again.do("rework", operation="measure", reason="again")
    assert operations(again) == ["measure", "shim", "hone", "nut", "close"]
    again.do("start", operation="measure")
    again.do("record", name="play", value="0.15 mm")
    again.do("tick-check", check="loose", answer="no")
    again.do("tick-check", check=2, answer="yes")
    again.do("finish")
    assert operations(again) == ["measure", "nut", "close"]
    again.audited()


def test_correction_that_would_change_the_finding_is_refused(tmp_path: Path) -> None:
    script = measured(tmp_path, "0.25 mm")
    line = next(event["seq"] for event in script.log() if event["kind"] == "recorded")
    script.do("correct", event=line, value="0.26 mm", reason="misread")
    assert script.refused("correct", event=line, value="0.15 mm", reason="misread") == ["not-allowed"]
    assert operations(script) == ["measure", "shim", "close"]


REMEDIED = """\
  - id: measure
    title: Measure
    record:
      play: {unit: mm, limit: 0.10 .. 0.20 mm, above: [{do: Turn it, tries: 2}], below: [{do: Stop, stop: true}]}
    check: [{see: It is loose, id: loose, if not: [{do: Press it}]}]
  - {id: shim, title: Fit a shim, when: {play: above}}
  - {id: nut, title: Nut, when: {loose: no}}
"""


def test_remedies_come_before_the_finding(tmp_path: Path) -> None:
    script = script_of(tmp_path, REMEDIED)
    script.do("start", operation="measure")
    script.do("tick-check", check="loose", answer="no")
    script.do("record", name="play", value="0.25 mm")
    assert sorted(set(script.refused("finish"))) == ["check-failed", "out-of-limit", "remedy-first"]
    for _ in range(2):
        script.do("remedy", name="play")
        script.do("record", name="play", value="0.26 mm")
    script.do("remedy", name="loose")
    script.do("tick-check", check="loose", answer="no")
    assert script.refused("remedy", name="play") == ["not-allowed"]
    script.do("finish")
    assert operations(script) == ["measure", "shim", "nut"]
    script.audited()


def test_stop_stays_final_although_no_when_names_that_side(tmp_path: Path) -> None:
    script = script_of(tmp_path, REMEDIED)
    script.do("start", operation="measure")
    script.do("tick-check", check="loose", answer="yes")
    script.do("record", name="play", value="0.05 mm")
    assert script.refused("finish") == ["out-of-limit"]


BY_PLACE = """\
  - {id: seat, title: "Seat {cyl}", each: cyl, record: {gap: {unit: mm, readings: side, limit: at most 0.20 mm}}}
  - {id: lap, title: "Lap {cyl}", each: cyl, when: {gap: above}, undo: {do: Nothing}}
  - {id: paint, title: Paint, when: {"gap[*]": above}}
  - {id: last, title: Last, after: ["lap[*]"]}
"""


def test_finding_of_any_reading_decides_at_the_same_place(tmp_path: Path) -> None:
    script = script_of(tmp_path, BY_PLACE)
    for place, values in (("1", ("0.15 mm", "0.16 mm")), ("2", ("0.15 mm", "0.25 mm"))):
        script.do("start", operation=f"seat[{place}]")
        for side, value in zip(("left", "right"), values, strict=True):
            script.do("record", name="gap", place=side, value=value)
        script.do("finish")
    assert operations(script) == ["seat[1]", "seat[2]", "lap[2]", "paint", "last"]


CHOICE = """\
  - id: pick
    title: Pick
    record: {proud: {unit: mm}}
    choose: {gasket: {by: proud, from: [{up to: 0.1 mm, take: one}, {up to: 0.2 mm, take: two}]}}
  - {id: trim, title: Trim, when: {gasket: two}}
"""


@pytest.mark.parametrize(("value", "left"), [("0.05 mm", ["pick"]), ("0.15 mm", ["pick", "trim"])])
def test_chosen_part_decides(tmp_path: Path, value: str, left: list[str]) -> None:
    script = script_of(tmp_path, CHOICE)
    script.do("start", operation="pick")
    script.do("record", name="proud", value=value)
    script.do("choose", name="gasket", take="two" if left[1:] else "one")
    script.do("finish")
    assert operations(script) == left


IF_NEEDED = """\
  - {id: prepare, title: Prepare}
  - id: measure
    title: Measure
    after: prepare
    record: {play: {unit: mm, limit: 0.10 .. 0.20 mm, above: [{do: Polish, redo: [polish], tries: 2}]}}
  - {id: polish, title: Polish the end, if-needed: true}
  - {id: close, title: Close, after: [measure, polish]}
"""


def test_if_needed_is_not_part_of_the_build_until_it_is_called(tmp_path: Path) -> None:
    script = script_of(tmp_path, IF_NEEDED)
    assert operations(script) == ["prepare", "measure", "close"]
    assert script.refused("start", operation="polish") == ["unknown-name"]


def test_called_operation_is_done_once_for_each_call(tmp_path: Path) -> None:
    script = script_of(tmp_path, IF_NEEDED)
    script.do("start", operation="prepare")
    script.do("finish")
    for value in ("0.25 mm", "0.22 mm"):
        script.do("start", operation="measure")
        script.do("record", name="play", value=value)
        assert script.refused("record", name="play", value="0.15 mm") == ["remedy-first"]
        script.do("remedy", name="play")
        assert operations(script) == ["prepare", "measure", "polish", "close"]
        assert script.refused("start", operation="measure") == ["after-missing"]
        assert script.refused("start", operation="close") == ["after-missing"] * 2
        script.do("start", operation="polish")
        script.do("finish")
    script.do("start", operation="measure")
    script.do("record", name="play", value="0.15 mm")
    script.do("finish")
    script.do("start", operation="close")
    script.do("finish")
    script.do("close")
    script.audited()


def test_without_a_call_the_order_passes_through(tmp_path: Path) -> None:
    script = script_of(tmp_path, IF_NEEDED)
    for name in ("prepare", "measure", "close"):
        script.do("start", operation=name)
        if name == "measure":
            script.do("record", name="play", value="0.15 mm")
        script.do("finish")
    script.do("close")


CALLED_AT = """\
  - id: measure
    title: Measure
    record: {bore: {unit: mm, readings: cyl, limit: at most 0.20 mm, above: [{do: Hone it, redo: [hone]}]}}
  - {id: hone, title: "Hone {cyl}", each: cyl, if-needed: true}
"""


def test_reading_that_was_out_calls_for_its_place(tmp_path: Path) -> None:
    script = script_of(tmp_path, CALLED_AT)
    script.do("start", operation="measure")
    script.do("record", name="bore", place="1", value="0.15 mm")
    script.do("record", name="bore", place="2", value="0.25 mm")
    script.do("remedy", name="bore")
    assert operations(script) == ["measure", "hone[2]"]


SAME_PLACE = """\
  - id: measure
    title: "Measure {cyl}"
    each: cyl
    record: {bore: {unit: mm, limit: at most 0.20 mm, above: [{do: Hone it, redo: [hone]}]}}
  - {id: hone, title: "Hone {cyl}", each: cyl, if-needed: true}
"""


def test_remedy_of_a_repeated_operation_calls_for_the_same_place(tmp_path: Path) -> None:
    script = script_of(tmp_path, SAME_PLACE)
    script.do("start", operation="measure[2]")
    script.do("record", name="bore", value="0.25 mm")
    script.do("remedy", name="bore")
    assert operations(script) == ["measure[1]", "measure[2]", "hone[2]"]
    script.do("start", operation="measure[1]")  # only its own place waits


def test_numbers_of_the_steps_stay_whatever_is_found(tmp_path: Path) -> None:
    script = measured(tmp_path, "0.05 mm")
    assert operations(script) == ["measure", "hone", "close"]
    plan = expand(read_procedure(HEAD + PLAY), {"kind": "old"})
    state = replay(read(script.path.read_bytes()).lines, read_procedure)
    assert state is not None
    assert [state.plan.number(name) for name in state.plan.steps] == [1, 3, 5]
    assert [plan.number(name) for name in plan.steps] == [1, 2, 3, 4, 5]


def test_bench_shows_the_remedy_that_calls_for_work_and_the_condition(tmp_path: Path) -> None:
    shim = "{id: shim, title: Shim, when: {play: above}}\n  - {id: close"
    script = script_of(tmp_path, IF_NEEDED.replace("{id: close", shim))
    for name in ("prepare", "measure"):
        script.do("start", operation=name)
        if name == "prepare":
            script.do("finish")
    script.do("record", name="play", value="0.25 mm")
    state = replay(read(script.path.read_bytes()).lines, read_procedure)
    assert state is not None
    view = bench_view(state, Context(Now(state.last.at)), saved=0, read_only="")
    assert view.now is not None
    (given,) = [each for each in view.now.inputs if isinstance(each, ReadingInput)]
    assert given.readings[0].redo == ("3 Polish the end",)
    (row,) = [row for row in view.operations if row.operation == "shim"]
    assert row.reason == "Only if “Play” is above its limit. Do “Measure” first."


def test_call_by_mistake_is_withdrawn_by_rework(tmp_path: Path) -> None:
    script = script_of(tmp_path, IF_NEEDED.replace("after: prepare", "after: prepare\n    undo: {do: Nothing}"))
    script.do("start", operation="prepare")
    script.do("finish")
    script.do("start", operation="measure")
    script.do("record", name="play", value="0.25 mm")
    script.do("remedy", name="play")
    script.do("rework", operation="measure", reason="misread; nothing was polished")
    assert operations(script) == ["prepare", "measure", "close"]
    script.do("start", operation="measure")
    script.do("record", name="play", value="0.15 mm")
    script.do("finish")
    script.audited()


def test_work_that_was_done_stays_when_the_call_is_reworked(tmp_path: Path) -> None:
    script = script_of(tmp_path, IF_NEEDED.replace("after: prepare", "after: prepare\n    undo: {do: Nothing}"))
    script.do("start", operation="prepare")
    script.do("finish")
    script.do("start", operation="measure")
    script.do("record", name="play", value="0.25 mm")
    script.do("remedy", name="play")
    script.do("start", operation="polish")
    script.do("finish")
    script.do("rework", operation="measure", reason="again")
    assert operations(script) == ["prepare", "measure", "polish", "close"]
    assert "polish" in script.query("status")["done"]


CORRECTED_CHOICE = CHOICE + "  - {id: last, title: Last, after: [trim]}\n"


def test_correction_that_gives_another_part_is_refused(tmp_path: Path) -> None:
    script = script_of(tmp_path, CORRECTED_CHOICE)
    script.do("start", operation="pick")
    script.do("record", name="proud", value="0.05 mm")
    script.do("choose", name="gasket", take="one")
    script.do("finish")
    line = next(event["seq"] for event in script.log() if event["kind"] == "recorded")
    assert script.refused("correct", event=line, value="0.15 mm", reason="misread") == ["not-allowed"]
    script.do("correct", event=line, value="0.06 mm", reason="misread")


BY_READING = """\
  - {id: measure, title: Measure, record: {gup: {unit: mm, readings: cyl, limit: at least 0.10 mm}}}
  - {id: shim, title: "Shim {cyl}", each: cyl, when: {gup: below}}
  - {id: all, title: All, when: {gup: below}}
"""


def test_reading_of_the_own_place_decides(tmp_path: Path) -> None:
    script = script_of(tmp_path, BY_READING)
    assert operations(script) == ["measure", "shim[1]", "shim[2]", "all"]
    script.do("start", operation="measure")
    script.do("record", name="gup", place="1", value="0.05 mm")
    script.do("record", name="gup", place="2", value="0.15 mm")
    script.do("finish")
    assert operations(script) == ["measure", "shim[1]", "all"]
    script.audited()
    result = reader.read(HEAD + BY_READING)
    assert result.procedure is not None
    assert [each.code for each in prove(result.procedure).findings] == []


def test_smallest_reading_calls_only_for_the_places_that_are_out(tmp_path: Path) -> None:
    text = """\
  - id: measure
    title: Measure
    record:
      bore: {unit: mm, readings: cyl, judge: smallest, limit: at least 0.10 mm, below: [{do: Hone it, redo: [hone]}]}
  - {id: hone, title: "Hone {cyl}", each: cyl, if-needed: true}
"""
    script = script_of(tmp_path, text)
    script.do("start", operation="measure")
    script.do("record", name="bore", place="1", value="0.15 mm")
    script.do("record", name="bore", place="2", value="0.05 mm")
    script.do("remedy", name="bore")
    assert operations(script) == ["measure", "hone[2]"]


def test_place_that_the_finding_leaves_out_is_not_part_of_this_build(tmp_path: Path) -> None:
    script = script_of(tmp_path, BY_PLACE)
    for place in ("1", "2"):
        script.do("start", operation=f"seat[{place}]")
        for side in ("left", "right"):
            script.do("record", name="gap", place=side, value=f"0.{1 if place == '1' else 3}5 mm")
        script.do("finish")
    (reply,) = script.send({"intent": "start", "operation": "lap[1]"})
    assert reply["refused"][0]["message"].startswith("“Lap 1” is not part of this build")
