"""Remedies for values out of their limits: when a reading counts again, counts, stops, redo. All data is invented."""

from pathlib import Path

import pytest

from benchflow.session.history.event_text import event_text
from benchflow.session.history.log_titles import LogTitles
from benchflow.session.state.events import typed_event
from tests.driving.script import Script, intent, open_intent, procedure_with


def started(folder: Path, *operations: str, at: str = "one", head: str = "", **opened: object) -> Script:
    script = Script(folder, procedure_with(*operations, head=head))
    script.do_all(open_intent(**opened), intent("start", operation=at))
    return script


def one_value(folder: Path, keys: str, more: str = "") -> Script:
    return started(folder, f"{{id: one, title: One, record: {{gap: {{ask: Gap, unit: mm, {keys}}}}}{more}}}")


LIMIT = "limit: 0.10 .. 0.20 mm"
HIGH, LOW, OK = "0.30 mm", "0.01 mm", "0.15 mm"


def record(value: str, **fields: object) -> dict[str, object]:
    return intent("record", **{"name": "gap", "value": value, **fields})


REMEDY = intent("remedy", name="gap")
DEVIATION = intent("deviate", operation="one", about="gap", reason="Approved by the maker", by="Kim")


def codes_to_finish(script: Script) -> list[str]:
    return script.refused("finish")


# --- when a reading counts again -------------------------------------------------------------------


def test_reading_out_counts_again_only_after_the_remedy(tmp_path: Path) -> None:
    script = one_value(tmp_path, f"{LIMIT}, above: [{{do: Clean it and measure again}}]")
    script.do_all(record(HIGH))
    assert script.refused("record", name="gap", value=OK) == ["remedy-first"]
    assert codes_to_finish(script) == ["out-of-limit", "remedy-first"]
    script.do_all(REMEDY)
    assert codes_to_finish(script) == ["value-missing"]
    script.do_all(record(OK), intent("finish"))


def test_refusal_names_the_remedy_in_turn(tmp_path: Path) -> None:
    script = one_value(tmp_path, f"{LIMIT}, above: [{{do: Clean the faces, tries: 2}}, {{do: Grind it}}]")
    for expected in ("Clean the faces (try 1 of 2)", "Clean the faces (try 2 of 2)", "Grind it"):
        script.do_all(record(HIGH))
        (reply,) = script.send(record(OK))
        assert reply["refused"][0]["message"].endswith(f"{expected}.")
        script.do_all(REMEDY)


def test_reading_may_be_repeated_without_remedies_on_its_side(tmp_path: Path) -> None:
    script = one_value(tmp_path, f"{LIMIT}, above: [{{do: Grind it}}]")
    script.do_all(record(LOW), record(LOW), record(OK), intent("finish"))


def test_misread_entry_is_corrected_instead_of_remedied(tmp_path: Path) -> None:
    script = one_value(tmp_path, f"{LIMIT}, above: [{{do: Grind it}}]")
    (entry,) = script.do("record", name="gap", value=HIGH)
    script.do("correct", event=entry["seq"], value="0.31 mm", reason="misread")
    assert script.refused("record", name="gap", value=OK) == ["remedy-first"]
    script.do("correct", event=entry["seq"], value="0.13 mm", reason="misread twice")
    script.do("finish")


def test_reading_that_is_not_proven_may_be_read_again(tmp_path: Path) -> None:
    script = started(
        tmp_path,
        "{id: one, title: One, record: {gap: {ask: Gap, unit: mm, with: gauge, decision: guarded, "
        f"{LIMIT}, above: [{{do: Grind it}}]}}}}}}",
        head="instruments: {gauge: {title: Gauge, kind: length, uncertainty: at most 0.004 mm}}\n",
    )
    script.do_all(record("0.1999 mm"))
    assert codes_to_finish(script) == ["not-proven"]
    script.do_all(record(OK), intent("finish"))


