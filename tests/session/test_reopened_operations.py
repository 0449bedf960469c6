"""A correction that puts a value of a finished operation out of its limit reopens that operation.

All data is invented.
"""

from pathlib import Path
from typing import Any

import pytest

from benchflow.review.audit.audit_file import audit_file
from benchflow.review.log.loaded_log import load_log
from benchflow.review.log.replay import Replay
from benchflow.review.sheets.build_sheet import build_sheet
from benchflow.review.sheets.build_sheet_markdown import build_sheet_markdown
from benchflow.session.catalog import summarize_log
from benchflow.session.refusal import Refusal
from benchflow.session.rules.rework_plans import rework_plan
from benchflow.session.state.fold import replay
from benchflow.session.state.state import State
from benchflow.session.view.bench_view import BenchView, OperationRow
from benchflow.session.view.build import ENTRY_KINDS, view_after_entries
from tests.driving.clocked_job import ClockedJob
from tests.driving.forged_log import ForgedLog
from tests.driving.script import procedure_with, read_procedure
from tests.driving.session_driver import Intent

GAP = "record: {gap: {ask: Gap, unit: mm, limit: 0.10 .. 0.20 mm%s}}"
MEASURE = f"{{id: measure, title: Measure, {GAP % ''}%s}}"
COVER = "{id: cover, title: Cover, after: [measure], undo: {do: Off}}"
PAINT = "{id: paint, title: Paint}"


def job_of(folder: Path, *operations: str, head: str = "") -> ClockedJob:
    return ClockedJob(folder, procedure_with(*operations, head=head))


def measured(folder: Path, *operations: str, further: str = "") -> ClockedJob:
    """A job whose gap is measured as 0.15 mm."""
    job = job_of(folder, MEASURE % further, *operations)
    enter(job, "measure", gap="0.15 mm")
    return job


def enter(job: ClockedJob, operation: str, **values: str) -> None:
    """Start an operation, record these values, and finish it."""
    job.do("start", operation=operation)
    job.do_all(*({"intent": "record", "name": name, "value": value} for name, value in values.items()))
    job.do("finish")


def reading(job: ClockedJob, operation: str = "measure", name: str = "gap", slot: str = "1") -> int:
    """The line of the last entry of a reading."""
    return job.driver.state.work(operation).readings[name][slot][-1].seq


def correct(job: ClockedJob, value: str, event: int | None = None) -> None:
    job.do("correct", event=reading(job) if event is None else event, value=value, reason="misread")


def view(job: ClockedJob) -> BenchView:
    return job.driver.controller.view()


def row(job: ClockedJob, operation: str = "measure") -> OperationRow:
    return next(each for each in view(job).operations if each.operation == operation)


def message(job: ClockedJob, **fields: Any) -> str:
    answer = job.driver.answer(fields)
    assert isinstance(answer, Refusal)
    return " ".join(reason.message for reason in answer.refused)


def whole(job: ClockedJob) -> None:
    """Assert that the audit finds nothing wrong, and that a replay gives the same state."""
    job.audited()
    state: State = job.driver.state
    assert replay(job.driver.controller.journal.lines, read_procedure) == state


# --- it is not done, and comes first -----------------------------------------------------------------


def test_correction_out_of_the_limit_reopens_the_operation(tmp_path: Path) -> None:
    job = measured(tmp_path, COVER, PAINT)
    assert (row(job).status, view(job).done) == ("done", 1)
    correct(job, "0.25 mm")
    expected = "Gap: 0.25 mm HIGH, limit 0.10 .. 0.20 mm. Start step 1 again and put it right, or sign a deviation."
    assert (row(job).status, row(job).reason) == ("reopened", expected)
    shown = view(job)
    assert (shown.done, shown.finished) == (0, False)
    assert shown.now is not None
    assert (shown.now.operation, shown.now.reopened, shown.now.done, shown.now.missing) == ("measure", True, False, ())
    status = job.status()
    assert (status["done"], status["available"]) == ([], ["measure", "paint"])
    assert [reason["message"] for reason in status["reopened"]["measure"]] == [expected]
    assert [reason["message"] for reason in status["blocked"]["cover"]] == [expected]
    (why,) = job.driver.send({"intent": "why", "operation": "measure"})["why"]
    assert why["message"] == expected
    whole(job)


