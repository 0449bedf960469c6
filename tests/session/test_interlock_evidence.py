"""What the interlock rests on: who can waive its evidence, and what is not known after a waiver."""

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.session.shop.register import hash_pin
from tests.driving.script import Script, intent, open_intent, procedure_with
from tests.ordering.random_plans import examples

SHOP = """\
shop: 1
people:
  Ann: {roles: [builder]}
  Ida: {roles: [inspector]}
  Max: {roles: [builder, inspector]}
"""

PUMP = """\
state:
  casing: {values: [hot, cold], start: hot%s}
  seal: {values: [out, in], start: out}
interference:
- {never: {casing: hot, seal: in}, because: heat destroys the seal}
"""


def pump(folder: Path, cool: str, *, found: str = "", fit: str = "", shop: str = "", top: str = "") -> Script:
    """An invented pump: its casing has to be cold before the seal goes in, because heat destroys the seal."""
    head = PUMP % (f", found: {found}" if found else "")
    text = procedure_with(
        f"{{id: cool, title: Cool, sets: {{casing: cold}}, undo: {{do: Heat it again}}, {cool}}}",
        f"{{id: fit, title: Fit the seal, after: [cool], sets: {{seal: in}}{fit}}}",
        head=top + head,
    )
    script = Script(folder, text, shop=shop)
    script.do_all(open_intent(by="Ann"), intent("start", operation="cool"))
    return script


THERMOMETER = "record: {t: {ask: T, unit: °C, limit: at most 40 °C%s}}"


def hot_reading(script: Script) -> None:
    script.do("record", name="t", value="95 °C")


def deviate(script: Script, about: str = "t", **fields: Any) -> None:
    script.do("deviate", operation="cool", about=about, reason="in a hurry", **fields)


# --- proves -----------------------------------------------------------------------------------------


def test_waived_proof_leaves_the_variable_unknown(tmp_path: Path) -> None:
    script = pump(tmp_path, THERMOMETER % ", proves: casing")
    hot_reading(script)
    deviate(script)
    script.do("finish")
    assert script.log()[-1]["data"]["unknown"] == ["casing"]
    assert script.refused("start", operation="fit") == ["interference"]
    (reply,) = script.send(intent("start", operation="fit"))
    assert reply["refused"][0]["message"].endswith("Allowed with casing cold (by rework of “Cool”).")


def test_proof_within_its_limit_sets_the_variable(tmp_path: Path) -> None:
    script = pump(tmp_path, THERMOMETER % ", proves: [casing]")
    script.do_all(intent("record", name="t", value="39 °C"), intent("finish"), intent("start", operation="fit"))


def test_variable_is_set_again_when_the_proof_is_done_again(tmp_path: Path) -> None:
    script = pump(tmp_path, THERMOMETER % ", proves: casing")
    hot_reading(script)
    deviate(script)
    script.do_all(intent("finish"), intent("rework", operation="cool", reason="let it cool"))
    script.do_all(intent("start", operation="cool"), intent("record", name="t", value="30 °C"), intent("finish"))
    script.do("start", operation="fit")


def test_waived_calculated_proof_leaves_the_variable_unknown(tmp_path: Path) -> None:
    cool = (
        "record: {t: {ask: T, unit: °C}, room: {ask: Room, unit: °C}}, "
        "work-out: {rise: {is: t - room, unit: K, limit: at most 15 K, proves: casing}}"
    )
    script = pump(tmp_path, cool)
    script.do_all(intent("record", name="t", value="95 °C"), intent("record", name="room", value="20 °C"))
    deviate(script, "rise")
    script.do("finish")
    assert script.refused("start", operation="fit") == ["interference"]


