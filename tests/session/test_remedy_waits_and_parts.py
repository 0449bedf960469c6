"""Remedies with a wait (`too-early` before it is over) and with parts whose lots are asked for. Data is invented."""

from datetime import UTC
from pathlib import Path

import pytest

from benchflow.procedure.reader import read as read_text
from benchflow.review.log.loaded_log import load_log
from benchflow.review.sheets.build_sheet import build_sheet
from benchflow.review.sheets.build_sheet_markdown import build_sheet_markdown
from benchflow.session.history.history import history_text, plan_from_log
from benchflow.session.log.line_format import read
from benchflow.session.log.timestamps import clock_time_after
from tests.driving.clocked_job import ClockedJob
from tests.driving.script import Json, Script, intent, open_intent, procedure_with
from tests.driving.session_driver import read_procedure

WAIT = "above: [{do: Hone it, wait: 15 min, tries: 3}]"


def measuring(folder: Path, value: str, more: str = "", *before: str, head: str = "") -> ClockedJob:
    one = f"{{id: one, title: One, record: {{gap: {{ask: Gap, unit: mm, limit: at most 0.20 mm, {value}}}}}{more}}}"
    job = ClockedJob(folder, procedure_with(*before, one, head=head))
    if before:
        job.do_all(intent("start", operation="fit"), intent("finish"))
    job.do("start", operation="one")
    return job


def record(value: str, **fields: object) -> Json:
    return intent("record", **{"name": "gap", "value": value, **fields})


REMEDY = intent("remedy", name="gap")

# --- the wait -----------------------------------------------------------------------------------------


def test_reading_is_held_back_until_the_wait_is_over(tmp_path: Path) -> None:
    job = measuring(tmp_path, WAIT)
    job.do_all(record("0.30 mm"), REMEDY)
    assert job.refused("record", name="gap", value="0.1 mm") == {"too-early"}
    assert job.refused("finish") == {"value-missing"}
    job.wait(14.99)
    assert job.refused("record", name="gap", value="0.1 mm") == {"too-early"}
    job.wait(0.01)
    job.do_all(record("0.1 mm"), intent("finish"))
    job.audited()


def test_wait_begins_with_the_remedy_and_again_with_the_next(tmp_path: Path) -> None:
    job = measuring(tmp_path, WAIT).wait(60)
    job.do_all(record("0.30 mm"))
    job.wait(60).do_all(REMEDY)
    assert job.refused("record", name="gap", value="0.1 mm") == {"too-early"}
    job.wait(15).do_all(record("0.30 mm"), REMEDY)
    job.wait(14)
    assert job.refused("record", name="gap", value="0.1 mm") == {"too-early"}


def test_other_entries_go_on_during_the_wait(tmp_path: Path) -> None:
    job = measuring(tmp_path, f"readings: 2, {WAIT}", ", check: [clean]")
    job.do_all(record("0.30 mm"), REMEDY, record("0.1 mm", reading=2), intent("tick-check", check=1))
    assert job.refused("record", name="gap", value="0.1 mm", reading=1) == {"too-early"}
    job.wait(15).do_all(record("0.1 mm", reading=1), intent("finish"))
    job.audited()


def test_fastener_is_held_back(tmp_path: Path) -> None:
    head = "joints: {studs: {title: Studs, layout: '1 2'}}\n"
    stage = "{torque: 100 N·m, below: [{do: Oil it, wait: 10 min}]}"
    pull = f"{{id: pull, title: Pull, tighten: {{joint: studs, stages: [{stage}]}}}}"
    job = ClockedJob(tmp_path, procedure_with(pull, head=head))
    tick = {"joint": "studs", "fastener": 1}
    job.do_all(
        intent("start", operation="pull"), intent("tick", value="50 N·m", **tick), intent("remedy", name="studs")
    )
    assert job.refused("tick", value="100 N·m", **tick) == {"too-early"}
    job.wait(10).do_all(intent("tick", value="100 N·m", **tick), intent("tick", joint="studs", fastener=2))
    job.do("finish")
    job.audited()


def test_check_is_held_back(tmp_path: Path) -> None:
    check = "check: [{see: It is cold, id: cold, if not: [{do: Let it cool, wait: 20 min, tries: 3}]}]"
    job = ClockedJob(tmp_path, procedure_with(f"{{id: one, title: One, {check}}}"))
    job.do_all(intent("start", operation="one"), intent("tick-check", check=1, answer="no"))
    job.do("remedy", name="cold")
    assert job.refused("tick-check", check=1) == {"too-early"}
    assert job.refused("tick-check", check=1, answer="no") == {"too-early"}
    job.wait(20).do_all(intent("tick-check", check=1), intent("finish"))
    job.audited()