def test_other_readings_and_checks_go_on(tmp_path: Path) -> None:
    script = one_value(tmp_path, f"readings: 2, {LIMIT}, above: [{{do: Grind it}}]", ", check: [clean]")
    script.do_all(record(HIGH), record(HIGH), intent("tick-check", check=1))
    assert script.refused("record", name="gap", value=OK, reading=1) == ["remedy-first"]
    script.do_all(intent("remedy", name="gap[1]"), record(OK, reading=1))
    assert script.refused("record", name="gap", value=OK, reading=2) == ["remedy-first"]


def test_reading_within_its_limit_may_be_repeated_while_another_is_held(tmp_path: Path) -> None:
    script = one_value(tmp_path, f"readings: 2, {LIMIT}, above: [{{do: Grind it}}]")
    script.do_all(record(HIGH), record(OK), record("0.16 mm", reading=2))


def test_readings_of_one_figure_are_held_together(tmp_path: Path) -> None:
    script = one_value(tmp_path, f"readings: 2, judge: mean, {LIMIT}, above: [{{do: Grind it}}]")
    script.do_all(record(HIGH), record(HIGH))
    for reading in (1, 2):
        assert script.refused("record", name="gap", value=OK, reading=reading) == ["remedy-first"]
    script.do_all(REMEDY)
    assert codes_to_finish(script) == ["value-missing"]
    script.do_all(record(OK), record(OK), intent("finish"))


CLEARANCE = (
    "{id: one, title: One, record: {bore: {ask: Bore, unit: mm}, journal: {ask: Journal, unit: mm}, "
    "gap: {ask: Gap, unit: mm}}, work-out: {clearance: {is: bore - journal, unit: mm, limit: 0.02 .. 0.05 mm, "
    "above: [{do: Fit thicker shells}, {do: Scrap it, stop: true}]}}}"
)


def measure_bearing(script: Script, bore: str) -> None:
    script.do_all(intent("record", name="bore", value=bore), intent("record", name="journal", value="52.00 mm"))


def test_calculated_value_holds_the_readings_that_it_is_calculated_from(tmp_path: Path) -> None:
    script = started(tmp_path, CLEARANCE)
    measure_bearing(script, "52.09 mm")
    script.do_all(record(OK), record(OK))
    for name in ("bore", "journal"):
        assert script.refused("record", name=name, value="52.03 mm") == ["remedy-first"]
    assert codes_to_finish(script) == ["out-of-limit", "remedy-first"]
    script.do("remedy", name="clearance")
    assert codes_to_finish(script) == ["value-missing", "value-missing", "value-missing"]
    measure_bearing(script, "52.09 mm")
    assert script.refused("record", name="bore", value="52.03 mm") == ["out-of-limit"]  # the second remedy is a stop
    assert script.refused("remedy", name="clearance") == ["not-allowed"]


# --- the end of the remedies -----------------------------------------------------------------------


@pytest.mark.parametrize("remedies", ["{do: Replace the block, stop: true}", "{do: Grind it}"])
def test_stop_and_the_end_of_all_tries_are_final(tmp_path: Path, remedies: str) -> None:
    script = one_value(tmp_path, f"{LIMIT}, above: [{remedies}]")
    if "stop" not in remedies:
        script.do_all(record(HIGH), REMEDY)
    script.do_all(record(HIGH))
    assert script.refused("record", name="gap", value=OK) == ["out-of-limit"]
    assert codes_to_finish(script) == ["out-of-limit"]
    assert script.refused("remedy", name="gap") == ["not-allowed"]
    script.do_all(DEVIATION, intent("finish"))


def test_correction_gets_past_a_stop(tmp_path: Path) -> None:
    script = one_value(tmp_path, f"{LIMIT}, above: [{{do: Replace the block, stop: true}}]")
    (entry,) = script.do("record", name="gap", value=HIGH)
    script.do("correct", event=entry["seq"], value="0.13 mm", reason="misread")
    script.do("finish")


SHOP = "shop: 1\npeople: {Ann: {roles: [builder]}, Ida: {roles: [inspector]}}\n"


