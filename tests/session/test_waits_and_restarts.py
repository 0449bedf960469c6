"""Time that counts only while a state is so (`while`), and clocks that are started again (`restarts`)."""

from pathlib import Path

import pytest

from benchflow.procedure.reader import read as read_text
from benchflow.review.evidence.window_points import time_window_points
from benchflow.review.log.loaded_log import load_log
from benchflow.session.history.history import plan_from_log
from benchflow.session.log.line_format import read
from tests.driving.clocked_job import ClockedJob
from tests.driving.script import intent, procedure_with
from tests.driving.session_driver import read_procedure

VACUUM = "state: {vacuum: {values: [off, on, half], start: off}}\n"
PUMP = (
    "moves: {pump-on: {title: Pump on, sets: {vacuum: on}}, pump-off: {title: Pump off, sets: {vacuum: off}}, "
    "bleed: {title: Bleed it, needs: {vacuum: on}, sets: {vacuum: half}}, "
    "knock: {title: Knock it, needs: {vacuum: on}, during: {vacuum: off}, sets: {vacuum: on}}}\n"
)
LAY = "{id: lay, title: Lay it up, undo: {do: Strip it}}"


def curing(folder: Path, window: str, *more: str, head: str = VACUUM + PUMP) -> ClockedJob:
    trim = f"{{id: trim, title: Trim it, time: {{lay: {window}}}, undo: {{do: Nothing}}}}"
    job = ClockedJob(folder, procedure_with(LAY, *more, trim, head=head))
    job.do_all(intent("start", operation="lay"), intent("finish"))
    return job


def work(job: ClockedJob, operation: str) -> None:
    job.do_all(intent("start", operation=operation), intent("finish"))


WHILE = "{limit: at least 120 min, while: {vacuum: on}}"


def on(job: ClockedJob) -> None:
    job.do("move", move="pump-on")


def off(job: ClockedJob) -> None:
    job.do("move", move="pump-off")


# --- while ------------------------------------------------------------------------------------------------


def test_wait_counts_from_when_the_state_was_entered(tmp_path: Path) -> None:
    job = curing(tmp_path, WHILE).wait(300)
    assert job.refused("start", operation="trim") == {"too-early"}
    on(job)
    job.wait(119)
    assert job.refused("start", operation="trim") == {"too-early"}
    work(job.wait(1), "trim")
    job.audited()


def test_wait_counts_from_the_operation_if_the_state_was_there_before(tmp_path: Path) -> None:
    trim = f"{{id: trim, title: Trim it, time: {{lay: {WHILE}}}}}"
    job = ClockedJob(tmp_path, procedure_with(LAY, trim, head=VACUUM + PUMP))
    on(job)
    work(job.wait(500), "lay")
    job.wait(119)
    assert job.refused("start", operation="trim") == {"too-early"}
    work(job.wait(1), "trim")


def test_wait_begins_again_when_the_state_is_entered_again(tmp_path: Path) -> None:
    job = curing(tmp_path, WHILE)
    on(job)
    off(job.wait(119))
    job.wait(1)
    assert job.refused("start", operation="trim") == {"too-early"}
    on(job)
    assert job.wait(100).refused("start", operation="trim") == {"too-early"}
    job.do("move", move="pump-on")  # it is on already, so it is not entered again
    work(job.wait(20), "trim")
    job.audited()


def test_state_must_be_so_at_the_start_too(tmp_path: Path) -> None:
    job = curing(tmp_path, WHILE)
    on(job)
    off(job.wait(200))
    assert job.refused("start", operation="trim") == {"too-early"}
    (row,) = job.status()["clocks"]
    assert (row["phase"], row["seconds"]) == ("wait", 7200.0)
    assert "vacuum is on" in row["advice"]


def test_one_of_several_accepted_values_is_enough(tmp_path: Path) -> None:
    job = curing(tmp_path, "{limit: at least 120 min, while: {vacuum: [on, half]}}")
    on(job)
    job.wait(60).do("move", move="bleed")
    work(job.wait(60), "trim")


def test_state_that_a_move_passes_through_is_left(tmp_path: Path) -> None:
    job = curing(tmp_path, WHILE)
    on(job)
    job.wait(110).do("move", move="knock")
    job.wait(110)
    assert job.refused("start", operation="trim") == {"too-early"}
    work(job.wait(10), "trim")


def test_state_during_an_operation_counts(tmp_path: Path) -> None:
    job = curing(tmp_path, WHILE, "{id: look, title: Look inside, during: {vacuum: off}}")
    on(job)
    work(job.wait(110), "look")
    assert job.wait(110).refused("start", operation="trim") == {"too-early"}
    work(job.wait(10), "trim")
    job.audited()