def test_bench_counts_down(tmp_path: Path) -> None:
    job = measuring(tmp_path, WAIT)
    job.do_all(record("0.30 mm"), REMEDY)
    (clock,) = job.wait(5).status()["clocks"]
    assert (clock["phase"], clock["seconds"], clock["since"], clock["remedy"]) == ("wait", 600.0, "Hone it", True)
    end = clock_time_after("2026-03-01T18:15:00.000Z", 0)  # local, ten minutes from now
    assert clock["until"] == end
    assert clock["advice"] == f"Wait 10:00 min more, until {end}. Then go on with gap."
    assert job.wait(10).status()["clocks"] == []


def test_wait_survives_a_kill_a_restart_and_a_clock_that_is_set(tmp_path: Path) -> None:
    job = measuring(tmp_path, WAIT)
    job.do_all(record("0.30 mm"), REMEDY)
    job.restart().set_clock(60)
    assert job.refused("record", name="gap", value="0.1 mm") == {"too-early"}, "the boot clock decides"
    job.set_clock(-60).wait(10).reboot(off=4)
    assert job.refused("record", name="gap", value="0.1 mm") == {"too-early"}
    job.wait(1).do_all(record("0.1 mm"), intent("finish"))
    job.audited()


def test_wait_is_not_over_while_the_clocks_contradict_each_other(tmp_path: Path) -> None:
    job = measuring(tmp_path, WAIT)
    job.do_all(record("0.30 mm"), REMEDY)
    job.wait(10).do("note", text="still here")
    job.reboot(off=1, clock_set=-300).wait(60)
    assert job.refused("record", name="gap", value="0.1 mm") == {"too-early"}
    (clock,) = job.status()["clocks"]
    assert (clock["known"], clock["seconds"]) == (False, None)
    job.set_clock(300).do_all(record("0.1 mm"), intent("finish"))
    job.audited()


UNDO = ", undo: {do: Take it off}"


def test_rework_and_redo_do_not_shorten_the_wait(tmp_path: Path) -> None:
    job = measuring(tmp_path, "above: [{do: Begin again, wait: 15 min, redo: [one]}]", UNDO)
    job.do_all(record("0.30 mm"), REMEDY)
    assert job.refused("record", name="gap", value="0.1 mm") == {"too-early"}
    job.do_all(intent("rework", operation="one", reason="impatient"), intent("start", operation="one"))
    assert job.refused("record", name="gap", value="0.1 mm") == {"too-early"}
    job.wait(15).do("record", name="gap", value="0.1 mm")
    job.audited()


def test_wait_with_redo_counts_from_the_remedy(tmp_path: Path) -> None:
    fit = "{id: fit, title: Fit, undo: {do: Off}}"
    job = measuring(tmp_path, "above: [{do: Again, wait: 15 min, redo: [fit]}]", ", after: [fit]", fit)
    job.do_all(record("0.30 mm"), REMEDY)
    job.wait(10).do_all(intent("start", operation="fit"), intent("finish"), intent("start", operation="one"))
    assert job.refused("record", name="gap", value="0.1 mm") == {"too-early"}
    job.wait(5).do("record", name="gap", value="0.1 mm")


CALCULATED = (
    "{id: fit, title: Fit, record: {bore: {ask: Bore, unit: mm}}, undo: {do: Off}}",
    "{id: one, title: One, after: [fit], work-out: {gap: {is: bore - 50 mm, unit: mm, limit: at most 0.2 mm, "
    "above: [{do: Sleeve it, wait: 15 min, redo: [fit]}]}}}",
)


def test_wait_of_a_calculated_value_holds_the_reading_that_is_redone(tmp_path: Path) -> None:
    job = ClockedJob(tmp_path, procedure_with(*CALCULATED))
    bore = intent("record", name="bore", value="50.5 mm")
    job.do_all(intent("start", operation="fit"), bore, intent("finish"), intent("start", operation="one"), REMEDY)
    job.do("start", operation="fit")
    assert job.refused("record", name="bore", value="50.1 mm") == {"too-early"}
    job.wait(15).do_all(intent("record", name="bore", value="50.1 mm"), intent("finish"))
    job.do_all(intent("start", operation="one"), intent("finish"))
    job.audited()


