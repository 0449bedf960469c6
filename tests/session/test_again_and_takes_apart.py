"""Operations that are done again (`again`), and planned disassembly (`takes-apart`)."""

from pathlib import Path

import pytest

from benchflow.ordering.proof import prove
from benchflow.procedure.reader import read
from benchflow.review.log.loaded_log import load_log
from benchflow.review.sheets.build_sheet import build_sheet
from tests.driving.script import Script, read_procedure

HEAD = """\
benchflow: 1
id: trial
title: Trial
revision: A
places: {cyl: [1, 2]}
state: {head: {values: ['off', 'on'], start: 'off'}}
kit: {parts: {gasket: {title: Gasket, lot: required, discard: true}}}
sections:
- title: A
  operations:
"""
"""An invented procedure."""

FIT = """\
  - {id: clean, title: Clean}
  - id: fit-crank
    title: Fit the crank
    after: clean
    uses: [gasket]
    needs: {head: 'off'}
    sets: {head: 'on'}
    record:
      play: {unit: mm, limit: 0.10 .. 0.20 mm, above: [{do: Seat it, redo: [fit-crank]}]}
      end: {unit: mm, limit: above play by 0.01 .. 0.05 mm}
    work-out: {gap: {is: end - play, unit: mm}}
    check: [{see: It turns, id: turns}]
    undo: {do: Lift it}
  - {id: lift, title: Lift it again, takes-apart: [fit-crank], sets: {head: 'off'}}
  - {id: refit, again: fit-crank, title: Fit it for good, after: lift}
  - {id: last, title: Last, after: refit, work-out: {moved: {is: refit.play - play, unit: mm}}}
"""


def problems(text: str) -> list[str]:
    return [problem.code for problem in read(HEAD + text).problems if problem.severity == "error"]


def opened(folder: Path, text: str = FIT) -> Script:
    script = Script(folder, HEAD + text)
    script.do("open", by="Kim", unit="1")
    return script


def fitted(script: Script, step: str, play: str, lot: str) -> None:
    script.do("start", operation=step)
    script.do("lot", consumable="gasket", lot=lot)
    script.do("record", name="play", value=f"{play} mm")
    script.do("record", name="end", value="0.18 mm")
    script.do("tick-check", check="turns")
    script.do("finish")


def test_copy_has_the_keys_of_the_other_and_names_of_its_own() -> None:
    result = read(HEAD + FIT)
    assert result.procedure is not None, [str(problem) for problem in result.problems]
    copy = result.procedure.operations_by_id["refit"]
    assert copy.title == "Fit it for good"
    assert [ref.name for ref in copy.after] == ["lift"]
    assert [value.name for value in copy.record] == ["refit.play", "refit.end"]
    assert copy.work_out[0].formula == "refit.end - refit.play"
    assert copy.check[0].id == "refit.turns"
    assert [ref.name for ref in copy.record[0].above[0].redo] == ["refit"]
    assert copy.needs == {"head": ("off",)}
    assert not [finding for finding in prove(result.procedure).findings if finding.severity == "error"]


def test_trial_is_built_taken_apart_and_built_again(tmp_path: Path) -> None:
    script = opened(tmp_path)
    script.do("start", operation="clean")
    script.do("finish")
    assert script.refused("start", operation="refit") == ["after-missing"] * 2
    fitted(script, "fit-crank", "0.15", "A1")
    assert script.refused("start", operation="refit") == ["after-missing", "state-not-met"]
    script.do("start", operation="lift")
    (event,) = script.do("finish")
    assert event["data"]["discard"] == ["gasket"]
    status = script.query("status")
    assert status["state"] == {"head": "off"}
    assert "fit-crank" in status["done"]
    script.do("start", operation="refit")
    (reply,) = script.send({"intent": "finish"})
    assert "The lot of Gasket is not entered yet" in " ".join(each["message"] for each in reply["refused"])
    script.do("pause")
    fitted(script, "refit", "0.16", "A2")
    script.do("start", operation="last")
    assert [event["data"].get("quantity", {}).get("entered") for event in script.log()][-1:] != []
    script.do("finish")
    script.do("close")
    script.audited()


def test_calculation_uses_the_values_of_the_trial_and_of_the_copy(tmp_path: Path) -> None:
    script = opened(tmp_path)
    script.do("start", operation="clean")
    script.do("finish")
    fitted(script, "fit-crank", "0.15", "A1")
    script.do("start", operation="lift")
    script.do("finish")
    fitted(script, "refit", "0.17", "A2")
    events = script.do("start", operation="last")
    calculated = [event["data"] for event in events if event["kind"] == "calculated"]
    assert [(one["name"], one["quantity"]["value"]) for one in calculated] == [("moved", "0.02")]