def test_reopened_operation_blocks_what_comes_after_it_and_nothing_else(tmp_path: Path) -> None:
    job = measured(tmp_path, COVER, "{id: seal, title: Seal, after: [cover]}", PAINT)
    job.driver.work("cover")
    correct(job, "0.25 mm")
    assert job.refused("start", operation="seal") == {"out-of-limit"}
    assert row(job, "cover").status == "done"
    job.driver.work("paint")
    assert job.refused("close", unfinished="no time") == {"out-of-limit"}


def test_all_done_but_one_reopened_is_not_finished(tmp_path: Path) -> None:
    job = measured(tmp_path)
    assert view(job).finished
    correct(job, "0.25 mm")
    assert not view(job).finished
    assert view(job).now is not None
    assert job.refused("close") == {"out-of-limit"}


def test_operation_that_is_done_is_shown_as_done(tmp_path: Path) -> None:
    job = measured(tmp_path, PAINT)
    correct(job, "0.16 mm")
    assert (row(job).status, view(job).done) == ("done", 1)
    assert job.refused("start", operation="measure") == {"already-done"}


def test_open_window_keeps_its_place_before_what_is_reopened(tmp_path: Path) -> None:
    job = measured(tmp_path, "{id: glue, title: Glue}", "{id: press, title: Press, time: {glue: at most 10 min}}")
    job.driver.work("glue")
    correct(job, "0.25 mm")
    shown = view(job).now
    assert shown is not None
    assert shown.operation == "press"
    job.driver.work("press")
    shown = view(job).now
    assert shown is not None
    assert shown.operation == "measure"


# --- what ends it ------------------------------------------------------------------------------------


def test_correction_back_into_the_limit_makes_the_operation_done_again(tmp_path: Path) -> None:
    job = measured(tmp_path, COVER)
    correct(job, "0.25 mm")
    correct(job, "0.18 mm")
    assert row(job).status == "done"
    job.driver.work("cover")
    job.do("close")
    whole(job)


def test_deviation_makes_a_reopened_operation_done_until_the_next_correction(tmp_path: Path) -> None:
    job = measured(tmp_path, COVER)
    correct(job, "0.25 mm")
    job.do("deviate", operation="measure", about="gap", reason="it will do")
    assert (row(job).status, row(job, "cover").status) == ("done", "ready")
    correct(job, "0.30 mm")
    assert (row(job).status, row(job, "cover").status) == ("reopened", "blocked")
    whole(job)


def test_reopened_operation_is_started_again_with_its_entries_and_finished(tmp_path: Path) -> None:
    job = measured(tmp_path, COVER)
    correct(job, "0.25 mm")
    job.do("start", operation="measure")
    assert row(job).status == "in-progress"
    assert job.driver.state.done == {}
    assert len(job.driver.state.work("measure").readings["gap"]["1"]) == 2
    assert job.refused("finish") == {"out-of-limit"}
    job.do("pause")
    assert (row(job).status, row(job, "cover").status) == ("paused", "blocked")
    job.restart()
    job.do("start", operation="measure")
    job.do("record", name="gap", value="0.14 mm")
    job.do("finish")
    assert (row(job).status, list(job.driver.state.done)) == ("done", ["measure"])
    job.driver.work("cover")
    job.do("close")
    whole(job)


def test_remedy_is_possible_after_a_reopened_operation_is_started_again(tmp_path: Path) -> None:
    measure = f"{{id: measure, title: Measure, {GAP % ', above: [{do: Hone it}]'}}}"
    job = job_of(tmp_path, measure, COVER)
    enter(job, "measure", gap="0.15 mm")
    correct(job, "0.25 mm")
    assert job.refused("remedy", name="gap") == {"not-started"}
    job.do("start", operation="measure")
    assert job.refused("record", name="gap", value="0.15 mm") == {"remedy-first"}
    job.do("remedy", name="gap")
    job.do("record", name="gap", value="0.15 mm")
    job.do("finish")
    assert row(job).status == "done"
    whole(job)


def test_entry_in_a_reopened_operation_says_to_start_it(tmp_path: Path) -> None:
    job = measured(tmp_path)
    correct(job, "0.25 mm")
    assert "Start it first" in message(job, intent="record", operation="measure", name="gap", value="0.15 mm")


