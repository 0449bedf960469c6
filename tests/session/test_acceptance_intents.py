"""The intents and the refusal codes of the procedure format, sent by a script. All data is invented."""

from pathlib import Path
from typing import Any

import pytest

from tests.driving.log_files import texts_in
from tests.driving.script import Script, intent, open_intent

PROCEDURE = """\
benchflow: 1
id: tried
title: Tried
revision: "1"
options: {cams: {ask: Which cams?, choices: [standard, reground]}}
places: {cylinder: [1, 2], side: [front, rear]}
state:
  pistons: {values: [at-deck, down], start: ask, ask: Where are the pistons?}
  valves: {values: [shut, open], start: shut}
interference:
- {never: {pistons: at-deck, valves: open}, because: the valves would reach the pistons}
moves:
  turn-down: {title: Turn down, sets: {pistons: down}}
  turn-up: {title: Turn up, needs: {valves: shut}, sets: {pistons: at-deck}}
kit:
  consumables: {sealant: {title: Sealant, lot: required}}
  parts: {gasket: {title: Gasket}, ring: {title: Sealing ring, discard: true}}
joints:
  studs: {title: Studs, layout: "1 2", groups: {one: [1]}}
sections:
- title: All
  operations:
  - {id: seal, title: Seal, uses: [sealant, gasket], undo: {do: Wipe it off, discard: [gasket]}}
  - {id: lower, title: Lower, after: [seal], uses: [ring], time: {seal: at most 10 min}, undo: {do: Lift it off}}
  - id: pull
    title: Pull down
    after: [lower]
    tighten: {joint: studs, stages: [20 N·m, {torque: 30 N·m, only: one}, {check: at least 25 N·m}]}
  - id: cam
    title: Seat the cam
    during: {valves: open}
    sets: {valves: open}
    undo: {do: Lift it out, sets: {valves: shut}}
  - id: bore
    title: Bore of {cylinder}
    each: cylinder
    record:
      bore: {ask: Bore, unit: mm, limit: 86.00 .. 86.02 mm}
      taper: {ask: Taper, unit: mm, readings: 3}
  - id: journal
    title: Journals
    record: {journal: {ask: Journal, unit: mm, readings: [front, rear], limit: at most 54 mm}}
  - id: gap
    title: Gap
    record: {gap: {ask: Gap, unit: mm}}
    choose: {shim: {by: gap, from: [{up to: 0.1 mm, take: thin}, {up to: 0.2 mm, take: thick}]}}
  - {id: look, title: Look, check: [flush all round, turns freely], hold: {by: inspector, for: the look of it}}
  - {id: prop, title: Prop it up, temporary: {restored-by: unprop}}
  - {id: unprop, title: Take the prop out, after: [prop]}
  - {id: reground-only, title: Lash caps, when: {cams: reground}}
"""
OPEN = open_intent(options={"cams": "standard"}, start={"pistons": "at-deck"})


@pytest.fixture
def script(tmp_path: Path) -> Script:
    found = Script(tmp_path, PROCEDURE)
    found.do_all(OPEN)
    return found


def start(script: Script, operation: str) -> None:
    script.do("start", operation=operation)


# --- open ----------------------------------------------------------------------------------------------


def test_job_opens_once_and_only_with_a_builder_and_all_options(tmp_path: Path) -> None:
    script = Script(tmp_path, PROCEDURE)
    for query in ("why", "route"):
        assert script.refused(query, operation="seal") == ["not-open"]
    assert script.refused("status") == ["not-open"]
    assert script.refused("start", operation="seal") == ["not-open"]
    assert script.refused("open") == ["value-missing", "value-missing"]  # who, and the option
    assert script.refused("open", by="Robin", options={"cams": "wild"}) == ["unknown-name"]
    assert script.refused("open", by="Robin", options={"cams": "standard"}, start={"pistons": "sideways"}) == [
        "unknown-name"
    ]
    assert script.refused("open", by="Robin", options={"cams": "standard"}, start={"valves": "open"}) == ["not-allowed"]
    (opened,) = script.do("open", by="Robin", unit=2417, options={"cams": "standard"}, start={"pistons": "down"})
    assert (opened["kind"], opened["by"], opened["data"]["unit"]) == ("opened", "Robin", "2417")
    assert script.refused("open", by="Robin", options={"cams": "standard"}) == ["already-open"]