def test_waived_time_that_proves_leaves_the_variable_unknown(tmp_path: Path) -> None:
    text = procedure_with(
        "{id: heat, title: Heat}",
        "{id: cool, title: Cool, time: {heat: {limit: at least 2 h, proves: casing}}, sets: {casing: cold}}",
        "{id: fit, title: Fit, after: [cool], sets: {seal: in}}",
        head=PUMP % "",
    )
    script = Script(tmp_path, text)
    script.do_all(open_intent(by="Ann"), intent("start", operation="heat"), intent("finish"))
    assert script.refused("start", operation="cool") == ["too-early"]
    deviate(script, "time")
    script.do_all(intent("start", operation="cool"), intent("finish"))
    assert script.refused("start", operation="fit") == ["interference"]


def test_proof_corrected_after_the_finish_makes_the_variable_unknown(tmp_path: Path) -> None:
    script = pump(tmp_path, THERMOMETER % ", proves: casing")
    (event,) = script.do("record", name="t", value="35 °C")
    script.do("finish")
    script.do("correct", event=event["seq"], value="95 °C", reason="misread")
    assert script.refused("start", operation="fit") == ["interference", "out-of-limit"]
    (last,) = [each for each in script.log() if each["kind"] == "corrected"]
    script.do("correct", event=last["seq"], value="35 °C", reason="it was right at first")
    script.do("start", operation="fit")


def test_correction_that_makes_a_proof_good_needs_the_signature_of_a_deviation(tmp_path: Path) -> None:
    script = pump(tmp_path, THERMOMETER % ", proves: casing, waive: inspector", shop=SHOP)
    (event,) = script.do("record", name="t", value="95 °C")
    correction = {"event": event["seq"], "value": "35 °C", "reason": "misread"}
    assert script.refused("correct", **correction, by="Ann") == ["not-allowed"]
    signed = script.do("correct", **correction, by="Ida")[0]
    assert (signed["by"], signed["data"]["role"], signed["data"]["proven"]) == ("Ida", "inspector", "name")
    script.do_all(intent("finish"), intent("start", operation="fit"))


def test_correction_of_a_proof_that_anyone_can_waive_is_signed_with_the_pin(tmp_path: Path) -> None:
    shop = SHOP.replace("Ann: {roles: [builder]}", f"Ann: {{roles: [builder], pin: {hash_pin('2417', bytes(16))}}}")
    script = pump(tmp_path, THERMOMETER % ", proves: casing", shop=shop)
    (event,) = script.do("record", name="t", value="95 °C")
    correction = {"event": event["seq"], "value": "35 °C", "reason": "misread"}
    for fields in ({}, {"by": "Nobody"}):
        assert script.refused("correct", **correction, **fields) == ["not-allowed"]
    signed = script.do("correct", **correction, pin="2417")[0]
    assert (signed["by"], "role" in signed["data"], signed["data"]["proven"]) == ("Ann", False, "pin")


def test_correction_that_makes_nothing_good_needs_no_signature(tmp_path: Path) -> None:
    shop = SHOP.replace("Ann: {roles: [builder]}", f"Ann: {{roles: [builder], pin: {hash_pin('2417', bytes(16))}}}")
    script = pump(tmp_path, THERMOMETER % ", proves: casing", shop=shop)
    (event,) = script.do("record", name="t", value="35 °C")
    (event,) = script.do("correct", event=event["seq"], value="36 °C", reason="misread")
    assert "proven" not in event["data"]
    (event,) = script.do("correct", event=event["seq"], value="95 °C", reason="misread")
    assert "proven" not in event["data"]


def test_correction_past_a_table_where_the_work_stops_needs_a_signature(tmp_path: Path) -> None:
    cool = (
        "waive: inspector, record: {gap: {ask: Gap, unit: mm}}, "
        "choose: {shim: {by: gap, from: [{up to: 1 mm, take: thin}, {stop: Ask the maker}]}}"
    )
    script = pump(tmp_path, cool, shop=SHOP)
    (event,) = script.do("record", name="gap", value="1.5 mm")
    correction = {"event": event["seq"], "value": "0.5 mm", "reason": "misread"}
    assert script.refused("correct", **correction, by="Ann") == ["not-allowed"]
    script.do("correct", **correction, by="Ida")
    script.do_all(intent("choose", name="shim", take="thin"), intent("finish"))