def test_state_that_was_found_counts_from_then(tmp_path: Path) -> None:
    job = curing(tmp_path, WHILE)
    job.wait(300).do("set-state", variable="vacuum", value="on", reason="the gauge says so")
    assert job.wait(100).refused("start", operation="trim") == {"too-early"}
    job.do("set-state", variable="vacuum", value=None, reason="the gauge is broken")
    assert job.wait(100).refused("start", operation="trim") == {"too-early"}


def test_upper_end_is_not_moved(tmp_path: Path) -> None:
    job = curing(tmp_path, "{limit: 60 min .. 100 min, while: {vacuum: on}}")
    on(job.wait(50))
    job.wait(51)
    assert job.refused("start", operation="trim") == {"too-early", "too-late"}


def test_wait_survives_a_restart(tmp_path: Path) -> None:
    job = curing(tmp_path, WHILE)
    on(job)
    job.wait(60).restart().wait(59)
    assert job.refused("start", operation="trim") == {"too-early"}
    work(job.reboot(off=1), "trim")
    job.audited()


def test_deviation_waives_the_wait_until_the_state_is_entered_again(tmp_path: Path) -> None:
    job = curing(tmp_path, WHILE)
    on(job)
    job.do("deviate", operation="trim", about="time", reason="hot cure", by="Kim")
    off(job)
    on(job)
    assert job.refused("start", operation="trim") == {"too-early"}
    job.do("deviate", operation="trim", about="lay", reason="hot cure", by="Kim")
    work(job, "trim")
    job.audited()


def test_route_leads_through_the_state_of_the_wait(tmp_path: Path) -> None:
    job = curing(tmp_path, WHILE)
    assert job.driver.send(intent("route", operation="trim"))["route"] == ["pump-on", "trim"]


def test_review_finds_a_wait_that_was_cut_short_by_the_state(tmp_path: Path) -> None:
    job = curing(tmp_path, WHILE)
    on(job.wait(300))
    job.do("deviate", operation="trim", about="time", reason="hot cure", by="Kim")
    work(job.wait(10), "trim")
    log = load_log(job.path, read_procedure)
    fact = next(fact for fact in log.facts.operations if fact.operation == "trim")
    points = list(time_window_points(log, log.plan.steps["trim"], fact, log.state.done["trim"].seq))
    assert [point.kind for point in points] == ["window-missed"]
    assert "started 10 min after" in points[0].words


def test_while_without_a_lower_end_is_an_error() -> None:
    trim = "{id: trim, title: T, time: {lay: {limit: at most 2 h, while: {vacuum: on}}}}"
    text = procedure_with(LAY, trim, head=VACUUM)
    assert [each.code for each in read_text(text).problems] == ["one-too-many"]


def test_unknown_state_is_an_error() -> None:
    trim = "{id: trim, title: T, time: {lay: {limit: at least 2 h, while: {vacum: on}}}}"
    text = procedure_with(LAY, trim, head=VACUUM)
    assert "unknown-name" in [each.code for each in read_text(text).problems]


# --- restarts ---------------------------------------------------------------------------------------------

WET = "at most 10 min"
STIR = "{id: stir, title: Stir it, restarts: [lay]}"


def test_operation_starts_the_clock_again(tmp_path: Path) -> None:
    job = curing(tmp_path, WET, STIR).wait(9)
    work(job, "stir")
    work(job.wait(9), "trim")
    job.audited()


def test_clock_starts_again_after_its_window_had_closed(tmp_path: Path) -> None:
    job = curing(tmp_path, WET, STIR).wait(60)
    assert job.refused("start", operation="trim") == {"too-late"}
    (row,) = job.status()["clocks"]
    assert row["advice"].endswith("Do step 2, which starts its clock again, or sign a deviation.")
    work(job, "stir")
    work(job.wait(10), "trim")


def test_lower_end_counts_from_the_restart_too(tmp_path: Path) -> None:
    job = curing(tmp_path, "at least 30 min", STIR).wait(29)
    work(job, "stir")
    assert job.wait(29).refused("start", operation="trim") == {"too-early"}
    work(job.wait(1), "trim")


def test_operation_that_restarts_comes_after_what_it_names(tmp_path: Path) -> None:
    trim = f"{{id: trim, title: Trim it, time: {{lay: {WET}}}}}"
    job = ClockedJob(tmp_path, procedure_with(LAY, STIR, trim))
    assert job.refused("start", operation="stir") == {"after-missing"}


