"""The worked time of a job: pauses, rework, people, clocks and damaged logs. All times are set by the tests."""

import csv
import io
import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from benchflow.commands.hours import hours
from benchflow.review.evidence.speed_points import too_fast_points
from benchflow.review.hours.hours_text import hours_csv, job_hours_lines, procedure_hours_lines
from benchflow.review.hours.section_medians import hours_by_procedure
from benchflow.review.hours.worked_time import JobHours, job_hours
from benchflow.review.log.loaded_log import load_log
from benchflow.review.many.comparison import compare
from benchflow.review.sheets.build_sheet import build_sheet
from tests.driving.clocked_job import ClockedJob
from tests.driving.session_driver import read_procedure

PROCEDURE = """\
benchflow: 1
id: trial
title: Trial
revision: A
sections:
- title: Wash
  operations:
  - {id: wash, title: Wash it, takes: 10 min, check: [clean, dry], undo: {do: Dirty it}}
- title: Bake
  operations:
  - {id: bake, title: Bake it, takes: 90 min, check: [hot], after: wash, undo: {do: Cool it}}
"""


def opened(folder: Path) -> ClockedJob:
    folder.mkdir(exist_ok=True)
    return ClockedJob(folder, PROCEDURE)


def hours_of(job: ClockedJob) -> JobHours:
    return job_hours(load_log(job.path, read_procedure))


def minutes(seconds: float) -> float:
    return round(seconds / 60, 1)


def washed(job: ClockedJob, first: float, second: float) -> None:
    """The operation ``wash`` with its two checks after ``first`` and ``second`` minutes."""
    job.do("start", operation="wash")
    job.wait(first).do("tick-check", check=1)
    job.wait(second).do("tick-check", check=2)
    job.do("finish")


def test_operation_left_overnight_is_a_pause_and_not_fourteen_hours_of_work(tmp_path: Path) -> None:
    job = opened(tmp_path)
    washed(job, 6, 14 * 60)
    found = hours_of(job)
    (wash, _) = found.sections
    assert (minutes(wash.worked), minutes(wash.paused)) == (6, 840)
    assert [(one.title, minutes(one.seconds)) for one in found.longest_pauses] == [("Wash it", 840)]
    text = "\n".join(job_hours_lines(found))
    assert "“Wash it” was left for 14 h 00 min" in text
    assert "A gap of more than 45 min is a pause" in text


def test_long_gap_that_the_time_of_the_procedure_explains_is_work(tmp_path: Path) -> None:
    job = opened(tmp_path)
    washed(job, 5, 5)
    job.do("start", operation="bake")
    job.wait(120).do("tick-check", check=1)  # more than 45 min, less than 2 times 90 min
    job.do("finish")
    wash, bake = hours_of(job).sections
    assert (minutes(wash.worked), minutes(bake.worked), bake.paused) == (10, 120, 0)
    assert (wash.stated, bake.stated) == (600, 5400)


def test_short_gap_between_operations_is_worked_and_a_long_one_is_not(tmp_path: Path) -> None:
    job = opened(tmp_path)
    washed(job, 5, 5)
    job.wait(12).do("start", operation="bake")
    job.wait(60).do("pause")
    job.wait(100).do("start", operation="bake")
    job.wait(1).do("tick-check", check=1)
    job.do("finish")
    found = hours_of(job)
    assert minutes(found.between) == 12
    assert minutes(found.paused) == 100
    assert minutes(found.worked) == 10 + 12 + 60 + 1


def test_time_before_a_signature_is_that_of_the_worker(tmp_path: Path) -> None:
    held = PROCEDURE.replace(
        "undo: {do: Dirty it}", "hold: {by: inspector, for: The part is clean}, undo: {do: Dirty it}"
    )
    job = ClockedJob(tmp_path, held)
    job.do("start", operation="wash", by="Ann")
    for check in (1, 2):
        job.wait(5).do("tick-check", check=check, by="Ann")
    job.wait(10).do("sign", operation="wash", by="Ben")
    job.wait(1).do("finish", by="Ann")
    assert {name: minutes(seconds) for name, seconds in hours_of(job).by_person.items()} == {"Ann": 21}