def test_correction_cannot_make_a_proof_good_that_nobody_can_waive(tmp_path: Path) -> None:
    script = pump(tmp_path, THERMOMETER % ", proves: casing, waive: never")
    (event,) = script.do("record", name="t", value="95 °C")
    assert script.refused("correct", event=event["seq"], value="35 °C", reason="misread") == ["not-allowed"]
    script.do_all(intent("record", name="t", value="35 °C"), intent("finish"), intent("start", operation="fit"))


def test_proof_cannot_be_waived_where_a_rule_would_match_the_unknown_state(tmp_path: Path) -> None:
    text = procedure_with(
        "{id: fit, title: Fit, sets: {seal: in}}",
        "{id: look, title: Look, after: [fit], "
        "record: {t: {ask: T, unit: °C, limit: at most 40 °C, proves: casing}}, sets: {casing: cold}}",
        head=PUMP.replace("start: hot%s", "start: cold"),
    )
    script = Script(tmp_path, text)
    script.do_all(open_intent(by="Ann"), intent("start", operation="fit"), intent("finish"))
    script.do_all(intent("start", operation="look"), intent("record", name="t", value="95 °C"))
    script.do("deviate", operation="look", about="t", reason="in a hurry")
    assert script.refused("finish") == ["interference"]
    script.do_all(intent("record", name="t", value="20 °C"), intent("finish"))


# --- waive ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("on_value", "on_operation", "at_the_top"),
    [
        (", waive: never", "", ""),
        ("", ", waive: never", ""),
        ("", "", "waive: never\n"),
        (", waive: never", ", waive: anyone", ""),
    ],
)
def test_waive_never_refuses_every_deviation(tmp_path: Path, on_value: str, on_operation: str, at_the_top: str) -> None:
    script = pump(tmp_path, THERMOMETER % on_value + on_operation, top=at_the_top)
    hot_reading(script)
    assert script.refused("deviate", operation="cool", about="t", reason="in a hurry") == ["not-allowed"]
    (reply,) = script.send(intent("finish"))
    assert reply["refused"][0]["message"].endswith("Measure again.")


def test_nearer_waive_counts(tmp_path: Path) -> None:
    script = pump(tmp_path, THERMOMETER % ", waive: anyone" + ", waive: inspector", top="waive: never\n", shop=SHOP)
    hot_reading(script)
    deviate(script, by="Ann")


def test_waive_names_the_role_that_can_sign(tmp_path: Path) -> None:
    script = pump(tmp_path, THERMOMETER % ", waive: inspector", shop=SHOP)
    hot_reading(script)
    (reply,) = script.send(intent("deviate", operation="cool", about="t", reason="in a hurry", by="Ann"))
    assert [each["code"] for each in reply["refused"]] == ["not-allowed"]
    assert "An inspector here: Ida, Max." in reply["refused"][0]["message"]
    deviate(script, by="Ida")


def test_window_that_nobody_can_waive(tmp_path: Path) -> None:
    text = procedure_with(
        "{id: heat, title: Heat}",
        "{id: cool, title: Cool, time: {heat: {limit: at least 2 h, waive: never}}}",
    )
    script = Script(tmp_path, text)
    script.do_all(open_intent(), intent("start", operation="heat"), intent("finish"))
    for about in ("time", "heat", "too-early"):
        assert script.refused("deviate", operation="cool", about=about, reason="in a hurry") == ["not-allowed"]


# --- holds ------------------------------------------------------------------------------------------

HOLD = "{id: look, title: Look, check: [flush], hold: {by: inspector, for: the fit%s}}"