def test_missing_start_value_is_unknown_and_blocks_what_depends_on_it(tmp_path: Path) -> None:
    script = Script(tmp_path, PROCEDURE)
    script.do_all(open_intent(options={"cams": "standard"}))
    assert script.query("status")["state"]["pistons"] is None
    assert script.refused("start", operation="cam") == ["interference"]
    script.do("move", move="turn-down")
    start(script, "cam")


# --- start, pause, finish, move ---------------------------------------------------------


def test_blocked_intents_are_refused_with_every_reason(script: Script) -> None:
    assert script.refused("start", operation="lower") == ["after-missing"]
    assert script.refused("start", operation="cam") == ["interference"]
    assert script.refused("start", operation="reground-only") == ["unknown-name"]
    assert script.refused("start", operation="bore") == ["unknown-name"]  # it is bore[1] and bore[2]
    assert script.refused("finish", operation="seal") == ["not-started"]
    assert script.refused("pause", operation="seal") == ["not-started"]
    start(script, "journal")
    assert script.refused("start", operation="journal") == ["operation-in-progress"]
    assert script.refused("start", operation="lower") == ["operation-in-progress", "after-missing"]
    assert script.refused("move", move="turn-down") == ["operation-in-progress"]
    script.do("pause", operation="journal")
    assert script.refused("move", move="turn-around") == ["unknown-name"]
    script.do("move", move="turn-down")
    start(script, "cam")
    assert script.refused("pause", operation="cam") == ["not-allowed"]  # the valves are open while it is in progress
    script.do("finish", operation="cam")
    assert script.refused("start", operation="cam") == ["already-done"]
    assert script.refused("finish", operation="cam") == ["already-done"]
    assert "state-not-met" in script.refused("move", move="turn-up")


def test_pause_and_finish_without_a_name_mean_the_operation_in_progress(script: Script) -> None:
    assert script.refused("finish") == ["not-started"]
    start(script, "prop")
    script.do("pause")
    start(script, "prop")
    script.do("finish")
    assert script.query("status")["done"] == ["prop"]


def test_why_lists_every_reason_and_route_ends_at_the_operation(script: Script) -> None:
    assert [reason["code"] for reason in script.query("why", operation="cam")] == ["interference"]
    assert script.query("route", operation="cam") == ["turn-down", "cam"]
    assert script.query("route", operation="lower") == ["seal", "lower"]
    assert script.query("why", operation="seal") == []
    assert script.refused("why", operation="sael") == ["unknown-name"]
    start(script, "seal")
    assert [reason["code"] for reason in script.query("why", operation="seal")] == ["value-missing"]


# --- readings --------------------------------------------------------------------------------------------


def test_value_may_be_named_without_its_place_and_a_reading_by_number_or_place(script: Script) -> None:
    start(script, "bore[2]")
    (named,) = script.do("record", name="bore", value="86.01 mm")
    assert (named["data"]["name"], named["data"]["reading"]) == ("bore[2]", "1")
    assert script.do("record", name="bore[2]", value="86.01 mm")[0]["data"]["name"] == "bore[2]"
    assert script.do("record", name="bore", value="86.01 mm", place=2)[0]["data"]["reading"] == "1"
    assert script.refused("record", name="bore", value="86.01 mm", place=1) == ["unknown-name"]  # not in progress
    assert script.refused("record", name="bore[1]", value="86.01 mm") == ["unknown-name"]
    named_readings: list[tuple[dict[str, Any], str]] = [
        ({"reading": 2}, "2"),
        ({"reading": "1", "place": 2}, "1"),
        ({"place": 2}, "3"),
    ]
    for fields, reading in named_readings:
        assert script.do("record", name="taper", value="0.01 mm", **fields)[0]["data"]["reading"] == reading
    assert script.refused("record", name="taper", value="0.01 mm", reading=4) == ["unknown-name"]
    script.do("finish")
    start(script, "journal")
    for fields, reading in (({"place": "rear"}, "rear"), ({"reading": "front"}, "front")):
        assert script.do("record", name="journal", value="53.9 mm", **fields)[0]["data"]["reading"] == reading
    assert script.do("record", name="journal[rear]", value="53.8 mm")[0]["data"]["reading"] == "rear"
    assert script.refused("record", name="journal", value="53.9 mm", place="middle") == ["unknown-name"]