def test_wait_of_a_calculated_value_without_readings_to_take_holds_the_finish(tmp_path: Path) -> None:
    text = procedure_with(CALCULATED[0], CALCULATED[1].replace(", redo: [fit]", ""))
    job = ClockedJob(tmp_path, text)
    bore = intent("record", name="bore", value="50.5 mm")
    job.do_all(intent("start", operation="fit"), bore, intent("finish"), intent("start", operation="one"), REMEDY)
    job.do("correct", event=3, value="50.1 mm", reason="misread")
    assert job.refused("finish") == {"too-early"}
    job.wait(15).do("finish")


# --- the parts ----------------------------------------------------------------------------------------

KIT = "kit: {parts: {sleeve: {title: Sleeve}, gasket: {title: Gasket, lot: required, discard: true}}}\n"
SLEEVE = "above: [{do: Press in a sleeve, uses: [sleeve], tries: 5}]"


def sleeving(folder: Path, value: str = SLEEVE, more: str = "") -> Script:
    one = f"{{id: one, title: One, record: {{gap: {{ask: Gap, unit: mm, limit: at most 0.20 mm, {value}}}}}{more}}}"
    script = Script(folder, procedure_with(one, head=KIT))
    script.do_all(open_intent(), intent("start", operation="one"))
    return script


def test_lot_of_the_part_is_asked_for_after_the_remedy(tmp_path: Path) -> None:
    script = sleeving(tmp_path)
    assert script.refused("lot", consumable="sleeve", lot="S1") == ["unknown-name"]
    script.do_all(record("0.30 mm"), REMEDY, record("0.1 mm"))
    (reply,) = script.send(intent("finish"))
    assert [(each["code"], each["name"]) for each in reply["refused"]] == [("value-missing", "sleeve")]
    assert "The lot of Sleeve (for Gap) is not entered yet" in reply["refused"][0]["message"]
    (event,) = script.do("lot", consumable="sleeve", lot="S1")
    assert event["data"] | {"lot": "S1", "subject": "gap"} == event["data"]
    script.do("finish")
    script.audited()


def test_no_lot_is_asked_for_without_the_remedy(tmp_path: Path) -> None:
    script = sleeving(tmp_path)
    script.do_all(record("0.1 mm"), intent("finish"))


def test_each_part_fitted_has_its_lot(tmp_path: Path) -> None:
    script = sleeving(tmp_path, f"readings: 2, {SLEEVE}")
    script.do_all(record("0.30 mm"), record("0.40 mm"), intent("remedy", name="gap[1]"))
    assert script.refused("remedy", name="gap[2]") == ["value-missing"], "the lot of the first sleeve is open"
    script.do_all(intent("lot", consumable="sleeve", lot="S1"), intent("remedy", name="gap[2]"))
    script.do_all(
        intent("lot", consumable="sleeve", lot="S2"), record("0.1 mm", reading=1), record("0.1 mm", reading=2)
    )
    (wrong,) = script.do("lot", consumable="sleeve for gap[1]", lot="S11")
    script.do_all(intent("correct", event=wrong["seq"], value="S12", reason="misread"), intent("finish"))
    script.audited()
    log = load_log(script.path, read_procedure)
    lots = {(lot.consumable, lot.lot) for lot in log.facts.lots if lot.in_force}
    assert lots == {("sleeve", "S12"), ("sleeve", "S2")}
    sheet = build_sheet_markdown(build_sheet(log))
    assert "S12" in sheet
    assert "S2" in sheet
    assert "Press in a sleeve (Sleeve)" in sheet


def test_part_fitted_twice_at_the_same_place_has_the_last_lot(tmp_path: Path) -> None:
    script = sleeving(tmp_path)
    for lot in ("S1", "S2"):
        script.do_all(record("0.30 mm"), REMEDY, intent("lot", consumable="sleeve", lot=lot))
    script.do_all(record("0.1 mm"), intent("finish"))
    log = load_log(script.path, read_procedure)
    assert [lot.lot for lot in log.facts.lots if lot.in_force] == ["S2"]


