"""The intent table and the refusal codes of the procedure format, word by word, as a script meets them.

Every joint, part and number is invented.
"""

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
  pistons: {values: [at-deck, down], start: ask, ask: How do they stand?}
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


def take(script: Script, operation: str) -> None:
    script.do("start", operation=operation)


# --- open ----------------------------------------------------------------------------------------------


def test_a_session_opens_with_what_the_table_says_and_once(tmp_path: Path) -> None:
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


def test_a_start_value_not_given_is_not_known_and_stops_what_leans_on_it(tmp_path: Path) -> None:
    script = Script(tmp_path, PROCEDURE)
    script.do_all(open_intent(options={"cams": "standard"}))
    assert script.query("status")["state"]["pistons"] is None
    assert script.refused("start", operation="cam") == ["interference"]
    script.do("move", move="turn-down")
    take(script, "cam")


# --- taking up, setting aside, finishing, moving ---------------------------------------------------------


def test_what_may_be_done_next_is_refused_with_each_reason_it_has(script: Script) -> None:
    assert script.refused("start", operation="lower") == ["after-missing"]
    assert script.refused("start", operation="cam") == ["interference"]
    assert script.refused("start", operation="reground-only") == ["unknown-name"]
    assert script.refused("start", operation="bore") == ["unknown-name"]  # it is bore[1] and bore[2]
    assert script.refused("finish", operation="seal") == ["not-started"]
    assert script.refused("pause", operation="seal") == ["not-started"]
    take(script, "journal")
    assert script.refused("start", operation="journal") == ["operation-in-progress"]
    assert script.refused("start", operation="lower") == ["operation-in-progress", "after-missing"]
    assert script.refused("move", move="turn-down") == ["operation-in-progress"]
    script.do("pause", operation="journal")
    assert script.refused("move", move="turn-around") == ["unknown-name"]
    script.do("move", move="turn-down")
    take(script, "cam")
    assert script.refused("pause", operation="cam") == ["not-allowed"]  # the valves stand open while it is in hand
    script.do("finish", operation="cam")
    assert script.refused("start", operation="cam") == ["already-done"]
    assert script.refused("finish", operation="cam") == ["already-done"]
    assert "state-not-met" in script.refused("move", move="turn-up")


def test_finish_and_set_aside_speak_of_the_operation_in_hand_when_it_is_not_named(script: Script) -> None:
    assert script.refused("finish") == ["not-started"]
    take(script, "prop")
    script.do("pause")
    take(script, "prop")
    script.do("finish")
    assert script.query("status")["done"] == ["prop"]


def test_why_names_every_reason_and_route_ends_at_the_operation(script: Script) -> None:
    assert [reason["code"] for reason in script.query("why", operation="cam")] == ["interference"]
    assert script.query("route", operation="cam") == ["turn-down", "cam"]
    assert script.query("route", operation="lower") == ["seal", "lower"]
    assert script.query("why", operation="seal") == []
    assert script.refused("why", operation="sael") == ["unknown-name"]
    take(script, "seal")
    assert [reason["code"] for reason in script.query("why", operation="seal")] == ["value-missing"]


# --- readings --------------------------------------------------------------------------------------------


def test_a_value_is_named_with_its_place_or_without_and_its_readings_by_number_or_by_place(script: Script) -> None:
    take(script, "bore[2]")
    (named,) = script.do("record", name="bore", value="86.01 mm")
    assert (named["data"]["name"], named["data"]["reading"]) == ("bore[2]", "1")
    assert script.do("record", name="bore[2]", value="86.01 mm")[0]["data"]["name"] == "bore[2]"
    assert script.do("record", name="bore", value="86.01 mm", place=2)[0]["data"]["reading"] == "1"
    assert script.refused("record", name="bore", value="86.01 mm", place=1) == ["unknown-name"]  # not in hand
    assert script.refused("record", name="bore[1]", value="86.01 mm") == ["unknown-name"]
    said: list[tuple[dict[str, Any], str]] = [
        ({"reading": 2}, "2"),
        ({"reading": "1", "place": 2}, "1"),
        ({"place": 2}, "3"),
    ]
    for fields, reading in said:
        assert script.do("record", name="taper", value="0.01 mm", **fields)[0]["data"]["reading"] == reading
    assert script.refused("record", name="taper", value="0.01 mm", reading=4) == ["unknown-name"]
    script.do("finish")
    take(script, "journal")
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
def test_what_is_no_length_does_not_become_a_reading(script: Script, value: Any, code: str) -> None:
    take(script, "bore[1]")
    assert script.refused("record", name="bore", value=value) == [code]