@pytest.mark.parametrize("remedy", ["{do: Replace the block, stop: true}", "{do: Grind it}"])
def test_correction_past_a_remedy_needs_the_signature_of_a_deviation(tmp_path: Path, remedy: str) -> None:
    keys = f"limit: 0.10 .. 0.20 mm, waive: inspector, above: [{remedy}]"
    text = procedure_with(f"{{id: one, title: One, record: {{gap: {{ask: Gap, unit: mm, {keys}}}}}}}")
    script = Script(tmp_path, text, shop=SHOP)
    script.do_all(open_intent(by="Ann"), intent("start", operation="one"))
    (entry,) = script.do("record", name="gap", value=HIGH)
    correction = {"event": entry["seq"], "reason": "misread"}
    assert script.refused("correct", value="0.13 mm", by="Ann", **correction) == ["not-allowed"]
    script.do("correct", value="0.31 mm", by="Ann", **correction)
    script.do("correct", value="0.13 mm", by="Ida", **correction)
    script.do("finish")


def test_correction_of_another_operation_past_a_stop_needs_the_signature_too(tmp_path: Path) -> None:
    text = procedure_with(
        "{id: base, title: Base, record: {drag: {ask: Drag, unit: mm}}}",
        "{id: one, title: One, after: [base], record: {gap: {ask: Gap, unit: mm, limit: above drag by 0.1 .. 0.2 mm, "
        "waive: inspector, above: [{do: Scrap it, stop: true}]}}}",
    )
    script = Script(tmp_path, text, shop=SHOP)
    script.do_all(open_intent(by="Ann"), intent("start", operation="base"))
    (drag,) = script.do("record", name="drag", value="1 mm")
    script.do_all(intent("finish"), intent("start", operation="one"), record("2 mm"))
    correction = {"event": drag["seq"], "value": "1.85 mm", "reason": "misread"}
    assert script.refused("correct", by="Ann", **correction) == ["not-allowed"]
    script.do("correct", by="Ida", **correction)
    script.do("finish")


def test_rework_gets_past_a_stop(tmp_path: Path) -> None:
    script = one_value(tmp_path, f"{LIMIT}, above: [{{do: Replace the block, stop: true}}]", ", undo: {do: Off}")
    script.do_all(record(HIGH), intent("rework", operation="one", reason="another block"))
    script.do_all(intent("start", operation="one"), record(OK), intent("finish"))


def test_remedy_of_another_value_does_not_get_past_a_stop(tmp_path: Path) -> None:
    script = started(
        tmp_path,
        "{id: one, title: One, record: {gap: {ask: Gap, unit: mm, limit: at most 0.20 mm, above: [{do: Grind it}]}}, "
        "work-out: {twice: {is: 2 * gap, unit: mm, limit: at most 1 mm, above: [{do: Scrap it, stop: true}]}}}",
    )
    script.do_all(record("0.90 mm"))
    assert script.refused("remedy", name="gap") == ["not-allowed"]
    assert script.refused("record", name="gap", value=OK) == ["out-of-limit"]
    script.do_all(intent("deviate", operation="one", about="twice", reason="Approved by the maker"), REMEDY, record(OK))


def test_reading_is_remedied_before_the_value_calculated_from_it(tmp_path: Path) -> None:
    script = started(
        tmp_path,
        "{id: one, title: One, record: {gap: {ask: Gap, unit: mm, limit: at most 0.20 mm, above: [{do: Grind it}]}}, "
        "work-out: {twice: {is: 2 * gap, unit: mm, limit: at most 1 mm, above: [{do: Fit a shim}]}}}",
    )
    script.do_all(record("0.90 mm"))
    assert script.refused("remedy", name="twice") == ["remedy-first"]
    script.do_all(REMEDY, record(OK), intent("finish"))


# --- counts ----------------------------------------------------------------------------------------


def test_both_sides_count_their_tries_apart(tmp_path: Path) -> None:
    script = one_value(
        tmp_path, f"{LIMIT}, above: [{{do: Grind it}}, {{do: Scrap it, stop: true}}], below: [{{do: Fit a shim}}]"
    )
    script.do_all(record(HIGH), REMEDY, record(LOW), REMEDY, record(HIGH))
    assert script.refused("remedy", name="gap") == ["not-allowed"]