def test_rework_of_the_restarting_operation_takes_the_restart_back(tmp_path: Path) -> None:
    stir = "{id: stir, title: Stir it, restarts: [lay], undo: {do: Nothing}}"
    job = curing(tmp_path, WET, stir).wait(9)
    work(job, "stir")
    job.wait(5).do("rework", operation="stir", reason="not stirred at all")
    assert job.refused("start", operation="trim") == {"too-late"}


POT = "state: {pot: {values: [still, mixed], start: still}}\n"
MIX = f"{POT}moves: {{mix: {{title: Mix it, sets: {{pot: mixed}}, restarts: [lay]}}}}\n"


def test_move_starts_the_clock_again(tmp_path: Path) -> None:
    job = curing(tmp_path, WET, head=MIX).wait(60)
    assert job.refused("start", operation="trim") == {"too-late"}
    job.do("move", move="mix")
    work(job.wait(10), "trim")
    job.audited()


def test_move_before_the_operation_has_no_effect(tmp_path: Path) -> None:
    trim = f"{{id: trim, title: Trim it, time: {{lay: {WET}}}}}"
    job = ClockedJob(tmp_path, procedure_with(LAY, trim, head=MIX))
    job.do("move", move="mix")
    work(job.wait(5), "lay")
    assert job.wait(10.01).refused("start", operation="trim") == {"too-late"}


def test_operation_that_is_done_again_counts_from_then(tmp_path: Path) -> None:
    job = curing(tmp_path, WET, head=MIX)
    job.do("move", move="mix")
    job.wait(5).do("rework", operation="lay", reason="dirt")
    work(job.wait(5), "lay")
    work(job.wait(10), "trim")


def test_remedy_starts_the_clock_again(tmp_path: Path) -> None:
    gap = "record: {gap: {ask: Gap, unit: mm, limit: at most 1 mm, above: [{do: Wet it, restarts: [lay], tries: 3}]}}"
    trim = f"{{id: trim, title: Trim it, time: {{lay: {WET}}}, {gap}}}"
    job = ClockedJob(tmp_path, procedure_with(LAY, trim))
    work(job, "lay")
    job.wait(9).do_all(intent("start", operation="trim"), intent("record", name="gap", value="2 mm"))
    job.wait(20)
    (event,) = [line for line in job.do("remedy", name="gap").lines if line.kind == "remedied"]
    assert event.data["restarts"] == ["lay"]
    job.wait(9).do_all(intent("record", name="gap", value="0.5 mm"), intent("finish"))
    job.audited()


def test_deviation_lapses_when_the_clock_starts_again(tmp_path: Path) -> None:
    job = curing(tmp_path, WET, head=MIX).wait(60)
    job.do("deviate", operation="trim", about="time", reason="still soft", by="Kim")
    job.do("move", move="mix")
    assert job.wait(11).refused("start", operation="trim") == {"too-late"}


def test_entry_that_the_time_counts_from_is_restarted_too(tmp_path: Path) -> None:
    heat = "{id: heat, title: Heat, record: {temp: {ask: T, unit: °C}}}"
    seat = "{id: seat, title: Seat, time: {heat: {limit: at most 3 min, from: temp}}}"
    head = f"{POT}moves: {{reheat: {{title: Reheat, sets: {{pot: mixed}}, restarts: [heat]}}}}\n"
    job = ClockedJob(tmp_path, procedure_with(heat, seat, head=head))
    job.do_all(intent("start", operation="heat"), intent("record", name="temp", value="90 °C"))
    job.wait(2).do("finish")
    assert job.wait(1.01).refused("start", operation="seat") == {"too-late"}
    job.do("move", move="reheat")
    work(job.wait(3), "seat")


def test_review_judges_the_window_from_the_restart_before_its_end(tmp_path: Path) -> None:
    job = curing(tmp_path, WET, head=MIX).wait(60)
    job.do("move", move="mix")
    work(job.wait(5), "trim")
    job.wait(5).do("move", move="mix")
    log = load_log(job.path, read_procedure)
    fact = next(fact for fact in log.facts.operations if fact.operation == "trim")
    assert list(time_window_points(log, log.plan.steps["trim"], fact, log.state.done["trim"].seq)) == []


@pytest.mark.parametrize("key", ["restarts: [layy]"])
def test_unknown_operation_is_an_error(key: str) -> None:
    text = procedure_with(LAY, f"{{id: stir, title: Stir, {key}}}")
    assert [each.code for each in read_text(text).problems] == ["unknown-name"]


def test_kill_between_restart_and_finish(tmp_path: Path) -> None:
    job = curing(tmp_path, WET, head=MIX).wait(60)
    job.do("move", move="mix")
    work(job.restart().wait(10), "trim")
    lines = list(read(job.path.read_bytes()).lines)
    assert plan_from_log(lines, read_procedure) is not None
    job.audited()