def test_sheet_shows_the_trial_and_the_gasket_that_was_thrown_away(tmp_path: Path) -> None:
    script = opened(tmp_path)
    script.do("start", operation="clean")
    script.do("finish")
    fitted(script, "fit-crank", "0.15", "A1")
    script.do("start", operation="lift")
    script.do("finish")
    fitted(script, "refit", "0.16", "A2")
    sheet = build_sheet(load_log(script.path, read_procedure))
    trial = [one.trial for section in sheet.sections for one in section.operations if one.trial]
    assert trial == ["trial, taken apart again by “Lift it again”"]
    assert [row[1:] for row in sheet.parts] == [
        ("lot A1", "Fit the crank (trial; thrown away)"),
        ("lot A2", "Fit it for good"),
    ]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("  - {id: a, again: b}\n  - {id: b, again: a, title: B}\n", ["order-cycle"]),
        ("  - {id: a, again: a, title: A}\n", ["order-cycle"]),
        ("  - {id: a, again: nothing, title: A}\n", ["unknown-name"]),
        ("  - {id: a, title: A, record: {x: {unit: mm}}}\n  - {id: 2nd, again: a}\n", ["bad-name"]),
        ("  - {id: a, title: A}\n  - {id: b, title: B, takes-apart: [c]}\n", ["unknown-name"]),
    ],
)
def test_wrong_again_and_takes_apart(text: str, expected: list[str]) -> None:
    assert problems(text) == expected


def test_copy_of_a_copy_and_of_a_repeated_operation(tmp_path: Path) -> None:
    text = """\
  - {id: a, title: "A {cyl}", each: cyl, record: {x: {unit: mm}}, work-out: {y: {is: x * 2, unit: mm}}}
  - {id: b, again: a}
  - {id: c, again: b, record: {x: {unit: mm}, z: {unit: mm}}}
"""
    script = opened(tmp_path, text)
    assert script.query("status")["operations"] == ["a[1]", "a[2]", "b[1]", "b[2]", "c[1]", "c[2]"]
    for step in ("a[1]", "b[1]"):
        script.do("start", operation=step)
        script.do("record", name="x", value="1 mm")
        script.do("finish")
    script.do("start", operation="c[1]")
    script.do("record", name="x", value="1 mm")
    script.do("record", name="c.z[1]", value="2 mm")
    script.do("finish")
    assert script.refused("start", operation="c[2]") == ["after-missing"]


def test_taking_apart_what_is_not_built_is_an_error() -> None:
    head = HEAD.replace("state:", "options: {kind: {ask: K?, choices: [x, y]}}\nstate:")
    text = "  - {id: a, title: A, when: {kind: x}}\n  - {id: b, title: B, takes-apart: [a]}\n"
    result = read(head + text)
    assert result.procedure is not None
    assert [finding.code for finding in prove(result.procedure).findings] == ["operation-absent"]


def test_rework_of_the_disassembly_asks_for_a_new_part(tmp_path: Path) -> None:
    text = FIT.replace("takes-apart: [fit-crank],", "takes-apart: [fit-crank], undo: {do: Put it back},")
    script = opened(tmp_path, text)
    script.do("start", operation="clean")
    script.do("finish")
    fitted(script, "fit-crank", "0.15", "A1")
    script.do("start", operation="lift")
    script.do("finish")
    plan = script.query("rework-plan", operation="lift")
    assert "fit-crank" in plan["redo"]
    script.do("rework", operation="lift", reason="not sure")
    assert script.query("status")["done"] == ["clean"]
    script.do("start", operation="fit-crank")
    (reply,) = script.send({"intent": "finish"})
    assert "The lot of Gasket is not entered yet" in " ".join(each["message"] for each in reply["refused"])


COPY_COMPARED = """\
  - {{id: a, title: A, record: {{play: {{unit: mm}}}}}}
  - {{id: b, again: a, work-out: {{moved: {{is: "{formula}", unit: mm}}}}}}
"""


def test_id_of_the_copied_operation_means_the_first_value(tmp_path: Path) -> None:
    script = opened(tmp_path, COPY_COMPARED.format(formula="play - a.play"))
    for step, play in (("a", "0.10 mm"), ("b", "0.14 mm")):
        script.do("start", operation=step)
        script.do("record", name="play", value=play)
        if step == "a":
            script.do("finish")
    (result,) = (line["data"] for line in script.log() if line["kind"] == "calculated")
    assert (result["name"], result["quantity"]["entered"]) == ("b.moved", "0.04 mm")


def test_own_value_under_two_names_is_an_error() -> None:
    result = read(HEAD + COPY_COMPARED.format(formula="b.play - play"))
    (problem,) = [each for each in result.problems if each.severity == "error"]
    assert problem.code == "duplicate-name"
    assert "Write `a.play` for the value of `a`" in str(problem)