@pytest.mark.parametrize(
    ("value", "code"),
    [
        ("86.01", "bad-quantity"),
        (86.01, "bad-quantity"),
        (86, "bad-quantity"),
        (None, "value-missing"),
        ("", "bad-quantity"),
        ("86,01 mm", "bad-quantity"),
        ("about 86 mm", "bad-quantity"),
        ("86.01 N·m", "wrong-dimension"),
        ("NaN mm", "bad-quantity"),
        (["86.01 mm"], "bad-quantity"),
        (True, "bad-quantity"),
    ],
)
def test_value_that_is_not_a_length_is_refused(script: Script, value: Any, code: str) -> None:
    start(script, "bore[1]")
    assert script.refused("record", name="bore", value=value) == [code]


def test_reading_out_of_its_limit_is_logged_but_blocks_the_finish(script: Script) -> None:
    start(script, "bore[1]")
    assert script.refused("finish") == ["value-missing", "value-missing"]
    (out,) = script.do("record", name="bore", value="86.03 mm")
    assert out["data"]["verdict"] == "high"
    for reading in (1, 2, 3):
        script.do("record", name="taper", value="0.01 mm", reading=reading)
    assert script.refused("finish") == ["out-of-limit"]
    script.do("record", name="bore", value="86.02 mm")  # the ends are inside the limit
    script.do("finish")
    assert [line["data"]["quantity"]["value"] for line in script.log() if line["data"].get("name") == "bore[1]"] == [
        "86.03",
        "86.02",
    ]


# --- ticks, checks, choices, lots ------------------------------------------------------------------------


def test_fasteners_are_ticked_in_order_and_untick_clears_the_last_tick(script: Script) -> None:
    script.do_all(
        intent("start", operation="seal"), intent("lot", consumable="sealant", lot="7"), intent("finish"),
        intent("start", operation="lower"), intent("finish"), intent("start", operation="pull"),
    )  # fmt: skip
    assert script.refused("tick", joint="bolts", fastener=1) == ["unknown-name"]
    assert script.refused("tick", joint="studs", fastener=3) == ["unknown-name"]
    assert script.refused("tick", joint="studs", fastener=2)[0] == "fastener-order"
    (first,) = script.do("tick", joint="studs", fastener=1)
    assert {name: first["data"][name] for name in ("joint", "stage", "fastener")} == {
        "joint": "studs",
        "stage": 1,
        "fastener": 1,
    }
    assert "stage-not-finished" in script.refused("tick", joint="studs", fastener=1)
    assert script.refused("finish") == ["stage-not-finished"]
    script.do("untick", joint="studs", fastener=1)
    script.do("tick", joint="studs", fastener=1, value="20 N·m")
    assert script.refused("tick", joint="studs", fastener=2, value="20 mm") == ["wrong-dimension"]
    assert script.refused("tick", joint="studs", fastener=2, value="20") == ["bad-quantity"]
    script.do("tick", joint="studs", fastener="2")
    assert "fastener-order" in script.refused("tick", joint="studs", fastener=2)  # stage 2 is for fastener 1 only
    script.do("tick", joint="studs", fastener=1)
    assert script.refused("tick", joint="studs", fastener=1) == ["value-missing"]
    script.do("tick", joint="studs", fastener=1, value="26 N·m")
    script.do("tick", joint="studs", fastener=2, value="24 N·m")
    assert script.refused("finish") == ["out-of-limit"]
    script.do("untick", joint="studs", fastener=2)
    script.do("tick", joint="studs", fastener=2, value="18.5 ft-lb")
    script.do("finish")