def test_a_reading_out_of_its_limit_is_logged_and_it_is_finishing_that_is_refused(script: Script) -> None:
    take(script, "bore[1]")
    assert script.refused("finish") == ["value-missing", "value-missing"]
    (out,) = script.do("record", name="bore", value="86.03 mm")
    assert out["data"]["verdict"] == "high"
    for reading in (1, 2, 3):
        script.do("record", name="taper", value="0.01 mm", reading=reading)
    assert script.refused("finish") == ["out-of-limit"]
    script.do("record", name="bore", value="86.02 mm")  # both ends are in
    script.do("finish")
    assert [line["data"]["quantity"]["value"] for line in script.log() if line["data"].get("name") == "bore[1]"] == [
        "86.03",
        "86.02",
    ]


# --- ticks, checks, choices, lots ------------------------------------------------------------------------


def test_a_joint_is_ticked_by_fastener_and_taken_back_by_untick(script: Script) -> None:
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
    assert "fastener-order" in script.refused("tick", joint="studs", fastener=2)  # the second stage is for no. 1 only
    script.do("tick", joint="studs", fastener=1)
    assert script.refused("tick", joint="studs", fastener=1) == ["value-missing"]
    script.do("tick", joint="studs", fastener=1, value="26 N·m")
    script.do("tick", joint="studs", fastener=2, value="24 N·m")
    assert script.refused("finish") == ["out-of-limit"]
    script.do("untick", joint="studs", fastener=2)
    script.do("tick", joint="studs", fastener=2, value="18.5 ft-lb")
    script.do("finish")


def test_a_check_is_named_by_its_text_or_its_number(script: Script) -> None:
    take(script, "look")
    assert script.refused("finish") == ["check-open", "check-open", "hold-unsigned"]
    script.do("tick-check", operation="look", check="turns freely")
    script.do("tick-check", check=1)
    assert script.refused("tick-check", check=3) == ["unknown-name"]
    assert script.refused("tick-check", check="turns") == ["unknown-name"]
    assert script.refused("tick-check", check=1) == ["already-done"]
    assert script.refused("finish") == ["hold-unsigned"]


def test_a_part_is_chosen_by_the_table_and_another_one_keeps_the_operation_open(script: Script) -> None:
    take(script, "gap")
    assert script.refused("choose", name="shim", take="thin") == ["value-missing"]  # nothing is measured yet
    script.do("record", name="gap", value="0.15 mm")
    assert script.refused("finish") == ["value-missing"]
    assert script.refused("choose", name="shim", take="huge") == ["unknown-name"]
    assert script.refused("choose", name="shin", take="thin") == ["unknown-name"]
    script.do("choose", name="shim", take="thin")
    assert script.refused("finish") == ["out-of-limit"]
    script.do("deviate", operation="gap", about="shim", reason="no thick one is left", by="Kim")
    script.do("choose", name="shim", take="thin")  # another one: what was signed was about the first
    assert script.refused("finish") == ["out-of-limit"]
    script.do("choose", name="shim", take="thick", operation="gap")
    script.do("finish")


def test_a_lot_is_wanted_where_the_kit_says_so_and_kept_digit_for_digit(script: Script) -> None:
    take(script, "seal")
    assert script.refused("finish") == ["value-missing"]
    assert script.refused("lot", consumable="grease", lot="1") == ["unknown-name"]
    assert script.refused("lot", consumable="sealant", lot="") == ["value-missing"]
    for lot in ("0042", "00  42/A", 42):
        assert script.do("lot", consumable="sealant", lot=lot)[0]["data"]["lot"] == str(lot)
    seq = script.log()[-1]["seq"]
    assert script.do("correct", event=seq, value="0  42", reason="slip")[0]["data"]["lot"] == "0  42"
    script.do("finish")


# --- signing, deviating, taking back, correcting, noting, closing ------------------------------------------