def test_readings_count_their_tries_apart(tmp_path: Path) -> None:
    script = one_value(tmp_path, f"readings: 2, {LIMIT}, above: [{{do: Grind it}}]")
    script.do_all(record(HIGH), record(OK), REMEDY, record(OK, reading=1))
    script.do_all(record(HIGH, reading=2), REMEDY, record(OK, reading=2), intent("finish"))


def test_remedy_without_redo_wipes_only_its_reading(tmp_path: Path) -> None:
    script = one_value(tmp_path, f"readings: 3, {LIMIT}, above: [{{do: Grind it}}]")
    script.do_all(record(HIGH), record(OK), record(HIGH))
    assert script.refused("remedy", name="gap") == ["value-missing"]  # it does not say which
    script.do_all(intent("remedy", name="gap", reading=3))
    (missing,) = script.query("why", operation="one")[:1]
    assert (missing["code"], "reading 3 of 3" in missing["message"]) == ("value-missing", True)
    script.do_all(REMEDY, record(OK), record(OK), intent("finish"))


def test_remedy_with_redo_serves_all_readings_out_on_its_side(tmp_path: Path) -> None:
    script = started(
        tmp_path,
        "{id: fit, title: Fit, undo: {do: Off}}",
        "{id: one, title: One, after: [fit], record: {gap: {ask: Gap, unit: mm, readings: 3, limit: 0.10 .. 0.20 mm, "
        "above: [{do: Fit it again, redo: [fit]}, {do: Scrap it, stop: true}]}}}",
        at="fit",
    )
    script.do_all(intent("finish"), intent("start", operation="one"), record(HIGH), record(OK))
    assert script.refused("remedy", name="gap") == ["value-missing"]  # the third reading is open
    script.do_all(record(HIGH))
    (event,) = script.do("remedy", name="gap")
    assert (event["data"]["readings"], event["data"]["void"]) == (["1", "3"], {"gap": ["1", "2", "3"]})
    script.do_all(intent("start", operation="fit"), intent("finish"), intent("start", operation="one"))
    script.do_all(record(OK), record(OK), record(HIGH))
    assert script.refused("remedy", name="gap") == ["not-allowed"]


def test_fresh_remedy_counts_the_tries_from_zero(tmp_path: Path) -> None:
    script = one_value(tmp_path, f"{LIMIT}, above: [{{do: Grind it}}, {{do: Fit a new one, fresh: true}}]")
    for _ in range(3):
        script.do_all(record(HIGH), REMEDY, record(HIGH), REMEDY)
    assert [line["data"]["do"] for line in script.log() if line["kind"] == "remedied"] == [
        "Grind it",
        "Fit a new one",
    ] * 3


def test_tries_are_kept_when_the_operation_is_reworked(tmp_path: Path) -> None:
    script = one_value(tmp_path, f"{LIMIT}, above: [{{do: Grind it}}]", ", undo: {do: Off}")
    script.do_all(record(HIGH), REMEDY, intent("rework", operation="one", reason="dirt"))
    script.do_all(intent("start", operation="one"), record(HIGH))
    assert script.refused("remedy", name="gap") == ["not-allowed"]


def test_remedy_names_a_reading_as_a_formula_does(tmp_path: Path) -> None:
    script = started(
        tmp_path,
        "{id: one, title: One, each: bank, record: {gap: {ask: Gap, unit: mm, readings: 2, limit: 0.10 .. 0.20 mm, "
        "above: [{do: Grind it}]}}}",
        at="one[left]",
        head="places: {bank: [left, right]}\n",
    )
    script.do_all(record(HIGH), record(HIGH))
    assert script.refused("remedy", name="gap[right, 2]") == ["unknown-name"]
    (event,) = script.do("remedy", name="gap[left, 2]")
    assert event["data"]["readings"] == ["2"]
    script.do_all(record(OK), intent("remedy", name="gap", reading=1, place="left"), record(OK), intent("finish"))


# --- redo ------------------------------------------------------------------------------------------

