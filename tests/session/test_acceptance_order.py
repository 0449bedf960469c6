"""The order of operations by intents: prerequisites, states, the interlock, options and places."""

from pathlib import Path

import pytest

from tests.driving.script import Script, intent, open_intent

PROCEDURE = """\
benchflow: 1
id: ordered
title: Ordered
revision: "1"
options: {belt: {ask: Belt or chain?, choices: [belt, chain]}}
places: {side: [left, right]}
state:
  crank: {values: [top, bottom, quarter], start: ask, ask: Where is the crank?}
  valves: {values: [shut, open], start: shut}
  pin: {values: [out, in], start: out}
interference:
- {never: {crank: [top, bottom], valves: open}, because: the valves would reach the pistons}
- {never: {pin: in, crank: [top, quarter]}, because: the pin shears}
moves:
  to-quarter: {title: Turn to the quarter, needs: {pin: out}, sets: {crank: quarter}}
  to-top: {title: Turn to the top, needs: {pin: out, valves: shut}, sets: {crank: top}}
sections:
- title: First things
  operations:
  - {id: clean, title: Clean, each: side, undo: {do: Nothing}}
  - {id: chain-only, title: Chain, when: {belt: chain}, undo: {do: Nothing}}
- title: Then
  operations:
  - {id: all-clean, title: All clean, after: [first-things], undo: {do: Nothing}}
  - {id: left-clean, title: Left clean, after: ['clean[left]']}
  - {id: both-clean, title: Both clean, after: ['clean[*]']}
  - {id: dry, title: 'Dry {side}', each: side, after: [clean], undo: {do: Nothing}}
  - {id: after-chain, title: After the chain, after: [chain-only]}
  - id: open-up
    title: Open the valves
    needs: {crank: [quarter, top]}
    during: {valves: open}
  - {id: stay-open, title: Leave them open, sets: {valves: open}, undo: {do: Shut them, sets: {valves: shut}}}
  - {id: pin-in, title: Put the pin in, sets: {pin: in}, undo: {do: Pull it, sets: {pin: out}}}
"""


def start_job(folder: Path, *, belt: str = "belt", crank: str | None = "top") -> Script:
    script = Script(folder, PROCEDURE)
    script.do_all(open_intent(options={"belt": belt}, start={"crank": crank}))
    return script


def do_operations(script: Script, *names: str) -> None:
    for name in names:
        script.do_all(intent("start", operation=name), intent("finish", operation=name))


def test_after_may_name_an_operation_a_place_all_places_or_a_section(tmp_path: Path) -> None:
    script = start_job(tmp_path)
    assert script.refused("start", operation="all-clean") == ["after-missing", "after-missing"]
    do_operations(script, "clean[left]", "left-clean")
    assert script.refused("start", operation="both-clean") == ["after-missing"]
    assert script.refused("start", operation="dry[right]") == ["after-missing"]
    do_operations(script, "dry[left]", "clean[right]", "both-clean", "all-clean")


def test_operation_left_out_by_an_option_counts_as_done(tmp_path: Path) -> None:
    script = start_job(tmp_path)
    do_operations(script, "after-chain")
    assert script.refused("start", operation="chain-only") == ["unknown-name"]
    assert "chain-only" not in script.query("status")["operations"]


def test_operation_added_by_an_option_is_required(tmp_path: Path) -> None:
    script = start_job(tmp_path, belt="chain")
    assert script.refused("start", operation="after-chain") == ["after-missing"]
    assert script.refused("start", operation="all-clean") == ["after-missing"] * 3
    do_operations(script, "chain-only", "after-chain")


def test_needs_and_never_accept_one_value_or_several(tmp_path: Path) -> None:
    script = start_job(tmp_path)
    assert script.refused("start", operation="open-up") == ["interference"]  # top meets `needs` but not the rule
    assert script.refused("start", operation="stay-open") == ["interference"]
    script.do("move", move="to-quarter")
    do_operations(script, "open-up", "stay-open")
    assert script.refused("move", move="to-top") == ["state-not-met", "interference"]
    assert script.refused("start", operation="pin-in") == ["interference"]


