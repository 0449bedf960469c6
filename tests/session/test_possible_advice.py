"""The advice in a message is possible at that moment. All data is invented."""

from pathlib import Path

from benchflow.session.refusal import Refusal
from benchflow.session.view.bench_view import OperationView
from tests.driving.clocked_job import ClockedJob
from tests.driving.script import procedure_with

STATE = "state: {lever: {title: The lever, values: [up, down], start: up}}\n"


def job_of(folder: Path, *operations: str, head: str = "") -> ClockedJob:
    return ClockedJob(folder, procedure_with(*operations, head=head))


def message(job: ClockedJob, intent: str, **fields: object) -> str:
    answer = job.driver.answer({"intent": intent, **fields})
    assert isinstance(answer, Refusal)
    return " ".join(reason.message for reason in answer.refused)


def enter(job: ClockedJob, operation: str, **values: str) -> None:
    """Start an operation and record these values."""
    job.do("start", operation=operation)
    job.do_all(*({"intent": "record", "name": name, "value": value} for name, value in values.items()))


def shown(job: ClockedJob) -> OperationView:
    now = job.driver.controller.view().now
    assert now is not None
    return now


def stopping(waive: str) -> str:
    return (
        "{id: gap, title: Gap, record: {gap: {ask: Gap, unit: mm, limit: at most 1 mm, "
        f"above: [{{do: Scrap it, stop: true}}]{waive}}}}}}}"
    )


def test_stop_offers_a_deviation_and_a_correction(tmp_path: Path) -> None:
    job = job_of(tmp_path, stopping(""))
    enter(job, "gap", gap="2 mm")
    assert message(job, "finish").endswith(
        "Stop here: Scrap it. Sign a deviation, start a rework or correct the entry if it was misread."
    )
    job.do("deviate", operation="gap", about="gap", reason="it will do")


def test_stop_that_nobody_can_waive_offers_neither(tmp_path: Path) -> None:
    job = job_of(tmp_path, stopping(", waive: never"))
    enter(job, "gap", gap="2 mm")
    assert message(job, "finish").endswith("Stop here: Scrap it. Start a rework.")
    assert job.refused("deviate", operation="gap", about="gap", reason="it will do") == {"not-allowed"}
    assert job.refused("correct", event=3, value="0.5 mm", reason="misread") == {"not-allowed"}
    job.do("rework", operation="gap", reason="out")


def test_operation_that_cannot_be_paused_is_finished_first(tmp_path: Path) -> None:
    job = job_of(tmp_path, "{id: hold, title: Hold, during: {lever: down}}", "{id: paint, title: Paint}", head=STATE)
    job.do("start", operation="hold")
    assert "because the lever is down only while it is in progress" in message(job, "pause")
    assert message(job, "start", operation="paint") == "Finish “Hold” first."
    job.do("finish")
    job.do("start", operation="paint")
    assert message(job, "start", operation="hold").startswith("“Hold” is already done.")
    assert message(job, "rework", operation="hold", reason="again") == (
        "“Paint” is in progress. Finish, pause or rework it first."
    )


def test_value_that_was_measured_elsewhere_asks_for_the_rework_of_that_operation(tmp_path: Path) -> None:
    job = job_of(
        tmp_path,
        "{id: bore, title: Bore, record: {bore: {ask: Bore, unit: mm}}, undo: {do: Wipe it}}",
        "{id: sum, title: Sum, after: [bore], work-out: {twice: {is: 2 * bore, unit: mm, limit: at most 1 mm}}}",
    )
    enter(job, "bore", bore="2 mm")
    job.do("finish")
    job.do("start", operation="sum")
    assert message(job, "finish").endswith("Rework step 1, or sign a deviation.")
    assert shown(job).rework == ""
    job.do("pause")
    job.do("rework", operation="bore", reason="out")


def test_value_that_was_measured_elsewhere_without_undo_asks_for_a_correction(tmp_path: Path) -> None:
    job = job_of(
        tmp_path,
        "{id: bore, title: Bore, record: {bore: {ask: Bore, unit: mm}}}",
        "{id: sum, title: Sum, after: [bore], work-out: {twice: {is: 2 * bore, unit: mm, limit: at most 1 mm}}}",
    )
    enter(job, "bore", bore="0.2 mm")
    job.do("finish")
    job.driver.work("sum")
    job.do("correct", event=3, value="2 mm", reason="misread")
    (row,) = [row for row in job.driver.controller.view().operations if row.status == "reopened"]
    assert (row.operation, row.reason.endswith("If a reading was misread, correct it, or sign a deviation.")) == (
        "sum",
        True,
    )
    wrong = job.driver.state.work("bore").readings["bore"]["1"][-1].seq
    job.do("correct", event=wrong, value="0.2 mm", reason="it was right")
    assert job.driver.controller.view().finished


def test_choice_against_the_table_says_which_part_to_choose(tmp_path: Path) -> None:
    job = job_of(
        tmp_path,
        "{id: shim, title: Shim, record: {gap: {ask: Gap, unit: mm}}, choose: {shim: {by: gap, "
        "from: [{below: 1 mm, take: thin}, {at least: 1 mm, take: thick}]}}}",
    )
    enter(job, "shim", gap="0.5 mm")
    job.do("choose", name="shim", take="thin")
    job.do("record", name="gap", value="1.5 mm")
    assert message(job, "finish").endswith(
        "thin was chosen, but the table gives thick. Choose thick, or sign a deviation."
    )
    job.do("choose", name="shim", take="thick")
    job.do("finish")