SELF = (
    "{id: one, title: One, uses: [gasket, oil], check: [clean], undo: {do: Off, discard: [gasket]}, "
    "record: {gap: {ask: Gap, unit: mm, limit: 0.10 .. 0.20 mm, above: [{do: Do it all again, redo: [one]}]}, "
    "other: {ask: Other, unit: mm}}}"
)
KIT = "kit: {parts: {gasket: {title: Gasket, lot: required}}, consumables: {oil: {title: Oil, lot: required}}}\n"


def test_redo_of_its_own_operation_clears_it_and_it_stays_in_progress(tmp_path: Path) -> None:
    script = started(tmp_path, SELF, head=KIT)
    script.do_all(intent("lot", consumable="gasket", lot="7"), intent("lot", consumable="oil", lot="8"))
    script.do_all(intent("tick-check", check=1), intent("record", name="other", value="1 mm"), record(HIGH), REMEDY)
    status = script.query("status")
    assert status["in_progress"] == "one"
    assert [(each["code"], each["name"]) for each in status["missing"]] == [
        ("value-missing", "gap"),
        ("value-missing", "other"),
        ("value-missing", "gasket"),
        ("check-open", "1"),
    ]
    script.do_all(record(HIGH))
    assert script.refused("remedy", name="gap") == ["not-allowed"]  # its only try is used up


PUMP = "state: {piston: {values: [up, down], start: down}}\n" + (
    "moves: {turn-up: {title: Turn up, sets: {piston: up}}, turn-down: {title: Turn down, sets: {piston: down}}}\n"
)
FIT = "{id: fit, title: Fit, undo: {do: Off, needs: {piston: down}}}"
MEASURE = (
    "{id: one, title: One, after: [fit], needs: {piston: up}, record: {gap: {ask: Gap, unit: mm, "
    "limit: 0.10 .. 0.20 mm, above: [{do: Fit it again, redo: [fit], tries: 2}]}}}"
)


def test_remedy_is_accepted_before_the_move_that_undoing_needs(tmp_path: Path) -> None:
    script = started(tmp_path, FIT, MEASURE, at="fit", head=PUMP)
    script.do_all(intent("finish"), intent("move", move="turn-up"), intent("start", operation="one"), record(HIGH))
    script.do_all(REMEDY)
    assert script.refused("start", operation="fit") == ["state-not-met"]
    assert script.query("route", operation="fit") == ["turn-down", "fit"]
    events = script.do("move", move="turn-down")
    assert [(event["kind"], event["data"].get("operation")) for event in events] == [("moved", None), ("undone", "fit")]
    script.do_all(intent("start", operation="fit"), intent("finish"), intent("move", move="turn-up"))
    script.do_all(intent("start", operation="one"), record(OK), intent("finish"))


def test_remedy_is_accepted_before_the_move_that_a_rule_needs(tmp_path: Path) -> None:
    head = (PUMP + "interference: [{never: {piston: up, valve: open}, because: they meet}]\n").replace(
        "state: {", "state: {valve: {values: [open, closed], start: open}, "
    )
    script = started(
        tmp_path,
        "{id: fit, title: Fit, sets: {valve: closed}, undo: {do: Off}}",
        MEASURE,
        at="fit",
        head=head,
    )
    script.do_all(intent("finish"), intent("move", move="turn-up"), intent("start", operation="one"), record(HIGH))
    script.do_all(REMEDY)
    assert script.query("status")["state"] == {"valve": "closed", "piston": "up"}
    assert script.refused("start", operation="fit") == ["interference"]
    assert script.query("route", operation="fit") == ["turn-down", "fit"]
    script.do_all(intent("move", move="turn-down"))
    assert script.query("status")["state"] == {"valve": "open", "piston": "down"}
    script.do_all(intent("start", operation="fit"), intent("finish"))


def test_temporary_setting_does_not_survive_a_remedy_that_goes_back_past_it(tmp_path: Path) -> None:
    script = started(
        tmp_path,
        "{id: fit, title: Fit, undo: {do: Off}}",
        "{id: set, title: Set, temporary: {restored-by: restore}, undo: {do: Unset}}",
        MEASURE.replace("needs: {piston: up}, ", ""),
        "{id: restore, title: Restore, after: [one]}",
        at="fit",
    )
    script.do_all(intent("finish"), intent("start", operation="set"), intent("finish"))
    script.do_all(intent("start", operation="one"), record(HIGH), REMEDY)
    assert script.query("status")["done"] == []