def test_part_that_the_operation_uses_is_asked_for_again(tmp_path: Path) -> None:
    script = sleeving(
        tmp_path, "above: [{do: Fit another gasket, uses: [gasket], redo: [one]}]", f", uses: [gasket]{UNDO}"
    )
    script.do_all(intent("lot", consumable="gasket", lot="G1"), record("0.30 mm"), REMEDY, record("0.1 mm"))
    assert script.refused("finish") == ["value-missing"]
    script.do_all(intent("lot", consumable="gasket", lot="G2"), intent("finish"))
    script.audited()


def test_part_stays_when_the_operation_is_reworked(tmp_path: Path) -> None:
    script = sleeving(tmp_path, more=UNDO)
    script.do_all(record("0.30 mm"), REMEDY, intent("rework", operation="one", reason="dirt"))
    script.do_all(intent("start", operation="one"), record("0.1 mm"))
    assert script.refused("finish") == ["value-missing"]
    script.do_all(intent("lot", consumable="sleeve", lot="S1"), intent("finish"))
    script.do_all(intent("rework", operation="one", reason="dirt"), intent("start", operation="one"), record("0.1 mm"))
    script.do("finish")
    log = load_log(script.path, read_procedure)
    assert [lot.lot for lot in log.facts.lots if lot.in_force] == ["S1"]


def test_part_of_a_fastener_and_of_a_check(tmp_path: Path) -> None:
    head = f"{KIT}joints: {{studs: {{title: Studs, layout: '1 2'}}}}\n"
    stage = "{torque: 100 N·m, below: [{do: Fit an insert, uses: [sleeve]}]}"
    check = "check: [{see: It is tight, if not: [{do: Replace the gasket, uses: [gasket]}]}]"
    pull = f"{{id: pull, title: Pull, tighten: {{joint: studs, stages: [{stage}]}}, {check}}}"
    script = Script(tmp_path, procedure_with(pull, head=head))
    tick = {"joint": "studs", "fastener": 2}
    script.do_all(open_intent(), intent("start", operation="pull"), intent("tick", joint="studs", fastener=1))
    script.do_all(intent("tick", value="50 N·m", **tick), intent("remedy", name="studs"))
    script.do_all(intent("tick", value="100 N·m", **tick), intent("tick-check", check=1, answer="no"))
    script.do_all(intent("remedy", name="check 1"), intent("tick-check", check=1))
    assert script.refused("finish") == ["value-missing", "value-missing"]
    lots = [intent("lot", consumable="sleeve", lot="S1"), intent("lot", consumable="gasket", lot="G1")]
    script.do_all(*lots, intent("finish"))
    lines = list(read(script.path.read_bytes()).lines)
    text = " ".join("\n".join(history_text(lines, plan_from_log(lines, read_procedure), zone=UTC, damage=None)).split())
    assert "Sleeve for studs[2]: lot S1" in text
    assert "Gasket for check 1: lot G1" in text
    script.audited()


# --- the file -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("remedy", "code"),
    [
        ("{do: Hone it, wait: 0 min}", "bad-quantity"),
        ("{do: Hone it, wait: 15 mm}", "wrong-dimension"),
        ("{do: Hone it, uses: [slevee]}", "unknown-name"),
    ],
)
def test_bad_wait_and_unknown_part_are_reported(remedy: str, code: str) -> None:
    one = f"{{id: one, title: One, record: {{gap: {{ask: Gap, unit: mm, limit: at most 1 mm, above: [{remedy}]}}}}}}"
    assert [problem.code for problem in read_text(procedure_with(one, head=KIT)).problems] == [code]


# --- a reading that the remedy depends on ----------------------------------------------------------------


def test_remedy_is_refused_while_a_reading_that_it_depends_on_is_open(tmp_path: Path) -> None:
    values = (
        "record: {base: {ask: Base, unit: mm}, gap: {ask: Gap, unit: mm, limit: above base by 0.1 .. 0.2 mm, "
        "above: [{do: Grind it}]}}, work-out: {play: {is: base + gap, unit: mm, limit: at most 1 mm, "
        "above: [{do: Fit a shim}]}}"
    )
    script = Script(tmp_path, procedure_with(f"{{id: one, title: One, {values}}}"))
    script.do_all(open_intent(), intent("start", operation="one"), record("5 mm"))
    assert script.refused("remedy", name="gap") == ["value-missing"]
    assert script.refused("remedy", name="play") == ["value-missing"]
    script.do_all(intent("record", name="base", value="1 mm"), intent("remedy", name="gap"))