def test_reopened_operation_can_be_reworked(tmp_path: Path) -> None:
    job = measured(tmp_path, COVER, further=", undo: {do: Wipe it}")
    job.driver.work("cover")
    correct(job, "0.25 mm")
    job.do("rework", operation="measure", reason="out")
    assert (row(job).status, row(job, "cover").status) == ("ready", "blocked")
    assert job.driver.state.works["measure"].finished == 0
    whole(job)


# --- what else a correction puts out of its limit --------------------------------------------------------

JOINT = "joints: {studs: {title: Studs, layout: '1 2'}}\n"


def test_corrected_tick_reopens_the_joint(tmp_path: Path) -> None:
    job = job_of(
        tmp_path, "{id: pull, title: Pull, tighten: {joint: studs, stages: [80 N·m]}}",
        "{id: next, title: Next, after: [pull]}", head=JOINT,
    )  # fmt: skip
    tick: Intent = {"intent": "tick", "joint": "studs", "value": "80 N·m"}
    job.do_all({"intent": "start", "operation": "pull"}, {**tick, "fastener": 1}, {**tick, "fastener": 2})
    job.do("finish")
    correct(job, "60 N·m", job.driver.state.work("pull").ticks[0].seq)
    assert (row(job, "pull").status, row(job, "next").status) == ("reopened", "blocked")
    job.do("start", operation="pull")
    job.do("tick", joint="studs", fastener=1, value="80 N·m")
    job.do("finish")
    assert (row(job, "pull").status, row(job, "next").status) == ("done", "ready")
    whole(job)


def test_corrected_torque_of_a_stage_reopens_the_joint(tmp_path: Path) -> None:
    job = job_of(tmp_path, "{id: pull, title: Pull, tighten: {joint: studs, stages: [{torque: ask}]}}", head=JOINT)
    job.do("start", operation="pull")
    job.do("figure", joint="studs", stage=1, value="60 N·m", **{"from": "bulletin 4"})
    given = job.driver.state.work("pull").figures[1].seq
    job.do_all(*({"intent": "tick", "joint": "studs", "fastener": number} for number in (1, 2)), {"intent": "finish"})
    correct(job, "80 N·m", given)
    assert row(job, "pull").status == "reopened"
    whole(job)


def test_correction_reopens_another_operation_whose_value_depends_on_it(tmp_path: Path) -> None:
    job = job_of(
        tmp_path,
        "{id: journal, title: Journal, record: {journal: {ask: Journal, unit: mm}}}",
        "{id: bore, title: Bore, after: [journal], record: {bore: {ask: Bore, unit: mm}}, "
        "work-out: {clearance: {is: bore - journal, unit: mm, limit: 0.02 .. 0.06 mm}}}",
        "{id: seat, title: Seat, after: [journal], record: {seat: {ask: Seat, unit: mm, limit: above journal by at "
        "least 0.1 mm}}}",
        "{id: fit, title: Fit, after: [bore]}",
    )
    for name, value in (("journal", "50.00 mm"), ("bore", "50.04 mm"), ("seat", "50.12 mm")):
        enter(job, name, **{name: value})
    correct(job, "50.03 mm", reading(job, "journal", "journal"))
    statuses = {each.operation: each.status for each in view(job).operations}
    assert statuses == {"journal": "done", "bore": "reopened", "seat": "reopened", "fit": "blocked"}
    enter(job, "bore", bore="50.07 mm")
    assert row(job, "bore").status == "done"
    whole(job)


def test_reading_taken_again_reopens_what_depends_on_it(tmp_path: Path) -> None:
    job = job_of(
        tmp_path,
        "{id: journal, title: Journal, record: {journal: {ask: Journal, unit: mm, limit: 49.9 .. 50.1 mm}}}",
        "{id: bore, title: Bore, after: [journal], record: {bore: {ask: Bore, unit: mm}}, "
        "work-out: {clearance: {is: bore - journal, unit: mm, limit: 0.02 .. 0.06 mm}}}",
    )
    for name, value in (("journal", "50.00 mm"), ("bore", "50.04 mm")):
        enter(job, name, **{name: value})
    correct(job, "50.2 mm", reading(job, "journal", "journal"))
    job.do("start", operation="journal")
    job.do("record", name="journal", value="50.01 mm")
    assert row(job, "bore").status == "done"
    job.do("record", name="journal", value="50.03 mm")
    assert row(job, "bore").status == "reopened"
    job.do("finish")
    assert (row(job, "journal").status, row(job, "bore").status) == ("done", "reopened")
    whole(job)