def test_paused_operation_that_depends_on_redone_work_is_cleared(tmp_path: Path) -> None:
    script = started(
        tmp_path,
        "{id: fit, title: Fit, undo: {do: Off}}",
        "{id: other, title: Other, after: [fit], record: {other: {ask: Other, unit: mm}}}",
        MEASURE.replace("needs: {piston: up}, ", ""),
        at="fit",
    )
    script.do_all(intent("finish"), intent("start", operation="other"), intent("record", name="other", value="1 mm"))
    script.do_all(intent("pause"), intent("start", operation="one"), record(HIGH), REMEDY)
    script.do_all(intent("start", operation="fit"), intent("finish"), intent("start", operation="other"))
    assert codes_to_finish(script) == ["value-missing"]


# --- used parts ------------------------------------------------------------------------------------

USED = "limit: 0.10 .. 0.28 mm, used: at most 0.40 mm, above: [{do: Fit a washer, tries: 3}]"


def test_same_value_with_used_is_not_another_reading(tmp_path: Path) -> None:
    script = one_value(tmp_path, USED)
    (first,) = script.do("record", name="gap", value="0.35 mm")
    (event,) = script.do("record", name="gap", value="0.350 mm", used=True)
    assert (event["data"]["claims"], event["data"]["verdict"]) == (first["seq"], "ok")
    script.do("finish")


def test_other_value_with_used_is_another_reading(tmp_path: Path) -> None:
    script = one_value(tmp_path, USED)
    script.do_all(record("0.35 mm"))
    assert script.refused("record", name="gap", value="0.34 mm", used=True) == ["remedy-first"]


def test_used_does_not_outlive_a_remedy(tmp_path: Path) -> None:
    script = one_value(tmp_path, USED)
    script.do_all(record("0.45 mm", used=True), REMEDY, record("0.35 mm"))
    assert codes_to_finish(script) == ["out-of-limit", "remedy-first"]


def test_correction_of_a_used_reading_is_judged_as_used(tmp_path: Path) -> None:
    script = one_value(tmp_path, USED)
    (first,) = script.do("record", name="gap", value="0.45 mm")
    script.do_all(record("0.45 mm", used=True))
    (event,) = script.do("correct", event=first["seq"], value="0.35 mm", reason="misread")
    assert event["data"]["verdict"] == "ok"
    script.do("finish")


@pytest.mark.parametrize(("rods", "codes"), [("old", []), ("new", ["out-of-limit"])])
def test_option_says_whether_the_part_is_used(tmp_path: Path, rods: str, codes: list[str]) -> None:
    script = started(
        tmp_path,
        "{id: one, title: One, record: {gap: {ask: Gap, unit: mm, limit: 0.10 .. 0.28 mm, "
        "used: {limit: at most 0.40 mm, when: {rods: old}}}}}",
        head="options: {rods: {ask: Which rods?, choices: [old, new]}}\n",
        options={"rods": rods},
    )
    assert script.refused("record", name="gap", value="0.35 mm", used=rods == "new") == ["not-allowed"]
    (event,) = script.do("record", name="gap", value="0.35 mm")
    assert event["data"].get("used", False) == (rods == "old")
    if codes:
        assert codes_to_finish(script) == codes
    else:
        script.do("finish")


# --- corrections -----------------------------------------------------------------------------------


def test_correction_of_an_earlier_attempt_leaves_the_last_one_in_force(tmp_path: Path) -> None:
    script = one_value(tmp_path, LIMIT)
    (first,) = script.do("record", name="gap", value=OK)
    script.do_all(record(HIGH))
    script.do("correct", event=first["seq"], value="0.16 mm", reason="misread")
    assert codes_to_finish(script) == ["out-of-limit"]


# --- parts that are thrown away --------------------------------------------------------------------

GASKET = "kit: {parts: {gasket: {title: Gasket, lot: required, discard: true}}}\n"