def test_check_is_ticked_by_its_text_or_its_number(script: Script) -> None:
    start(script, "look")
    assert script.refused("finish") == ["check-open", "check-open", "hold-unsigned"]
    script.do("tick-check", operation="look", check="turns freely")
    script.do("tick-check", check=1)
    assert script.refused("tick-check", check=3) == ["unknown-name"]
    assert script.refused("tick-check", check="turns") == ["unknown-name"]
    assert script.refused("tick-check", check=1) == ["already-done"]
    assert script.refused("finish") == ["hold-unsigned"]


def test_part_that_does_not_fit_the_table_blocks_the_finish(script: Script) -> None:
    start(script, "gap")
    assert script.refused("choose", name="shim", take="thin") == ["value-missing"]  # nothing is measured yet
    script.do("record", name="gap", value="0.15 mm")
    assert script.refused("finish") == ["value-missing"]
    assert script.refused("choose", name="shim", take="huge") == ["unknown-name"]
    assert script.refused("choose", name="shin", take="thin") == ["unknown-name"]
    script.do("choose", name="shim", take="thin")
    assert script.refused("finish") == ["out-of-limit"]
    script.do("deviate", operation="gap", about="shim", reason="no thick one is left", by="Kim")
    script.do("choose", name="shim", take="thin")  # another thin shim: the deviation was for the first one
    assert script.refused("finish") == ["out-of-limit"]
    script.do("choose", name="shim", take="thick", operation="gap")
    script.do("finish")


def test_required_lot_number_is_kept_exactly_as_entered(script: Script) -> None:
    start(script, "seal")
    assert script.refused("finish") == ["value-missing"]
    assert script.refused("lot", consumable="grease", lot="1") == ["unknown-name"]
    assert script.refused("lot", consumable="sealant", lot="") == ["value-missing"]
    for lot in ("0042", "00  42/A", 42):
        assert script.do("lot", consumable="sealant", lot=lot)[0]["data"]["lot"] == str(lot)
    seq = script.log()[-1]["seq"]
    assert script.do("correct", event=seq, value="0  42", reason="slip")[0]["data"]["lot"] == "0  42"
    script.do("finish")


# --- sign, deviate, rework, correct, note, close ------------------------------------------


def test_without_a_shop_file_anybody_signs_and_self_signing_is_logged(script: Script) -> None:
    start(script, "look")
    assert script.refused("sign", operation="seal", by="Kim") == ["not-allowed"]
    assert script.refused("sign", operation="look") == ["value-missing"]
    script.do_all(intent("tick-check", check=1), intent("tick-check", check=2))
    own = script.do("sign", operation="look", by="Robin")[0]
    assert own["data"]["self_signed"] is True
    other = script.do("sign", operation="look", by="Kim", pin="1234")[0]
    assert (other["by"], other["data"]["self_signed"], other["data"]["role"]) == ("Kim", False, "inspector")
    assert not any("1234" in text for text in texts_in(script.path))
    script.do("finish")


def test_signer_who_entered_something_is_logged_as_self_signed(script: Script) -> None:
    script.do_all(intent("start", operation="look", by="Kim"), intent("tick-check", check=1, by="Lee"))
    script.do_all(intent("tick-check", check=2, by="Kim"))
    for name, own in (("Kim", True), ("Lee", True), ("Robin", False)):
        assert script.do("sign", operation="look", by=name)[0]["data"]["self_signed"] is own


