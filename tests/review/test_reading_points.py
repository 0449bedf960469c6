"""The review weighs how a reading came about: repeated, corrected, near its limit, odd, spread. All data is invented.

The judgements are common practice, no source, unless a figure names one.
"""

from pathlib import Path
from statistics import median

import pytest

from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.evidence.weights import SUSPECT
from tests.review.small_job import SmallJob

GAP = "{id: gap, title: Gap, record: {gap: {ask: Gap, unit: mm, limit: 1.00 .. 1.20 mm}}}"
REMEDY = "{do: Clean the seat, tries: 9}"
FILED = f"{{id: gap, title: Gap, record: {{gap: {{ask: Gap, unit: mm, limit: 1.00 .. 1.20 mm, below: [{REMEDY}]}}}}}}"
TWICE = "{id: gap, title: Gap, record: {gap: {ask: Gap, unit: mm, readings: 2, judge: mean, limit: 1.00 .. 1.20 mm}}}"


def begun(folder: Path, operation: str, head: str = "") -> SmallJob:
    job = SmallJob(folder / "log.jsonl", operation, head=head)
    job.do("start", operation="gap")
    return job


def points_of(folder: Path, *values: str, operation: str = GAP) -> dict[str, WeakPoint]:
    """The weak points after these values were recorded for the gap, one after another."""
    job = begun(folder, operation)
    for value in values:
        job.record("gap", value)
    return job.points("gap")


def test_value_measured_until_it_fits_is_weighed_by_the_attempts_that_were_out(tmp_path: Path) -> None:
    point = points_of(tmp_path, "1.25 mm", "1.24 mm", "1.22 mm", "1.10 mm")["retaken"]
    assert point.size == 3
    assert point.grade >= SUSPECT
    assert point.words == "Gap was out of its limit 3 times before the accepted reading, first 1.25 mm"


def test_one_attempt_that_was_out_is_only_mentioned(tmp_path: Path) -> None:
    assert 0 < points_of(tmp_path, "1.25 mm", "1.10 mm")["retaken"].grade < SUSPECT


def test_value_measured_again_after_a_remedy_is_not_a_weak_point(tmp_path: Path) -> None:
    job = begun(tmp_path, FILED)
    for _ in range(4):
        job.record("gap", "0.95 mm")
        job.do("remedy", operation="gap", name="gap")
    job.record("gap", "1.10 mm")
    assert "retaken" not in job.points("gap")


def test_readings_judged_together_and_repeated_until_their_mean_fits_are_counted(tmp_path: Path) -> None:
    job = begun(tmp_path, TWICE)
    for reading, value in ((1, "1.24 mm"), (2, "1.24 mm"), (1, "1.22 mm"), (2, "1.21 mm"), (2, "1.10 mm")):
        job.record("gap", value, reading=reading)
    point = job.points("gap")["retaken"]
    assert point.size == 3  # means of 1.24, 1.23 and 1.215 mm
    assert "Gap (mean) was out of its limit 3 times" in point.words


def test_check_answered_no_and_then_yes_without_a_remedy_is_mentioned(tmp_path: Path) -> None:
    job = begun(tmp_path, "{id: gap, title: Gap, check: [The face is clean]}")
    job.do("tick-check", check=1, answer="no")
    job.do("tick-check", check=1)
    point = job.points("gap")["retaken"]
    assert "check 1 (The face is clean) was answered no 1 time, then yes" in point.words
    assert point.grade < SUSPECT


@pytest.mark.parametrize(
    ("wrong", "right", "suspect"),
    [
        ("11.00 mm", "1.10 mm", False),  # decimal point
        ("1.31 mm", "1.13 mm", False),  # digits swapped
        ("1.155 mm", "1.15 mm", False),  # digit doubled; it was inside as well
        ("1.10 in", "1.10 mm", False),  # unit
        ("1.90 mm", "1.10 mm", False),  # far away
        ("1.22 mm", "1.18 mm", True),  # a small step over the end
        ("0.98 mm", "1.02 mm", True),
    ],
)
def test_correction_from_out_to_in_is_suspect_where_it_is_a_small_step(
    tmp_path: Path, wrong: str, right: str, suspect: bool
) -> None:
    job = begun(tmp_path, GAP)
    job.do("correct", event=job.record("gap", wrong), value=right, reason="misread")
    point = job.points("gap").get("corrected-in")
    assert (point is not None and point.grade >= SUSPECT) is suspect


def test_correction_says_both_figures_and_its_reason(tmp_path: Path) -> None:
    job = begun(tmp_path, GAP)
    job.do("correct", event=job.record("gap", "1.22 mm"), value="1.18 mm", reason="looked again")
    words = job.points("gap")["corrected-in"].words
    assert words == "Gap was corrected from 1.22 mm, out of its limit 1.00 .. 1.20 mm, to 1.18 mm: looked again"


def test_value_out_of_its_limit_is_weighed_by_its_size_although_it_is_waived(tmp_path: Path) -> None:
    grades = []
    for number, value in enumerate(("1.21 mm", "1.30 mm")):
        job = SmallJob(tmp_path / f"{number}.jsonl", GAP)
        job.do("start", operation="gap")
        job.record("gap", value)
        job.do("deviate", operation="gap", about="gap", reason="agreed", by="Kim")
        points = job.points("gap")
        assert "waived by Kim: agreed" in points["out-of-limit"].words
        assert points["deviation"].grade < points["out-of-limit"].grade
        grades.append(points["out-of-limit"].grade)
    assert grades == [55, 82]  # 5 % and 50 % of the band beyond, by the scale