def test_without_a_shop_file_any_name_signs_and_the_builders_own_is_logged_as_such(script: Script) -> None:
    take(script, "look")
    assert script.refused("sign", operation="seal", by="Kim") == ["not-allowed"]
    assert script.refused("sign", operation="look") == ["value-missing"]
    script.do_all(intent("tick-check", check=1), intent("tick-check", check=2))
    own = script.do("sign", operation="look", by="Robin")[0]
    assert own["data"]["self_signed"] is True
    other = script.do("sign", operation="look", by="Kim", pin="1234")[0]
    assert (other["by"], other["data"]["self_signed"], other["data"]["role"]) == ("Kim", False, "inspector")
    assert not any("1234" in text for text in texts_in(script.path))
    script.do("finish")


def test_whoever_entered_something_signs_his_own_work(script: Script) -> None:
    script.do_all(intent("start", operation="look", by="Kim"), intent("tick-check", check=1, by="Lee"))
    script.do_all(intent("tick-check", check=2, by="Kim"))
    for name, own in (("Kim", True), ("Lee", True), ("Robin", False)):
        assert script.do("sign", operation="look", by=name)[0]["data"]["self_signed"] is own


@pytest.mark.parametrize("about", ["bore", "bore[1]", "limit", "out-of-limit"])
def test_a_deviation_waives_a_limit_by_its_name_or_by_what_is_not_met(script: Script, about: str) -> None:
    take(script, "bore[1]")
    for reading in (1, 2, 3):
        script.do("record", name="taper", value="0.01 mm", reading=reading)
    script.do("record", name="bore", value="86.05 mm")
    assert script.refused("deviate", operation="bore[1]", about=about) == ["value-missing"]
    (event,) = script.do("deviate", operation="bore[1]", about=about, reason="the customer knows", by="Kim")
    assert (event["by"], event["data"]["about"], event["data"]["reason"]) == ("Kim", "bore[1]", "the customer knows")
    script.do("finish")


def test_a_deviation_covers_what_stood_when_it_was_signed_and_not_what_is_read_after_it(script: Script) -> None:
    take(script, "bore[1]")
    for reading in (1, 2, 3):
        script.do("record", name="taper", value="0.01 mm", reading=reading)
    script.do("record", name="bore", value="86.03 mm")
    script.do("deviate", operation="bore[1]", about="bore", reason="a hair over", by="Kim")
    script.do("record", name="bore", value="86.90 mm")
    assert script.refused("finish") == ["out-of-limit"]
    script.do("deviate", operation="bore[1]", about="bore", reason="so be it", by="Kim")
    script.do("finish")


@pytest.mark.parametrize("about", ["hold", "hold-unsigned"])
def test_a_deviation_waives_a_hold(script: Script, about: str) -> None:
    take(script, "look")
    script.do_all(intent("tick-check", check=1), intent("tick-check", check=2))
    script.do("deviate", operation="look", about=about, reason="nobody is here", by="Robin")
    script.do("finish")


@pytest.mark.parametrize(
    "about", ["interference", "pistons", "valves", "state-not-met", "after-missing", "check-open", "flush all round"]
)
def test_the_interlock_the_order_and_a_check_cannot_be_waived(script: Script, about: str) -> None:
    for operation in ("cam", "look"):
        if operation == "look" or "flush" not in about:
            assert script.refused("deviate", operation=operation, about=about, reason="in a hurry") == ["not-allowed"]
    assert script.refused("deviate", operation="look", about="the weather", reason="in a hurry") == ["unknown-name"]
    assert script.refused("deviate", operation="cam", about="hold", reason="in a hurry") == ["unknown-name"]
    assert script.refused("deviate", operation="cam", about="time", reason="in a hurry") == ["unknown-name"]


def test_work_reopens_with_everything_that_leans_on_it(script: Script) -> None:
    script.do_all(
        intent("start", operation="seal"), intent("lot", consumable="sealant", lot="7"), intent("finish"),
        intent("start", operation="lower"), intent("finish"),
    )  # fmt: skip
    assert script.refused("rework", operation="seal") == ["value-missing"]
    assert script.refused("rework", operation="pull", reason="x") == ["not-started"]
    assert script.query("rework-plan", operation="seal")["discard"] == ["ring", "gasket"]
    (reopened, *_) = script.do("rework", operation="seal", reason="it had skinned over")
    assert reopened["data"]["discard"] == ["ring", "gasket"]  # what the kit throws away, and what `undo` does
    assert script.query("status")["done"] == []
    take(script, "seal")
    assert script.refused("finish") == ["value-missing"]  # the lot is that of the bead that was wiped off