@pytest.mark.parametrize("about", ["bore", "bore[1]", "limit", "out-of-limit"])
def test_deviation_waives_a_limit_named_by_value_or_by_code(script: Script, about: str) -> None:
    start(script, "bore[1]")
    for reading in (1, 2, 3):
        script.do("record", name="taper", value="0.01 mm", reading=reading)
    script.do("record", name="bore", value="86.05 mm")
    assert script.refused("deviate", operation="bore[1]", about=about) == ["value-missing"]
    (event,) = script.do("deviate", operation="bore[1]", about=about, reason="the customer knows", by="Kim")
    assert (event["by"], event["data"]["about"], event["data"]["reason"]) == ("Kim", "bore[1]", "the customer knows")
    script.do("finish")


def test_deviation_lapses_when_the_value_is_read_again(script: Script) -> None:
    start(script, "bore[1]")
    for reading in (1, 2, 3):
        script.do("record", name="taper", value="0.01 mm", reading=reading)
    script.do("record", name="bore", value="86.03 mm")
    script.do("deviate", operation="bore[1]", about="bore", reason="slightly over", by="Kim")
    script.do("record", name="bore", value="86.90 mm")
    assert script.refused("finish") == ["out-of-limit"]
    script.do("deviate", operation="bore[1]", about="bore", reason="accepted", by="Kim")
    script.do("finish")


@pytest.mark.parametrize("about", ["hold", "hold-unsigned"])
def test_deviation_waives_a_hold(script: Script, about: str) -> None:
    start(script, "look")
    script.do_all(intent("tick-check", check=1), intent("tick-check", check=2))
    script.do("deviate", operation="look", about=about, reason="nobody is here", by="Robin")
    script.do("finish")


@pytest.mark.parametrize("about", ["interference", "pistons", "valves", "state-not-met", "after-missing", "check-open"])
def test_interlock_order_and_open_checks_cannot_be_waived(script: Script, about: str) -> None:
    for operation in ("cam", "look"):
        assert script.refused("deviate", operation=operation, about=about, reason="in a hurry") == ["not-allowed"]
    assert script.refused("deviate", operation="look", about="the weather", reason="in a hurry") == ["unknown-name"]
    assert script.refused("deviate", operation="cam", about="hold", reason="in a hurry") == ["unknown-name"]
    assert script.refused("deviate", operation="cam", about="time", reason="in a hurry") == ["unknown-name"]


def test_rework_undoes_the_operations_that_depend_on_it_and_discards_parts(script: Script) -> None:
    script.do_all(
        intent("start", operation="seal"), intent("lot", consumable="sealant", lot="7"), intent("finish"),
        intent("start", operation="lower"), intent("finish"),
    )  # fmt: skip
    assert script.refused("rework", operation="seal") == ["value-missing"]
    assert script.refused("rework", operation="pull", reason="x") == ["not-started"]
    assert script.query("rework-plan", operation="seal")["discard"] == ["ring", "gasket"]
    (reopened, *_) = script.do("rework", operation="seal", reason="it had skinned over")
    assert reopened["data"]["discard"] == ["ring", "gasket"]  # discarded by the kit, and by `undo`
    assert script.query("status")["done"] == []
    start(script, "seal")
    assert script.refused("finish") == ["value-missing"]  # the old lot number was for the sealant that was wiped off


def test_operation_without_an_undo_cannot_be_reworked(script: Script) -> None:
    script.do_all(intent("start", operation="prop"), intent("finish"))
    assert script.refused("rework", operation="prop", reason="x") == ["not-allowed"]