def looking(folder: Path, keys: str = "", shop: str = SHOP, by: str = "Ann") -> Script:
    script = Script(folder, procedure_with(HOLD % keys), shop=shop)
    script.do_all(open_intent(by=by), intent("start", operation="look"), intent("tick-check", check=1))
    return script


def test_only_the_role_that_signs_a_hold_can_waive_it(tmp_path: Path) -> None:
    script = looking(tmp_path)
    assert script.refused("deviate", operation="look", about="hold", reason="he is away", by="Ann") == ["not-allowed"]
    script.do("deviate", operation="look", about="hold", reason="seen by photograph", by="Ida")
    script.do("finish")


def test_hold_that_the_builder_waives_without_a_register_is_logged_as_self_signed(tmp_path: Path) -> None:
    script = looking(tmp_path, shop="", by="Robin")
    (event,) = script.do("deviate", operation="look", about="hold", reason="alone here")
    assert event["data"]["self_signed"] is True
    assert "self_signed" not in script.do("deviate", operation="look", about="hold", reason="seen", by="Ida")[0]["data"]


def test_hold_with_waive_never_has_to_be_signed(tmp_path: Path) -> None:
    script = looking(tmp_path, ", waive: never")
    assert script.refused("deviate", operation="look", about="hold", reason="away", by="Ida") == ["not-allowed"]
    script.do_all(intent("sign", operation="look", by="Ida"), intent("finish"))


@pytest.mark.parametrize("name", ["Max", "max", " MAX "])
def test_second_person_is_not_the_one_who_entered_something(tmp_path: Path, name: str) -> None:
    script = looking(tmp_path, ", second-person: true", by="Max")
    assert script.refused("sign", operation="look", by=name) == ["not-allowed"]
    assert script.refused("deviate", operation="look", about="hold", reason="alone", by=name) == ["not-allowed"]
    script.do_all(intent("sign", operation="look", by="Ida"), intent("finish"))


def test_second_person_without_a_register_is_somebody_with_another_name(tmp_path: Path) -> None:
    script = looking(tmp_path, ", second-person: true", shop="", by="Robin")
    for name in ("Robin", "ROBIN", "robin "):
        assert script.refused("sign", operation="look", by=name) == ["not-allowed"]
    script.do_all(intent("sign", operation="look", by="Ida"), intent("finish"))


def test_second_person_may_have_started_the_operation_but_entered_nothing(tmp_path: Path) -> None:
    script = Script(tmp_path, procedure_with(HOLD % ", second-person: true"), shop=SHOP)
    script.do_all(open_intent(by="Ida"), intent("start", operation="look"))
    assert script.refused("sign", operation="look", by="Ida") == ["not-allowed"]  # nobody else did anything
    script.do_all(intent("tick-check", check=1, by="Ann"), intent("sign", operation="look", by="Ida"))


def test_builder_in_other_capitals_is_logged_as_self_signed(tmp_path: Path) -> None:
    script = looking(tmp_path, shop="", by="Robin")
    assert script.do("sign", operation="look", by="robin")[0]["data"]["self_signed"] is True


# --- found ------------------------------------------------------------------------------------------


def test_variable_that_is_never_found_cannot_be_entered(tmp_path: Path) -> None:
    script = pump(tmp_path, "check: [cold]", found="never")
    assert script.refused("set-state", variable="casing", value="cold", reason="feels cold") == ["not-allowed"]
    script.do("set-state", variable="casing", value=None, reason="somebody lit the burner")


def test_variable_that_a_role_finds(tmp_path: Path) -> None:
    script = pump(tmp_path, "check: [cold]", found="inspector", shop=SHOP)
    found = {"variable": "casing", "value": "cold", "reason": "measured"}
    assert script.refused("set-state", **found, by="Ann") == ["not-allowed"]
    script.do("set-state", **found, by="Ida")