def test_corrected_input_of_a_table_reopens_the_choice(tmp_path: Path) -> None:
    job = job_of(
        tmp_path,
        "{id: gap, title: Gap, record: {gap: {ask: Gap, unit: mm}}}",
        "{id: shim, title: Shim, after: [gap], choose: {shim: {by: gap, from: [{below: 1 mm, take: thin}, "
        "{at least: 1 mm, take: thick}]}}}",
    )
    enter(job, "gap", gap="0.5 mm")
    job.do("start", operation="shim")
    job.do_all({"intent": "choose", "name": "shim", "take": "thin"}, {"intent": "finish"})
    correct(job, "1.5 mm", reading(job, "gap"))
    assert row(job, "shim").status == "reopened"
    job.do("start", operation="shim")
    job.do("choose", name="shim", take="thick")
    job.do("finish")
    assert row(job, "shim").status == "done"
    whole(job)


def test_corrected_reading_out_of_a_further_limit_reopens_the_operation(tmp_path: Path) -> None:
    gap = (
        "record: {gap: {ask: Gap, unit: mm, readings: 2, limit: 0.1 .. 0.4 mm, also: [{limit: equal within 0.05 mm}]}}"
    )
    job = job_of(tmp_path, f"{{id: measure, title: Measure, {gap}}}")
    job.do("start", operation="measure")
    job.do_all(*({"intent": "record", "name": "gap", "value": "0.2 mm"} for _ in range(2)), {"intent": "finish"})
    correct(job, "0.3 mm", reading(job, slot="2"))
    assert row(job).status == "reopened"
    whole(job)


# --- states, holds, windows, rework ------------------------------------------------------------------------

HEAD = "state: {head: {values: [off, 'on', tight], start: off}, gate: {values: [open, shut], start: open}}\n"
SET = "{id: set, title: Set, needs: {head: off}, sets: {head: 'on'}, undo: {do: Lift it}}"


def test_own_setting_does_not_block_the_second_start_and_stays_in_force(tmp_path: Path) -> None:
    measure = f"{{id: measure, title: Measure, needs: {{head: 'on'}}, sets: {{head: tight}}, {GAP % ''}}}"
    job = job_of(tmp_path, SET, measure, head=HEAD)
    job.driver.work("set")
    enter(job, "measure", gap="0.15 mm")
    correct(job, "0.25 mm")
    job.do("start", operation="measure")
    assert job.driver.state.valuation["head"] == "tight"
    job.do("record", name="gap", value="0.15 mm")
    job.do("finish")
    assert job.driver.state.valuation["head"] == "tight"
    assert [write.step for write in job.driver.state.writes["head"]] == ["", "set", "measure"]
    whole(job)


def test_state_that_was_changed_since_asks_for_rework(tmp_path: Path) -> None:
    undo = ", undo: {do: Loosen it}"
    measure = f"{{id: measure, title: Measure, sets: {{head: 'on'}}, {GAP % ''}{undo}}}"
    job = job_of(
        tmp_path, measure, f"{{id: pull, title: Pull, after: [measure], sets: {{head: tight}}{undo}}}", head=HEAD
    )
    enter(job, "measure", gap="0.15 mm")
    job.driver.work("pull")
    correct(job, "0.25 mm")
    assert job.refused("start", operation="measure") == {"state-not-met"}
    assert "“Pull” has changed the state since. Head is tight. Rework step 1 instead." in message(
        job, intent="start", operation="measure"
    )
    assert row(job).reason.endswith("Rework step 1, or sign a deviation.")
    job.do("rework", operation="measure", reason="out")
    assert job.driver.state.valuation["head"] == "off"
    whole(job)