@pytest.mark.parametrize("crank", [None, "bottom"])
def test_refusal_names_the_unmet_state_and_the_interference_rule(tmp_path: Path, crank: str | None) -> None:
    script = start_job(tmp_path, crank=crank)
    (reply,) = script.send(intent("start", operation="open-up"))
    assert [reason["code"] for reason in reply["refused"]] == ["state-not-met", "interference"]
    assert reply["refused"][0]["state"] == "crank"
    assert reply["refused"][1]["rule"] == 0
    assert "reach the pistons" in reply["refused"][1]["message"]


def test_refusal_names_the_missing_operation(tmp_path: Path) -> None:
    (reply,) = start_job(tmp_path).send(intent("start", operation="left-clean"))
    assert reply["refused"][0]["operation"] == "clean[left]"


def test_during_setting_ends_with_the_operation_and_sets_remains(tmp_path: Path) -> None:
    script = start_job(tmp_path, crank="quarter")
    do_operations(script, "open-up")
    assert script.query("status")["state"] == {"crank": "quarter", "valves": "shut", "pin": "out"}
    do_operations(script, "stay-open")
    assert script.query("status")["state"]["valves"] == "open"


def test_every_step_of_the_route_is_allowed(tmp_path: Path) -> None:
    script = start_job(tmp_path, crank="bottom")
    route = script.query("route", operation="open-up")
    assert route == ["to-quarter", "open-up"]
    for step in route:
        if step.startswith("to-"):
            script.do("move", move=step)
        else:
            do_operations(script, step)


def test_route_that_does_not_exist_is_refused_with_reasons(tmp_path: Path) -> None:
    script = start_job(tmp_path, crank="bottom")
    do_operations(script, "pin-in")  # from here the crank cannot be turned at all
    codes = script.refused("route", operation="open-up")
    assert codes
    assert script.refused("move", move="to-quarter") == ["state-not-met", "interference"]


def test_done_operation_can_be_repeated_only_after_rework(tmp_path: Path) -> None:
    script = start_job(tmp_path)
    do_operations(script, "clean[left]")
    assert script.refused("start", operation="clean[left]") == ["already-done"]
    script.do("rework", operation="clean[left]", reason="dust")
    do_operations(script, "clean[left]")


def test_rework_undoes_dependent_operations_and_their_settings(tmp_path: Path) -> None:
    script = start_job(tmp_path, crank="quarter")
    do_operations(script, "clean[left]", "dry[left]", "clean[right]", "all-clean", "stay-open")
    script.do("rework", operation="stay-open", reason="too early")
    assert script.query("status")["state"]["valves"] == "shut"
    (first, *others) = script.do("rework", operation="clean[left]", reason="dust")
    assert (first["kind"], {event["kind"] for event in others}) == ("rework-started", {"undone"})
    assert script.query("status")["done"] == ["clean[right]"]


def test_status_lists_done_and_paused_operations_and_the_state(tmp_path: Path) -> None:
    script = start_job(tmp_path)
    script.do_all(intent("start", operation="clean[left]"), intent("pause"), intent("start", operation="clean[right]"))
    status = script.query("status")
    assert (status["in_progress"], status["paused"], status["done"]) == ("clean[right]", ["clean[left]"], [])
    assert status["state"] == {"crank": "top", "valves": "shut", "pin": "out"}


def test_only_the_next_move_of_the_rework_plan_is_allowed_during_rework(tmp_path: Path) -> None:
    text = """
benchflow: 1
id: two-moves
title: Two moves
state: {crank: {values: [top, half], start: top}, lamp: {values: [off, lit], start: off}}
moves:
  to-top: {title: Turn to the top, sets: {crank: top}}
  to-half: {title: Turn to half stroke, sets: {crank: half}}
  light: {title: Light the lamp, sets: {lamp: lit}}
sections:
- title: All
  operations:
  - {id: fit, title: Fit, needs: {crank: top}, undo: {do: Pull it off, needs: {crank: half}}}
  - {id: cover, title: Cover, after: [fit], undo: {do: Take it off}}
"""
    script = Script(tmp_path, text)
    script.do_all(open_intent(), intent("start", operation="fit"), intent("finish"))
    script.do_all(intent("start", operation="cover"), intent("finish"))
    script.do_all(intent("rework", operation="fit", reason="wrong part", walk=True), intent("rework-step"))
    assert script.refused("move", move="light") == ["not-allowed"]
    script.do("move", move="to-half")
    script.do_all(intent("rework-step"), intent("move", move="light"))