def test_unknown_variable_of_a_rule_needs_a_reason(tmp_path: Path) -> None:
    head = PUMP.replace("start: hot%s", "start: ask")
    script = Script(tmp_path, procedure_with("{id: fit, title: Fit, sets: {seal: in}}", head=head))
    script.do_all(open_intent())
    assert script.refused("set-state", variable="casing", value="cold") == ["value-missing"]
    assert script.refused("set-state", variable="casing", value="cold", reason=" ") == ["value-missing"]
    script.do("set-state", variable="casing", value="cold", reason="came from the cold store")


def test_role_that_finds_a_variable_is_wanted_by_every_way(tmp_path: Path) -> None:
    script = pump(tmp_path, "check: [cold]", found="inspector", shop=SHOP)
    script.do("set-state", variable="casing", value=None, reason="nobody knows", by="Ann")
    found = {"variable": "casing", "value": "cold", "reason": "measured"}
    for name in ("Ann", "ANN", "\u0406da", "Nobody"):  # the third begins with a Cyrillic letter
        assert script.refused("set-state", **found, by=name) == ["not-allowed"], name
    assert "interference" in script.refused("start", operation="fit")
    (event,) = script.do("set-state", **found, by="ida")
    assert (event["data"]["role"], event["data"]["proven"]) == ("inspector", "name")


def test_start_value_needs_the_role_that_finds_it(tmp_path: Path) -> None:
    head = PUMP.replace("start: hot%s", "start: ask, found: inspector")
    script = Script(tmp_path, procedure_with("{id: fit, title: Fit, sets: {seal: in}}", head=head), shop=SHOP)
    assert script.refused("open", unit="7", by="Ann", start={"casing": "cold"}) == ["not-allowed"]
    script.do("open", unit="7", by="Ann", start={"casing": None})
    assert script.refused("start", operation="fit") == ["interference"]


def test_person_with_the_role_gives_the_start_value(tmp_path: Path) -> None:
    head = PUMP.replace("start: hot%s", "start: ask, found: inspector")
    script = Script(tmp_path, procedure_with("{id: fit, title: Fit, sets: {seal: in}}", head=head), shop=SHOP)
    script.do("open", unit="7", by="Ida", start={"casing": "cold"})
    script.do("start", operation="fit")


# --- undo -------------------------------------------------------------------------------------------


def test_undo_that_asks_leaves_the_variable_unknown(tmp_path: Path) -> None:
    text = procedure_with(
        "{id: cool, title: Cool, sets: {casing: cold}}",
        "{id: heat, title: Heat, after: [cool], undo: {do: Let it cool, sets: {casing: ask}}}",
        "{id: fit, title: Fit the seal, after: [cool], sets: {seal: in}}",
        head=PUMP % "",
    )
    script = Script(tmp_path, text)
    script.do_all(open_intent())
    for name in ("cool", "heat"):
        script.do_all(intent("start", operation=name), intent("finish"))
    script.do("rework", operation="heat", reason="again")
    assert script.refused("start", operation="fit") == ["interference"]


# --- checks -----------------------------------------------------------------------------------------


def test_check_answered_no_blocks_the_finish_until_it_is_yes(tmp_path: Path) -> None:
    script = looking(tmp_path, shop="", by="Robin")
    script.do("sign", operation="look", by="Ida")
    assert script.refused("tick-check", check=1, answer="maybe") == ["unknown-name"]
    script.do("tick-check", check=1, answer="no")
    assert script.refused("tick-check", check=1, answer="no") == ["already-done"]
    assert script.refused("finish") == ["check-failed", "hold-unsigned"]  # the answer came after the signature
    script.do_all(intent("tick-check", check=1), intent("sign", operation="look", by="Ida"), intent("finish"))