def build_joint(script: Script, *places: str) -> None:
    for place in places or ("",):
        script.do_all(intent("start", operation=f"prepare{place}"), intent("lot", consumable="gasket", lot="7"))
        script.do_all(intent("finish"), intent("start", operation=f"tighten{place}"), intent("finish"))


@pytest.mark.parametrize("undo", [", undo: {do: Take it out}", ""])
def test_rework_that_throws_a_part_away_reopens_the_operation_of_its_lot(tmp_path: Path, undo: str) -> None:
    text = procedure_with(
        f"{{id: prepare, title: Prepare, uses: [gasket]{undo}}}",
        "{id: tighten, title: Tighten, after: [prepare], undo: {do: Loosen, discard: [gasket]}}",
        head=GASKET,
    )
    script = Script(tmp_path, text)
    script.do_all(open_intent())
    build_joint(script)
    assert script.query("rework-plan", operation="tighten")["redo"] == ["prepare", "tighten"]
    script.do_all(intent("rework", operation="tighten", reason="leaks"))
    assert script.query("status")["done"] == []
    script.do("start", operation="prepare")
    assert codes_to_finish(script) == ["value-missing"]


def test_rework_reopens_only_the_operation_of_the_same_place(tmp_path: Path) -> None:
    text = procedure_with(
        "{id: prepare, title: Prepare, each: side, uses: [gasket], undo: {do: Take it out}}",
        "{id: tighten, title: Tighten, each: side, after: [prepare], undo: {do: Loosen, discard: [gasket]}}",
        head=GASKET + "places: {side: [left, right]}\n",
    )
    script = Script(tmp_path, text)
    script.do_all(open_intent())
    build_joint(script, "[left]", "[right]")
    script.do_all(intent("rework", operation="tighten[left]", reason="leaks"))
    assert script.query("status")["done"] == ["prepare[right]", "tighten[right]"]


def test_remedy_that_throws_a_part_away_reopens_the_operation_of_its_lot(tmp_path: Path) -> None:
    text = procedure_with(
        "{id: prepare, title: Prepare, uses: [gasket], undo: {do: Take it out}}",
        "{id: tighten, title: Tighten, after: [prepare], undo: {do: Loosen, discard: [gasket]}}",
        "{id: one, title: One, after: [tighten], record: {gap: {ask: Gap, unit: mm, limit: 0.10 .. 0.20 mm, "
        "above: [{do: Open it again, redo: [tighten]}]}}}",
        head=GASKET,
    )
    script = Script(tmp_path, text)
    script.do_all(open_intent())
    build_joint(script)
    script.do_all(intent("start", operation="one"), record(HIGH), REMEDY)
    assert script.query("status")["done"] == []


def test_only_the_next_move_of_a_rework_is_accepted(tmp_path: Path) -> None:
    script = started(
        tmp_path,
        "{id: fit, title: Fit, undo: {do: Off, needs: {piston: down}}}",
        at="fit",
        head=PUMP.replace("turn-up: {", "rock: {title: Rock, sets: {piston: down}}, turn-up: {"),
    )
    script.do_all(intent("finish"), intent("move", move="turn-up"))
    script.do_all(intent("rework", operation="fit", reason="leaks", walk=True))
    first = script.query("status")["rework"]["steps"][0]["move"]
    other = "rock" if first == "turn-down" else "turn-down"
    assert script.refused("move", move=other) == ["not-allowed"]
    script.do_all(intent("move", move=first))
    assert script.refused("move", move="turn-up") == ["not-allowed"]
    script.do_all(intent("rework-step"), intent("move", move="turn-up"))


def test_history_tells_remedies_and_statements_about_used_parts(tmp_path: Path) -> None:
    script = one_value(tmp_path, f"readings: 2, {USED}")
    script.do_all(record("0.45 mm"), record("0.45 mm", reading=1, used=True), intent("remedy", name="gap[1]"))
    events = [typed_event(line["kind"], line["data"]) for line in script.log()]
    texts = [event_text(event, LogTitles(None)) for event in events if event is not None]
    assert any("not read again: used part" in text for text in texts)
    assert texts[-1] == "gap, reading 1, too high. Remedy done: Fit a washer"