def test_what_has_no_undo_cannot_be_taken_back_and_says_so(script: Script) -> None:
    script.do_all(intent("start", operation="prop"), intent("finish"))
    assert script.refused("rework", operation="prop", reason="x") == ["not-allowed"]


def test_a_wrong_entry_is_put_right_by_an_event_that_names_it(script: Script) -> None:
    take(script, "bore[1]")
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


def test_a_correction_that_makes_a_part_the_wrong_one_is_named_at_the_close(script: Script) -> None:
    take(script, "gap")
    seq = script.do("record", name="gap", value="0.15 mm")[0]["seq"]
    script.do_all(intent("choose", name="shim", take="thick"), intent("finish"))
    script.do("correct", event=seq, value="0.05 mm", reason="read the wrong line")
    assert "out-of-limit" in script.refused("close", by="Robin", unfinished="sold")
    script.do("deviate", operation="gap", about="shim", reason="it is fitted and runs", by="Kim")
    script.do("close", by="Robin", unfinished="sold")


def test_notes_are_taken_at_any_time_even_after_the_close(script: Script) -> None:
    assert script.refused("note", text="  ") == ["value-missing"]
    script.do("note", text="the phone rang")
    script.do("close", by="Robin", unfinished="sold")
    assert script.refused("start", operation="seal") == ["not-open"]
    script.do("note", text="called the buyer", by="Kim")


def test_a_session_does_not_end_with_a_temporary_setting_or_with_work_in_hand(script: Script) -> None:
    script.do_all(intent("start", operation="prop"), intent("finish"))
    assert script.refused("close", by="Robin")[0] == "temporary-left"
    assert script.refused("close", by="Robin", unfinished="sold") == ["temporary-left"]
    take(script, "unprop")
    assert script.refused("close", by="Robin", unfinished="sold") == ["operation-in-progress", "temporary-left"]
    script.do("finish")
    script.do("close", by="Robin", unfinished="sold")


def test_temporary_setting_made_again_after_its_restorer_blocks_the_close(tmp_path: Path) -> None:
    text = PROCEDURE.replace("{id: prop, title: Prop it up,", "{id: prop, title: Prop it up, undo: {do: Take it out},")
    script = Script(tmp_path, text.replace("title: Take the prop out, after: [prop]", "title: Take the prop out"))
    script.do_all(OPEN)
    for operation in ("prop", "unprop"):
        script.do_all(intent("start", operation=operation), intent("finish"))
    script.do_all(intent("rework", operation="prop", reason="it slipped"), intent("start", operation="prop"))
    script.do("finish")
    assert script.refused("close", by="Robin", unfinished="sold") == ["temporary-left"]


# --- what is no intent -------------------------------------------------------------------------------------


def test_entries_are_refused_as_a_whole_where_the_intent_itself_is_wrong(script: Script) -> None:
    assert script.refused("fly") == ["unknown-name"]
    assert script.refused("start") == ["value-missing"]
    assert script.refused("start", operation="seal", speed="fast") == ["unknown-name"]
    assert script.refused("record", nmae="bore") == ["unknown-name", "value-missing", "value-missing"]
    assert script.refused("start", operation=["seal"]) == ["bad-intent"]
    assert script.refused("start", operation="seal", at="2026-03-01T18:00:00Z") == ["not-allowed"]


def test_a_choice_and_a_start_value_that_are_numbers_may_be_sent_as_numbers(tmp_path: Path) -> None:
    text = PROCEDURE.replace("choices: [standard, reground]", "choices: [1, 2]").replace(
        "{cams: reground}", "{cams: 2}"
    )
    script = Script(tmp_path, text)
    (opened,) = script.do("open", by="Robin", options={"cams": 2}, start={"pistons": "down"})
    assert opened["data"]["options"] == {"cams": "2"}