def test_work_that_was_done_again_counts_and_is_shown_apart(tmp_path: Path) -> None:
    job = opened(tmp_path)
    washed(job, 5, 5)
    job.do("rework", operation="wash", reason="still dirty")
    washed(job, 3, 4)
    wash, bake = hours_of(job).sections
    assert (minutes(wash.worked), minutes(wash.redone)) == (17, 10)
    assert (wash.complete, bake.complete, bake.stated) == (True, False, None)


def test_hours_of_a_damaged_log_end_at_the_damage_and_say_so(tmp_path: Path) -> None:
    job = opened(tmp_path)
    washed(job, 5, 5)
    lines = job.path.read_bytes().splitlines(keepends=True)
    job.path.write_bytes(b"".join(lines[:3]) + lines[3].replace(b'"check"', b'"chekc"', 1) + b"".join(lines[4:]))
    found = hours_of(job)
    assert minutes(found.worked) == 5
    assert any("damaged from line 4 on" in remark for remark in found.remarks)


def test_open_job_says_up_to_when_its_hours_are(tmp_path: Path) -> None:
    job = opened(tmp_path)
    washed(job, 5, 5)
    assert any("still open" in remark for remark in hours_of(job).remarks)


def test_median_is_over_the_jobs_in_which_the_section_is_complete(tmp_path: Path) -> None:
    jobs = []
    for number, length in enumerate((4, 6, 11)):
        job = opened(tmp_path / str(number))
        washed(job, length, 0)
        jobs.append(hours_of(job))
    half = opened(tmp_path / "half")
    half.do("start", operation="wash")
    half.wait(25).do("tick-check", check=1)
    (found,) = hours_by_procedure([*jobs, hours_of(half)])
    (wash,) = found.sections
    assert (wash.jobs, minutes(wash.median), minutes(wash.shortest), minutes(wash.longest)) == (3, 6, 4, 11)
    assert (found.jobs, found.total) == (4, None)
    assert any(line.startswith("Wash") and "6 min" in line for line in procedure_hours_lines(found))


def test_csv_has_a_row_for_each_section_in_minutes(tmp_path: Path) -> None:
    job = opened(tmp_path)
    washed(job, 5, 7)
    rows = list(csv.DictReader(io.StringIO(hours_csv([hours_of(job)]))))
    assert [(row["title"], row["worked_min"], row["stated_min"]) for row in rows] == [
        ("Wash", "12.0", "10.0"),
        ("Bake", "0.0", ""),
        ("between operations", "0.0", ""),
    ]


def test_shops_copy_has_the_same_table(tmp_path: Path) -> None:
    job = opened(tmp_path)
    washed(job, 5, 7)
    sheet = build_sheet(load_log(job.path, read_procedure))
    assert sheet.hours[1] == ("Wash", "12 min", "", "", "10 min")
    assert sheet.hours[-1][:2] == ("Total", "12 min")
    assert ("Working time", "12 min") in sheet.facts
    assert any("is a pause" in line for line in sheet.hours_remarks)


def test_shops_copy_has_the_pauses_of_an_operation_apart(tmp_path: Path) -> None:
    job = opened(tmp_path)
    washed(job, 5, 7)
    job.do("rework", operation="wash", reason="still dirty")
    washed(job, 6, 14 * 60)
    washing, _ = build_sheet(load_log(job.path, read_procedure)).sections
    (wash,) = washing.operations
    assert wash.took == "6 min, pauses 14 h 00 min"


@pytest.mark.parametrize("second", [44, 46])
def test_limit_of_a_pause_is_45_minutes(tmp_path: Path, second: int) -> None:
    job = opened(tmp_path)
    washed(job, 1, second)
    wash, _ = hours_of(job).sections
    assert minutes(wash.paused) == (46 if second == 46 else 0)


def test_restart_and_a_clock_set_back_are_named(tmp_path: Path) -> None:
    job = opened(tmp_path)
    job.do("start", operation="wash")
    job.reboot(off=10, clock_set=-60).do("tick-check", check=1)
    job.reboot(off=8).do("tick-check", check=2)
    job.do("finish")
    found = hours_of(job)
    (wash, _) = found.sections
    assert minutes(wash.worked) == 8
    assert any("The computer was started again in the work" in remark for remark in found.remarks)
    assert any("set back 1 time" in remark for remark in found.remarks)


