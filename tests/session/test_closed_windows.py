"""A closed time window blocks the start of its operation, stays in view, and names a rework that is possible.

All data is invented.
"""

from pathlib import Path

import pytest

from benchflow.session.refusal import Refusal
from benchflow.session.rules.rework_plans import rework_plan
from benchflow.session.view.bench_view import OperationView
from tests.driving.clocked_job import ClockedJob
from tests.driving.script import procedure_with
from tests.driving.shipped import ShippedBuild

SEAL = "{id: seal, title: Seal, undo: {do: Wipe it off}}"
FIT = "{id: fit, title: Fit, time: {seal: at most 10 min%s}, check: [It is flush]%s}"
PAINT = "{id: paint, title: Paint}"


def sealed(folder: Path, *operations: str, head: str = "") -> ClockedJob:
    """A job whose cover has just been sealed."""
    job = ClockedJob(folder, procedure_with(*operations, head=head))
    job.driver.work("seal")
    return job


def shown(job: ClockedJob) -> OperationView:
    now = job.driver.controller.view().now
    assert now is not None
    return now


def status(job: ClockedJob, operation: str) -> str:
    return next(row.status for row in job.driver.controller.view().operations if row.operation == operation)


def test_closed_window_stays_in_view_and_names_its_rework(tmp_path: Path) -> None:
    job = sealed(tmp_path, PAINT, SEAL, FIT % ("", ""))
    job.wait(9)
    assert (shown(job).operation, shown(job).missing, status(job, "fit")) == ("fit", (), "ready")
    job.wait(2)
    now = shown(job)
    assert (now.operation, status(job, "fit"), now.rework) == ("fit", "blocked", "seal")
    (reason,) = now.missing
    assert reason.message.endswith("Redo step 2, or sign a deviation.")
    assert job.refused("start", operation="fit") == {"too-late"}
    job.do("rework", operation=now.rework, reason="too old")
    assert (status(job, "seal"), status(job, "fit"), shown(job).rework) == ("ready", "blocked", "")
    job.driver.work("seal")
    assert (shown(job).operation, shown(job).missing) == ("fit", ())
    job.audited()


def test_deviation_opens_the_start_again(tmp_path: Path) -> None:
    job = sealed(tmp_path, SEAL, FIT % ("", ""))
    job.wait(11)
    job.do("deviate", operation="fit", about="time seal", reason="it is still wet")
    assert (shown(job).missing, shown(job).rework) == ((), "")
    job.do("start", operation="fit")


def test_paused_operation_with_a_closed_window_cannot_go_on(tmp_path: Path) -> None:
    job = sealed(tmp_path, SEAL, FIT % ("", ""))
    job.do_all({"intent": "start", "operation": "fit"}, {"intent": "pause"})
    job.wait(11)
    assert (status(job, "fit"), shown(job).rework) == ("blocked", "seal")
    assert job.refused("start", operation="fit") == {"too-late"}


@pytest.mark.parametrize("ends", ["until: flush", "from: bead"])
def test_window_between_entries_blocks_the_start_too(tmp_path: Path, ends: str) -> None:
    seal = "{id: seal, title: Seal, record: {bead: {ask: Bead, unit: mm}}, undo: {do: Wipe it off}}"
    fit = f"time: {{seal: {{limit: at most 10 min, {ends}}}}}, check: [{{see: It is flush, id: flush}}]"
    job = ClockedJob(tmp_path, procedure_with(seal, f"{{id: fit, title: Fit, {fit}}}"))
    job.do_all({"intent": "start", "operation": "seal"}, {"intent": "record", "name": "bead", "value": "3 mm"})
    job.do("finish")
    job.wait(11)
    assert (status(job, "fit"), shown(job).rework) == ("blocked", "seal")
    assert job.refused("start", operation="fit") == {"too-late"}


def test_operation_in_progress_is_paused_before_the_rework(tmp_path: Path) -> None:
    job = sealed(tmp_path, SEAL, FIT % ("", ""))
    job.do("start", operation="fit")
    job.wait(11)
    job.do("tick-check", check=1)
    now = shown(job)
    assert now.missing[0].message.endswith("Pause step 2 and redo step 1, or sign a deviation.")
    assert now.rework == ""
    job.do("pause")
    assert shown(job).rework == "seal"
    job.do("rework", operation="seal", reason="too old")


def test_operation_that_cannot_be_paused_is_reworked_first(tmp_path: Path) -> None:
    head = "state: {lever: {values: [up, down], start: up}}\n"
    job = sealed(tmp_path, SEAL, FIT % ("", ", during: {lever: down}, undo: {do: Lift it}"), head=head)
    job.do("start", operation="fit")
    job.wait(11)
    assert shown(job).missing[-1].message.endswith("Rework step 2 and redo step 1, or sign a deviation.")
    job.do("rework", operation="fit", reason="too old")
    job.do("rework", operation="seal", reason="too old")


def test_rework_is_not_advised_where_something_on_top_has_no_undo(tmp_path: Path) -> None:
    job = sealed(tmp_path, SEAL, "{id: bolt, title: Bolt, after: [seal]}", FIT % ("", ""))
    job.wait(11)
    assert shown(job).missing[0].message.endswith("Redo step 1, or sign a deviation.")
    job.driver.work("bolt")
    now = shown(job)
    assert now.missing[0].message.endswith("(at most 10 min). Sign a deviation.")
    assert (now.rework, isinstance(rework_plan(job.driver.state, "seal"), Refusal)) == ("", True)
    assert job.driver.controller.view().clocks[0].advice.endswith("Sign a deviation.")


def test_clock_that_another_operation_starts_again_asks_for_that_and_no_rework(tmp_path: Path) -> None:
    job = sealed(tmp_path, SEAL, "{id: stir, title: Stir, restarts: [seal]}", FIT % ("", ""))
    job.wait(11)
    now = shown(job)
    assert (now.operation, now.rework) == ("fit", "")
    assert now.missing[0].message.endswith("Do step 2, which starts its clock again, or sign a deviation.")


def test_open_deadline_goes_before_a_closed_window(tmp_path: Path) -> None:
    press = "{id: press, title: Press, time: {glue: at most 10 min}}"
    job = sealed(tmp_path, SEAL, FIT % ("", ""), "{id: glue, title: Glue}", press)
    job.wait(11)
    job.driver.work("glue")
    assert shown(job).operation == "press"


@pytest.mark.parametrize(
    ("procedure", "late", "redo"),
    [
        ("head-install", "set-head-down", "apply-sealant"),
        ("head-install", "tighten-head", "apply-sealant"),
        ("head-install", "fit-front-cover", "seal-front-cover"),
        ("short-block", "fit-sump", "seal-sump"),
        ("first-start", "crank-for-pressure", "prime"),
        ("first-start", "leak-check", "first-run"),
    ],
)
def test_shipped_windows_name_a_rework_that_works(tmp_path: Path, procedure: str, late: str, redo: str) -> None:
    build = ShippedBuild(tmp_path / "log.jsonl", procedure, pace=20)
    build.open()
    build.work_to(late, before=True)
    build.clock.advance(3 * 3600)
    now = build.controller.view().now
    assert now is not None
    assert (now.operation, now.rework) == (late, redo)
    number = build.state.plan.number(redo)
    assert f"Redo step {number}, or " in " ".join(reason.message for reason in now.missing)
    build.do("rework", operation=redo, reason="too late")
    assert redo not in build.state.done