def test_hair_from_the_limit_is_weighed_by_what_is_left(tmp_path: Path) -> None:
    point = points_of(tmp_path, "1.1998 mm")["near-limit"]
    assert point.size == pytest.approx(0.001)
    assert point.grade >= 45


def test_reading_at_the_limit_by_the_step_of_a_feeler_is_only_mentioned(tmp_path: Path) -> None:
    """Feelers in steps of 0.05 mm read 0.20, 0.25 or 0.30 mm: a quarter to a half of the band."""
    feelers = "{id: gap, title: Gap, record: {gap: {ask: Gap, unit: mm, readings: 3, limit: 0.20 .. 0.30 mm}}}"
    job = begun(tmp_path, feelers)
    for reading, value in enumerate(("0.25 mm", "0.20 mm", "0.30 mm"), 1):
        job.record("gap", value, reading=reading)
    assert 0 < job.points("gap")["near-limit"].grade < SUSPECT


def test_large_part_far_from_its_only_limit_by_the_gauge_is_not_near_it(tmp_path: Path) -> None:
    """0.024 mm above the limit of a journal is 8 times the expanded uncertainty of the micrometer, 0.003 mm."""
    head = "instruments: {mic: {title: Micrometer, kind: length, uncertainty: at most 0.003 mm}}\n"
    journal = "{id: gap, title: Gap, record: {gap: {ask: Journal, unit: mm, limit: at least 34.955 mm, with: mic}}}"
    for number, (value, near) in enumerate((("34.979 mm", False), ("34.9555 mm", True))):
        job = SmallJob(tmp_path / f"{number}.jsonl", journal, head=head)
        job.do("start", operation="gap")
        job.record("gap", value)
        point = job.points("gap").get("near-limit")
        assert (point is not None and point.grade >= SUSPECT) is near


@pytest.mark.parametrize(("value", "odd"), [("0.26 mm", True), ("0.22 mm", False)])
def test_odd_one_among_its_siblings_is_named_with_their_range(tmp_path: Path, value: str, odd: bool) -> None:
    head = "places: {valve: [a, b, c, d, e]}\n"
    lash = "{id: gap, title: Gap, record: {gap: {ask: Lash, unit: mm, readings: valve, limit: 0.15 .. 0.30 mm}}}"
    job = begun(tmp_path, lash, head)
    readings = dict(zip("abcde", ("0.20 mm", "0.21 mm", value, "0.20 mm", "0.19 mm"), strict=True))
    for place, one in readings.items():
        job.record("gap", one, place=place)
    assert median([0.20, 0.21, 0.26, 0.20, 0.19]) == 0.20
    point = job.points("gap").get("odd-sibling")
    assert (point is not None) is odd
    if point is not None:
        assert point.words == "Lash (c) 0.26 mm is unlike its 4 siblings, 0.19 mm to 0.21 mm"
        assert point.grade >= SUSPECT


def test_readings_that_differ_at_one_place_are_a_weak_point(tmp_path: Path) -> None:
    job = begun(tmp_path, TWICE)
    job.record("gap", "1.02 mm", reading=1)
    job.record("gap", "1.18 mm", reading=2)
    point = job.points("gap")["wide-spread"]
    assert point.words == ("Gap: readings of one place differ, 1.02 mm and 1.18 mm, 80 % of the band 1.00 .. 1.20 mm")
    assert point.grade >= SUSPECT


def test_correction_of_one_of_several_readings_is_seen_before_all_are_entered(tmp_path: Path) -> None:
    smallest = TWICE.replace("judge: mean, limit: 1.00 .. 1.20 mm", "judge: smallest, limit: at least 2.54 mm")
    job = begun(tmp_path, smallest)
    job.do("correct", event=job.record("gap", "2.45 mm", reading=1), value="2.56 mm", reason="looked again")
    job.record("gap", "2.57 mm", reading=2)
    assert job.points("gap")["corrected-in"].grade >= SUSPECT


def test_correction_of_one_reading_of_a_mean_is_weighed_by_its_own_step(tmp_path: Path) -> None:
    job = begun(tmp_path, TWICE)
    job.do("correct", event=job.record("gap", "1.22 mm", reading=1), value="1.18 mm", reason="looked again")
    job.record("gap", "1.12 mm", reading=2)
    assert job.points("gap")["corrected-in"].grade >= SUSPECT


def test_readings_under_a_limit_with_one_end_that_differ_are_a_weak_point(tmp_path: Path) -> None:
    drag = "{id: gap, title: Drag, record: {gap: {ask: Drag, unit: N·m, readings: 3, limit: at most 1.20 N·m}}}"
    job = begun(tmp_path, drag)
    for reading, value in enumerate(("0.30 N·m", "1.10 N·m", "0.35 N·m"), 1):
        job.record("gap", value, reading=reading)
    assert job.points("gap")["wide-spread"].grade >= SUSPECT


def test_spread_that_the_procedure_judges_is_not_a_weak_point_of_its_own(tmp_path: Path) -> None:
    judged = TWICE.replace("limit: 1.00", "also: [{judge: spread, limit: at most 0.17 mm}], limit: 1.00")
    job = begun(tmp_path, judged)
    job.record("gap", "1.04 mm", reading=1)
    job.record("gap", "1.18 mm", reading=2)
    assert "wide-spread" not in job.points("gap")