def test_needs_of_the_second_start_are_judged_as_usual(tmp_path: Path) -> None:
    measure = f"{{id: measure, title: Measure, needs: {{gate: open}}, {GAP % ''}}}"
    job = job_of(tmp_path, measure, "{id: shut, title: Shut, sets: {gate: shut}}", head=HEAD)
    enter(job, "measure", gap="0.15 mm")
    job.driver.work("shut")
    correct(job, "0.25 mm")
    assert job.refused("start", operation="measure") == {"state-not-met"}
    shown = view(job).now
    assert shown is not None
    assert (shown.operation, [reason.code for reason in shown.missing]) == ("measure", ["state-not-met"])
    assert row(job).reason.endswith("If it was misread, correct it, or sign a deviation.")


def test_proof_follows_each_entry_of_an_operation_that_was_started_again(tmp_path: Path) -> None:
    cool = "record: {t: {ask: T, unit: °C, limit: at most 40 °C, proves: head}}"
    job = job_of(tmp_path, f"{{id: cool, title: Cool, sets: {{head: 'on'}}, {cool}}}", PAINT, head=HEAD)
    enter(job, "cool", t="35 °C")
    correct(job, "95 °C", reading(job, "cool", "t"))
    assert job.driver.state.valuation["head"] is None
    job.do("start", operation="cool")
    job.do("record", name="t", value="30 °C")
    assert job.driver.state.valuation["head"] == "on"
    job.do("record", name="t", value="90 °C")
    assert job.driver.state.valuation["head"] is None
    job.do_all({"intent": "record", "name": "t", "value": "20 °C"}, {"intent": "finish"})
    assert job.driver.state.valuation["head"] == "on"
    whole(job)


def test_hold_is_signed_again_when_it_is_finished_again(tmp_path: Path) -> None:
    job = job_of(tmp_path, f"{{id: measure, title: Measure, {GAP % ''}, hold: {{by: inspector, for: the gap}}}}", COVER)
    sign: Intent = {"intent": "sign", "operation": "measure", "by": "Ida"}
    job.do_all({"intent": "start", "operation": "measure"}, {"intent": "record", "name": "gap", "value": "0.15 mm"})
    job.do_all(sign, {"intent": "finish"})
    correct(job, "0.25 mm")
    assert job.refused("start", operation="cover") == {"out-of-limit", "hold-unsigned"}
    job.do("start", operation="measure")
    job.do("record", name="gap", value="0.15 mm")
    assert job.refused("finish") == {"hold-unsigned"}
    job.do_all(sign, {"intent": "finish"})
    assert job.driver.state.reopened_holds == frozenset()
    job.driver.work("cover")
    whole(job)


def test_window_counts_from_the_new_finish(tmp_path: Path) -> None:
    job = measured(tmp_path, "{id: fill, title: Fill, time: {measure: at least 30 min}}")
    job.wait(40)
    correct(job, "0.25 mm")
    job.do("start", operation="measure")
    assert view(job).clocks == ()
    job.do_all({"intent": "record", "name": "gap", "value": "0.15 mm"}, {"intent": "finish"})
    assert job.refused("start", operation="fill") == {"too-early"}
    job.wait(31).do("start", operation="fill")
    whole(job)


def test_rework_after_the_second_finish_still_undoes_what_depends_on_it(tmp_path: Path) -> None:
    head = "state: {gate: {values: [open, shut], start: open}}\n"
    measure = f"{{id: measure, title: Measure, sets: {{gate: shut}}, {GAP % ''}, undo: {{do: Wipe it}}}}"
    job = job_of(tmp_path, measure, "{id: fill, title: Fill, needs: {gate: shut}, undo: {do: Drain it}}", head=head)
    enter(job, "measure", gap="0.15 mm")
    job.driver.work("fill")
    correct(job, "0.25 mm")
    enter(job, "measure", gap="0.15 mm")
    plan = rework_plan(job.driver.state, "measure")
    assert not isinstance(plan, Refusal)
    assert plan.redo == ("measure", "fill")
    whole(job)


def test_finding_that_decides_what_is_done_cannot_change(tmp_path: Path) -> None:
    measure = (
        "{id: measure, title: Measure, undo: {do: Wipe it}, record: {gap: {ask: Gap, unit: mm, limit: at most 1 mm}, "
        "rim: {ask: Rim, unit: mm, limit: at most 1 mm}}}"
    )
    job = job_of(tmp_path, measure, "{id: face, title: Face, after: [measure], when: {rim: above}}")
    job.do("start", operation="measure")
    job.do_all(
        *({"intent": "record", "name": name, "value": "0.5 mm"} for name in ("gap", "rim")), {"intent": "finish"}
    )
    correct(job, "2 mm")
    job.do_all({"intent": "start", "operation": "measure"}, {"intent": "record", "name": "gap", "value": "0.6 mm"})
    job.do("record", name="rim", value="3 mm")
    assert job.refused("finish") == {"not-allowed"}
    assert "Pause “Measure” and rework “Measure”" in message(job, intent="finish")
    job.do("record", name="rim", value="0.4 mm")
    job.do("finish")
    whole(job)