def test_hours_are_divided_between_the_people(tmp_path: Path) -> None:
    job = opened(tmp_path)
    job.do("start", operation="wash")
    job.wait(5).do("tick-check", check=1, by="Kim")
    job.wait(7).do("tick-check", check=2, by="Robin")
    job.do("finish", by="Robin")
    found = hours_of(job)
    assert {name: minutes(seconds) for name, seconds in found.by_person.items()} == {"Kim": 5, "Robin": 7}
    assert any(line == "By person: Robin 7 min, Kim 5 min." for line in job_hours_lines(found))


def test_night_in_an_operation_is_a_pause_in_a_comparison_and_no_working_time(tmp_path: Path) -> None:
    day, night = opened(tmp_path / "day"), opened(tmp_path / "night")
    washed(day, 6, 5)
    washed(night, 6, 14 * 60)
    found = compare(*(load_log(job.path, read_procedure) for job in (day, night)))
    assert [(each.section, each.left, each.right) for each in found.differences] == [("Pauses", "", "for 14 h 00 min")]
    assert [(minutes(pair.left or 0), minutes(pair.right or 0)) for pair in found.times] == [(11, 6)]


def test_operation_left_in_progress_as_long_as_the_procedure_states_is_not_too_fast(tmp_path: Path) -> None:
    """A wait in a night is a pause for the hours. Nobody can say that it was too short."""
    job = opened(tmp_path)
    washed(job, 5, 5)
    job.do("start", operation="bake")
    job.wait(14 * 60).do("tick-check", check=1)
    job.do("finish")
    log = load_log(job.path, read_procedure)
    bake = next(fact for fact in log.facts.operations if fact.operation == "bake")
    assert (bake.active, minutes(bake.pauses)) == (0, 840)
    assert list(too_fast_points(log, log.plan.steps["bake"], bake)) == []


def test_procedure_without_times_states_no_time_and_not_zero_seconds(tmp_path: Path) -> None:
    silent = PROCEDURE.replace("takes: 10 min, ", "").replace("takes: 90 min, ", "")
    job = ClockedJob(tmp_path, silent)
    washed(job, 5, 5)
    job.do("start", operation="bake")
    job.do("tick-check", check=1)
    job.do("finish")
    found = hours_of(job)
    lines = list(job_hours_lines(found))
    assert [line.split("  ")[0] for line in lines if line.endswith("  states no time")] == ["Wash", "Bake", "Total"]
    (medians,) = hours_by_procedure([found, found])
    assert medians.total is not None
    assert medians.total.stated is None
    lines = list(procedure_hours_lines(medians))
    assert sum(line.endswith("  states no time") for line in lines) == 3


def run(*arguments: str) -> Result:
    return CliRunner().invoke(hours, arguments, standalone_mode=False)


def test_command_prints_one_job_or_the_medians_of_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BENCHFLOW_HOME", str(tmp_path / "home"))
    logs = tmp_path / "logs"
    logs.mkdir()
    for number in (4, 8):
        (tmp_path / str(number)).mkdir()
        job = ClockedJob(tmp_path / str(number), PROCEDURE, unit=f"job {number}")
        washed(job, number, 0)
        job.do("start", operation="bake")
        job.wait(60).do("tick-check", check=1)
        job.do("finish")
        job.do("close")
        job.driver.controller.close()
        job.path.rename(logs / f"job-{number}.jsonl")
    one = run(str(logs / "job-4.jsonl"))
    assert (one.return_value, "Wash" in one.output, "4 min" in one.output) == (0, True, True)
    assert "Wash 2 6 min 4 min 8 min" in " ".join(run(str(logs)).output.split())
    answer = json.loads(run(str(logs), "--json").output)
    assert [found["worked"] for found in answer["jobs"]] == [64 * 60, 68 * 60]
    assert answer["procedures"][0]["total"]["median"] == 66 * 60
    whole = (logs / "job-4.jsonl").read_bytes()
    (logs / "backup.jsonl").write_bytes(b"".join(whole.splitlines(keepends=True)[:4]))
    (logs / "copy.jsonl").write_bytes(whole)
    answer = json.loads(run(str(logs), "--json").stdout)
    assert sorted(found["worked"] for found in answer["jobs"]) == [64 * 60, 68 * 60], "the longest copy counts, once"
    assert "2 logs left out: copies of jobs that are counted" in run(str(logs)).stderr
    data = (logs / "job-8.jsonl").read_bytes()
    (logs / "job-8.jsonl").write_bytes(data.replace(b'"check"', b'"chekc"', 1))
    assert run(str(logs)).return_value == 1
