"""State variables by place at the bench: start values, needs, rules, rework and states that were found."""

from pathlib import Path
from typing import Any

import pytest

from benchflow.procedure.reader import read
from benchflow.session.view.bench_view import StateRow, rows_by_variable
from tests.driving.script import Script

TEXT = """\
benchflow: 1
id: rods
title: Rods
revision: A
places: {cyl: [1, 2, 3]}
state:
  rod: {each: cyl, values: [out, seated], start: ask, title: Rod}
  crank: {values: [tdc, bdc], start: tdc}
interference:
- never: {rod: seated, crank: bdc}
  because: The rod hits the crank.
moves:
  turn: {title: Turn the crank, sets: {crank: bdc}}
  back: {title: Turn it back, during: {"rod[1]": seated}, sets: {crank: tdc}}
sections:
- title: A
  operations:
  - {id: seat, title: "Seat rod {cyl}", each: cyl, needs: {rod: out}, sets: {rod: seated}, undo: {do: Lift it}}
  - {id: after, title: After, needs: {"rod[*]": seated}, after: "seat[*]"}
"""
"""An invented procedure."""


@pytest.fixture
def script(tmp_path: Path) -> Script:
    return Script(tmp_path, TEXT)


def opened(script: Script, **start: Any) -> Script:
    script.do("open", by="Kim", unit="1", start=start or {"rod": "out"})
    return script


def state(script: Script) -> dict[str, str]:
    found: dict[str, str] = script.query("status")["state"]
    return found


def test_plain_start_value_is_for_all_places_without_their_own(script: Script) -> None:
    opened(script, **{"rod[2]": "seated", "rod": "out"})
    assert state(script) == {"rod[1]": "out", "rod[2]": "seated", "rod[3]": "out", "crank": "tdc"}


def test_start_value_of_an_unknown_place_is_refused(script: Script) -> None:
    assert script.refused("open", by="Kim", unit="1", start={"rod[4]": "out"}) == ["unknown-name"]
    assert script.refused("open", by="Kim", unit="1", start={"rod": "in"}) == ["unknown-name"] * 3


def test_operation_needs_and_sets_the_state_of_its_place(script: Script) -> None:
    opened(script, **{"rod[2]": "seated", "rod": "out"})
    assert script.refused("start", operation="seat[2]") == ["state-not-met"]
    script.do("start", operation="seat[3]")
    script.do("finish")
    assert state(script)["rod[3]"] == "seated"
    assert state(script)["rod[1]"] == "out"


def test_rule_holds_for_each_place(script: Script) -> None:
    opened(script)
    script.do("start", operation="seat[3]")
    script.do("finish")
    assert script.refused("move", move="turn") == ["interference"]
    script.do("rework", operation="seat[3]", reason="again")
    assert state(script)["rod[3]"] == "out"
    script.do("move", move="turn")


def test_state_while_a_move_is_made_counts_for_the_rules(script: Script) -> None:
    opened(script)
    script.do("move", move="turn")
    assert script.refused("move", move="back") == ["interference"]


def test_state_found_is_set_for_one_place_or_for_all(script: Script) -> None:
    opened(script)
    script.do("set-state", variable="rod[2]", value="seated", reason="seen")
    assert state(script)["rod[2]"] == "seated"
    events = script.do("set-state", variable="rod[*]", value=None, reason="in doubt")
    assert [event["data"]["variable"] for event in events] == ["rod[1]", "rod[2]", "rod[3]"]
    assert script.refused("set-state", variable="rod[9]", value="out", reason="seen") == ["unknown-name"]
    assert script.refused("set-state", variable="rod", value="seated") == ["value-missing"]
    assert script.refused("move", move="turn") == ["interference"] * 3


def test_needs_of_all_places_names_each_that_is_missing(script: Script) -> None:
    opened(script)
    reasons = script.query("why", operation="after")
    assert [reason.get("state") for reason in reasons if reason["code"] == "state-not-met"] == [
        "rod[1]",
        "rod[2]",
        "rod[3]",
    ]


def test_log_with_state_by_place_passes_the_audit(script: Script) -> None:
    opened(script)
    script.do("set-state", variable="rod[*]", value=None, reason="in doubt")
    script.audited()


def test_screen_has_one_row_for_a_variable_by_place() -> None:
    rows = [
        StateRow("rod[1]", "Rod (cyl 1)", "out", True, "Rod", "1"),
        StateRow("rod[2]", "Rod (cyl 2)", "seated", True, "Rod", "2"),
        StateRow("rod[3]", "Rod (cyl 3)", "out", True, "Rod", "3"),
        StateRow("crank", "Crank", "tdc"),
    ]
    assert [(row.title, row.value) for row in rows_by_variable(rows)] == [
        ("Rod", "out 1, 3 · seated 2"),
        ("Crank", "tdc"),
    ]
    assert rows_by_variable(rows[:1] + rows[2:3])[0].value == "all out"


PROVED = """\
benchflow: 1
id: casing
title: Casing
revision: A
places: {{p: [1, 2]}}
state: {{casing: {{each: p, values: [hot, cool], start: hot}}, spindle: {{values: ['off', 'on'], start: 'off'}}}}
interference:
- {{never: {{casing: hot, spindle: 'on'}}, because: The seal melts.}}
moves:
  spin: {{title: Spin it, needs: {{"casing[*]": cool}}, sets: {{spindle: 'on'}}}}
sections:
- title: S
  {section}
  operations:
  - {{id: cool, title: Cool it, {each} sets: {{casing: cool}}, {evidence}}}
"""
"""An invented procedure: evidence at each place shows that the casing is cool there."""


@pytest.mark.parametrize(("section", "each"), [("", "each: p,"), ("each: p", "")])
@pytest.mark.parametrize(
    ("evidence", "about", "unknown"),
    [
        ("check: [{see: cold, id: cold, proves: casing}]", "cold", {"casing[1]"}),
        ("record: {t: {unit: °C, limit: at most 40 °C, proves: casing}}", "t", {"casing[1]"}),
        ('record: {t: {unit: °C, limit: at most 40 °C, proves: "casing[*]"}}', "t", {"casing[1]", "casing[2]"}),
        (
            "record: {x: {unit: °C}}, work-out: {t: {is: x, unit: °C, limit: at most 40 °C, proves: casing}}",
            "t",
            {"casing[1]"},
        ),
    ],
)
def test_waived_proof_leaves_the_state_of_its_place_unknown(
    tmp_path: Path, section: str, each: str, evidence: str, about: str, unknown: set[str]
) -> None:
    script = Script(tmp_path, PROVED.format(section=section, each=each, evidence=evidence))
    script.do("open", by="Kim", unit="1")
    for step, ok in (("cool[2]", True), ("cool[1]", False)):
        script.do("start", operation=step)
        if "check" in evidence:
            script.do("tick-check", check="cold", answer="yes" if ok else "no")
        else:
            script.do("record", name="x" if "work-out" in evidence else "t", value="20 °C" if ok else "90 °C")
        if not ok:
            script.do("deviate", operation=step, about=about, reason="It feels cool", by="Kim")
        script.do("finish")
    state = script.query("status")["state"]
    assert {name for name, value in state.items() if value is None} == unknown
    assert "state-not-met" in script.refused("move", move="spin")
    script.audited()


def test_weak_evidence_is_noted_for_a_state_by_place() -> None:
    text = PROVED.format(section="", each="each: p,", evidence="record: {t: {unit: °C, limit: at most 40 °C}}")
    noted = [problem for problem in read(text).problems if problem.code == "weak-evidence"]
    assert ["`casing`" in str(problem) for problem in noted] == [True]