def test_entries_in_an_operation_started_again_update_the_whole_list(tmp_path: Path) -> None:
    job = job_of(
        tmp_path,
        f"{{id: measure, title: Measure, {GAP % ''}}}",
        "{id: double, title: Double, after: [measure], work-out: {twice: {is: 2 * gap, unit: mm, "
        "limit: at most 0.32 mm}}}",
    )
    enter(job, "measure", gap="0.15 mm")
    job.driver.work("double")
    correct(job, "0.25 mm")
    job.do("start", operation="measure")
    job.do("record", name="gap", value="0.12 mm")
    before = view(job)
    lines = job.do("record", name="gap", value="0.18 mm").lines
    assert {line.kind for line in lines} <= ENTRY_KINDS
    controller = job.driver.controller
    after = view_after_entries(before, job.driver.state, controller.context(), saved=controller.saved)
    assert after == view(job)
    assert [each.status for each in after.operations] == ["in-progress", "reopened"]


# --- routes, lists, other jobs --------------------------------------------------------------------------------


def test_route_includes_the_reopened_operation(tmp_path: Path) -> None:
    job = measured(tmp_path, COVER, "{id: seal, title: Seal, after: [cover]}", PAINT)
    correct(job, "0.25 mm")
    assert job.driver.send({"intent": "route", "operation": "seal"})["route"] == ["measure", "cover", "seal"]
    assert job.driver.send({"intent": "route", "operation": "measure"})["route"] == ["measure"]
    assert job.driver.send({"intent": "route", "operation": "paint"})["route"] == ["paint"]
    job.do_all({"intent": "start", "operation": "measure"}, {"intent": "pause"})
    assert job.driver.send({"intent": "route", "operation": "seal"})["route"] == ["measure", "cover", "seal"]


def test_job_list_counts_an_operation_that_was_started_again_as_not_done(tmp_path: Path) -> None:
    job = measured(tmp_path)
    correct(job, "0.25 mm")
    job.do("start", operation="measure")
    assert summarize_log(job.path).done == 0
    job.do_all({"intent": "record", "name": "gap", "value": "0.15 mm"}, {"intent": "finish"})
    assert summarize_log(job.path).done == 1


@pytest.mark.parametrize(("rules", "wrong"), [(2, False), (3, True)])
def test_audit_accepts_work_after_a_correction_only_in_a_log_of_older_rules(
    tmp_path: Path, rules: int, wrong: bool
) -> None:
    job = measured(tmp_path, COVER)
    job.driver.work("cover")
    correct(job, "0.25 mm")
    job.driver.controller.close()
    log = ForgedLog(job.path)
    log.event("opened")["rules"] = rules
    log.move_to("corrected", 0, log.at("started", 1))
    report, damage = audit_file(log.save(), read_procedure)
    assert damage == ""
    found = [finding for finding in report.findings if finding.codes == ("out-of-limit",)]
    assert [(finding.kind, finding.wrong) for finding in found] == [("evidence" if wrong else "refused", wrong)]


def test_review_and_sheet_show_a_reopened_operation_as_not_done(tmp_path: Path) -> None:
    job = measured(tmp_path, PAINT)
    job.driver.work("paint")
    correct(job, "0.25 mm")
    log = load_log(job.path, read_procedure)
    assert list(log.finished) == ["paint"]
    (warning,) = [each for each in log.warnings if "Measure" in each]
    assert warning.startswith("“Measure” was finished, but is out of its limit again. Gap: 0.25 mm HIGH")
    sheet = build_sheet_markdown(build_sheet(log))
    assert "1 of 2 done" in sheet
    assert "**Not done.**" in sheet
    frame = Replay(log).frame(len(log.lines))
    assert (frame.done, frame.left) == (("paint",), 1)