@pytest.mark.parametrize("about", ["flush", "1", "check 1", "check-failed"])
def test_deviation_covers_the_answer_no_that_is_there(tmp_path: Path, about: str) -> None:
    script = looking(tmp_path, shop="", by="Robin")
    if about != "check-failed":
        assert script.refused("deviate", operation="look", about=about, reason="will do") == ["value-missing"]
    script.do("tick-check", check=1, answer="no")
    script.do("deviate", operation="look", about=about, reason="0.1 mm, the maker agreed")
    script.do("sign", operation="look", by="Ida")
    script.do_all(intent("tick-check", check=1, undo=True), intent("tick-check", check=1, answer="no"))
    assert "check-failed" in script.refused("finish")


COLD_CHECK = "check: [{see: The casing is cold to the hand, id: cold, proves: casing%s}]"


def test_waived_check_that_proves_leaves_the_variable_unknown(tmp_path: Path) -> None:
    script = pump(tmp_path, COLD_CHECK % "")
    script.do("tick-check", check="cold", answer="no")
    deviate(script, "cold")
    script.do("finish")
    assert script.refused("start", operation="fit") == ["interference"]


def test_ticked_check_that_proves_sets_the_variable(tmp_path: Path) -> None:
    script = pump(tmp_path, COLD_CHECK % "")
    script.do_all(intent("tick-check", check="cold"), intent("finish"), intent("start", operation="fit"))


def test_check_that_nobody_can_waive(tmp_path: Path) -> None:
    script = pump(tmp_path, COLD_CHECK % ", waive: never")
    script.do("tick-check", check="cold", answer="no")
    assert script.refused("deviate", operation="cool", about="cold", reason="in a hurry") == ["not-allowed"]
    (reply,) = script.send(intent("finish"))
    assert reply["refused"][0]["message"].endswith("Put it right and answer yes.")
    script.do_all(intent("tick-check", check="cold"), intent("finish"))


# --- all ways together ------------------------------------------------------------------------------

STEPS = st.sampled_from(
    [
        intent("start", operation="cool"), intent("start", operation="fit"), intent("finish"), intent("pause"),
        intent("record", name="t", value="95 °C"), intent("record", name="t", value="35 °C"),
        intent("deviate", operation="cool", about="t", reason="in a hurry"),
        intent("set-state", variable="casing", value="cold", reason="feels cold"),
        intent("set-state", variable="casing", value=None, reason="somebody lit the burner"),
        intent("rework", operation="cool", reason="again"), intent("correct", value="95 °C", reason="misread"),
        intent("correct", value="35 °C", reason="misread"),
    ]
)  # fmt: skip


@given(st.lists(STEPS, min_size=4, max_size=16))
@settings(max_examples=examples(40), deadline=None)
def test_seal_goes_in_only_after_a_reading_that_shows_a_cold_casing(steps: list[dict[str, Any]]) -> None:
    """A waiver, a correction, a state that was found and rework together. The model has only the readings."""
    with TemporaryDirectory() as folder:
        script = pump(Path(folder), THERMOMETER % ", proves: casing", found="never")
        reading, last, done, doubted = "", 0, False, False
        in_progress: str | None = "cool"
        for each in steps:
            sent = {**each, "event": last} if each["intent"] == "correct" else each
            (reply,) = script.send(sent)
            if each == intent("start", operation="fit"):
                shown = done and reading == "35 °C" and not doubted and in_progress is None
                assert reply["ok"] is shown, (reply, steps)
            if not reply["ok"]:
                continue
            match each["intent"]:
                case "record" | "correct":
                    reading = each["value"]
                    last = next(e["seq"] for e in reply["events"] if e["kind"] in ("recorded", "corrected"))
                case "finish":
                    done = done or in_progress == "cool"
                    doubted = doubted and in_progress != "cool"
                    in_progress = None
                case "start":
                    in_progress = each["operation"]
                case "pause":
                    in_progress = None
                case "set-state":
                    doubted = True
                case "rework":
                    reading, done, in_progress = "", False, None
                case _:
                    pass
            if in_progress == "fit":
                return