def test_correction_is_a_new_event_that_names_the_wrong_one(script: Script) -> None:
    start(script, "bore[1]")
    seq = script.do("record", name="bore", value="68.01 mm")[0]["seq"]
    assert script.refused("correct", event=seq, value="86.01 mm") == ["value-missing"]
    assert script.refused("correct", event=1, value="86.01 mm", reason="slip") == ["unknown-name"]
    assert script.refused("correct", event=999, value="86.01 mm", reason="slip") == ["unknown-name"]
    assert script.refused("correct", event=seq, value="86.01", reason="slip") == ["bad-quantity"]
    (event,) = script.do("correct", event=seq, value="86.01 mm", reason="digits swapped")
    assert (event["data"]["event"], event["data"]["quantity"]["entered"]) == (seq, "86.01 mm")
    for reading in (1, 2, 3):
        script.do("record", name="taper", value="0.01 mm", reading=reading)
    script.do("finish")
    assert [line["data"]["quantity"]["value"] for line in script.log() if line["seq"] == seq] == ["68.01"]


def test_correction_that_makes_the_chosen_part_wrong_blocks_the_close(script: Script) -> None:
    start(script, "gap")
    seq = script.do("record", name="gap", value="0.15 mm")[0]["seq"]
    script.do_all(intent("choose", name="shim", take="thick"), intent("finish"))
    script.do("correct", event=seq, value="0.05 mm", reason="read the wrong line")
    assert "out-of-limit" in script.refused("close", by="Robin", unfinished="sold")
    script.do("deviate", operation="gap", about="shim", reason="it is fitted and runs", by="Kim")
    script.do("close", by="Robin", unfinished="sold")


def test_note_can_be_added_after_the_job_is_closed(script: Script) -> None:
    assert script.refused("note", text="  ") == ["value-missing"]
    script.do("note", text="the phone rang")
    script.do("close", by="Robin", unfinished="sold")
    assert script.refused("start", operation="seal") == ["not-open"]
    script.do("note", text="called the buyer", by="Kim")


def test_job_cannot_be_closed_with_a_temporary_setting_or_an_operation_in_progress(script: Script) -> None:
    script.do_all(intent("start", operation="prop"), intent("finish"))
    assert script.refused("close", by="Robin")[0] == "temporary-left"
    assert script.refused("close", by="Robin", unfinished="sold") == ["temporary-left"]
    start(script, "unprop")
    assert script.refused("close", by="Robin", unfinished="sold") == ["operation-in-progress", "temporary-left"]
    script.do("finish")
    script.do("close", by="Robin", unfinished="sold")


def test_temporary_setting_repeated_by_rework_blocks_the_close(tmp_path: Path) -> None:
    text = PROCEDURE.replace("{id: prop, title: Prop it up,", "{id: prop, title: Prop it up, undo: {do: Take it out},")
    script = Script(tmp_path, text.replace("title: Take the prop out, after: [prop]", "title: Take the prop out"))
    script.do_all(OPEN)
    for operation in ("prop", "unprop"):
        script.do_all(intent("start", operation=operation), intent("finish"))
    script.do_all(intent("rework", operation="prop", reason="it slipped"), intent("start", operation="prop"))
    script.do("finish")
    assert script.refused("close", by="Robin", unfinished="sold") == ["temporary-left"]


# --- malformed intents -------------------------------------------------------------------------------------


def test_malformed_intent_is_refused_with_every_mistake(script: Script) -> None:
    assert script.refused("fly") == ["unknown-name"]
    assert script.refused("start") == ["value-missing"]
    assert script.refused("start", operation="seal", speed="fast") == ["unknown-name"]
    assert script.refused("record", nmae="bore") == ["unknown-name", "value-missing", "value-missing"]
    assert script.refused("start", operation=["seal"]) == ["bad-intent"]
    assert script.refused("start", operation="seal", at="2026-03-01T18:00:00Z") == ["not-allowed"]


def test_option_that_is_a_number_may_be_sent_as_a_number(tmp_path: Path) -> None:
    text = PROCEDURE.replace("choices: [standard, reground]", "choices: [1, 2]").replace(
        "{cams: reground}", "{cams: 2}"
    )
    script = Script(tmp_path, text)
    (opened,) = script.do("open", by="Robin", options={"cams": 2}, start={"pistons": "down"})
    assert opened["data"]["options"] == {"cams": "2"}
